"""Starts the newest whole firmware folder. Tiny, and never changed: what it starts is what is replaced.

A folder is whole when its file `whole` is there (a sequence number and, a line each, name and size of every file)
and every file named has its size.
"""

import os
import sys

import micropython


def sequence_if_whole(folder):
    """The folder's sequence number, or -1."""
    try:
        with open(folder + "/whole") as file:
            sequence = int(file.readline())
            for line in file:
                name, size = line.split()
                if os.stat(folder + "/" + name)[6] != int(size):
                    return -1
            return sequence
    except (OSError, ValueError):
        return -1


def start():
    folders = [(sequence_if_whole(folder), folder) for folder in ("/firmware_a", "/firmware_b")]
    folders.sort()
    for sequence, folder in reversed(folders):
        if sequence < 0:
            continue
        sys.path.insert(0, folder)
        try:
            from gaugebox.app import run
        except Exception as problem:
            sys.print_exception(problem)
            sys.path.pop(0)
            for name in list(sys.modules):
                if name.startswith("gaugebox"):
                    del sys.modules[name]
            continue
        return run()
    print("gaugelight: no whole firmware here; run `gaugelight install`")


micropython.kbd_intr(
    -1
)  # 0x03 may be noise: Ctrl-C is let in when the firmware has found the service jumper closed
try:
    start()
finally:
    micropython.kbd_intr(3)
