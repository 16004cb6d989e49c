"""A box's files on a disk whose power can be cut, and a prompt to reach them; for MicroPython.

    cuttable_box.py THIS_FOLDER BLOCKS

Reads a JSON list, before it its length in eight digits: what to do and with what. Prints what that prints, then 0x04, and why it
failed or nothing, and a newline.
"""

import json
import sys

sys.path.insert(0, sys.argv[1])
from cuttable_disk import Disk, mounted

disk = Disk(int(sys.argv[2]))
kept = {}
names = {}


class Reached(BaseException):
    pass


class Machine:
    """In place of the chip: the first pin that is touched shows that the firmware has started."""

    class Pin:
        IN = PULL_DOWN = 0

        def __init__(self, *_):
            raise Reached


def boot():
    """What main.py starts: the folder, and of each of its files the name and a hash; None: it found no whole firmware."""
    import binascii
    import hashlib
    import os

    sys.modules["machine"] = Machine
    path = list(sys.path)
    for name in list(sys.modules):
        if name.startswith("gaugebox"):
            del sys.modules[name]
    try:
        with open("/main.py") as file:
            text = file.read()
        exec(text, {"__name__": "__main__"})
    except Reached:
        folder = sys.path[0]
        files = {}
        for name, *_ in os.ilistdir(folder + "/gaugebox"):
            with open(folder + "/gaugebox/" + name, "rb") as file:
                files["gaugebox/" + name] = binascii.hexlify(hashlib.sha256(file.read()).digest()).decode()
        print(json.dumps([folder, files]))
        return
    finally:
        sys.path[:] = path
    print("null")


def do(verb, word):
    global disk
    if verb == "exec":
        exec(word, names)
    elif verb == "cut":
        disk.cut(*word)
    elif verb == "operations":
        print(disk.operations, int(disk.is_cut()))
    elif verb == "keep":
        kept[word] = bytes(disk.content)
    elif verb == "power":  # off and on, with what is on the disk, or was when it was kept
        disk = Disk(disk.blocks, disk.content if word is None else kept[word])
        mounted(disk)
        names.clear()
    elif verb == "boot":
        boot()


def read(length):
    """So many bytes; fewer at the end. A line would be read byte by byte."""
    said = b""
    while len(said) < length:
        more = sys.stdin.buffer.read(length - len(said))
        if not more:
            break
        said += more
    return said


mounted(disk)
while True:
    length = read(8)
    if not length:
        break
    problem = ""
    try:
        do(*json.loads(read(int(length))))
    except Exception as error:
        problem = type(error).__name__ + ": " + str(error)
    print("\x04" + problem)
