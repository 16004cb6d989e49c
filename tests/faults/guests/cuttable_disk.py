"""A flash memory whose power is cut after so many operations; for MicroPython, where littlefs is.

A cut is silent: the operation under way is dropped or torn, all later ones are dropped, and nobody is told. Writing clears bits only,
as in the real thing.
"""

import vfs

BLOCK = 4096
PROGRAM = 256
ERASED = b"\xff" * BLOCK
DROPPED, TORN, WEAK = range(
    3
)  # what becomes of the operation under way: nothing, its first half, all of it with bits missing


class Disk:
    def __init__(self, blocks, content=None):
        self.blocks = blocks
        self.content = bytearray(ERASED * blocks if content is None else content)
        self.view = memoryview(self.content)
        self.operations = 0
        self.cut_after = -1  # operations; -1: never
        self.how = DROPPED

    def cut(self, after, how):
        self.operations = 0
        self.cut_after = after
        self.how = how

    def is_cut(self):
        return 0 <= self.cut_after < self.operations

    def readblocks(self, block, buf, offset=0):
        start = block * BLOCK + offset
        buf[:] = self.view[start : start + len(buf)]

    def writeblocks(self, block, buf, offset=0):
        view = memoryview(buf)
        for at in range(0, len(view), PROGRAM):  # a page is an operation of its own
            self._change(block * BLOCK + offset + at, view[at : at + PROGRAM], False)

    def ioctl(self, operation, block):
        if operation == 4:
            return self.blocks
        if operation == 5:
            return BLOCK
        if operation == 6:
            self._change(block * BLOCK, ERASED, True)
            return 0

    def _change(self, start, buf, erase):
        under_way = self.operations == self.cut_after
        self.operations += 1
        if self.is_cut() and not (under_way and self.how != DROPPED):
            return
        view = self.view
        end = start + len(buf)
        whole = not self.is_cut()
        if whole and (erase or view[start:end] == ERASED[: len(buf)]):  # the same as below, at once
            view[start:end] = buf
            return
        for i in range(len(buf) if whole or self.how == WEAK else len(buf) // 2):
            if erase:
                view[start + i] = 0xFF if self.how == TORN else view[start + i] | 0x5A
            else:
                view[start + i] &= buf[i] if whole or self.how == TORN else buf[i] | 0x5A


def mounted(disk):
    """The disk at /, made afresh where nothing is on it. OSError: it is damaged."""
    vfs.umount("/")
    if bytes(disk.view[:BLOCK]) == ERASED and bytes(disk.view[BLOCK : 2 * BLOCK]) == ERASED:
        vfs.VfsLfs2.mkfs(disk, progsize=PROGRAM)
    vfs.mount(vfs.VfsLfs2(disk, progsize=PROGRAM), "/")
