"""What happens in the virtual chip between reset and prompt; run as `start.py REQUEST_FD REPLY_FD FLASH MODE PICTURE_FD`."""


def start(main_globals):
    import io
    import os
    import sys
    from array import array

    import vfs

    import layout
    import link

    BLOCK = 4096
    # us that nothing else is done; typical of the board's flash chip, whose data sheet allows 400 and 3 ms (W25Q16JV, from memory)
    ERASING = 45_000
    WRITING = 400  # a page of 256 bytes

    class Flash:
        """A flash memory in a file: erasing sets every bit, a write goes straight through. Time passes when the chip has started."""

        def __init__(self, path):
            self._file = open(path, "r+b")
            self._blocks = os.stat(path)[6] // BLOCK

        def readblocks(self, block, buf, offset=0):
            self._file.seek(block * BLOCK + offset)
            self._file.readinto(buf)

        def writeblocks(self, block, buf, offset=None):
            if offset is None:
                self.ioctl(6, block)
                offset = 0
            self._busy((len(buf) + 255) // 256 * WRITING)
            self._file.seek(block * BLOCK + offset)
            self._file.write(buf)

        def _busy(self, us):
            if started:
                link.use(layout.FLASH_HANGS)
                link.stall(us)

        def ioctl(self, operation, block):
            if operation == 4:
                return self._blocks
            if operation == 5:
                return BLOCK
            if operation == 6:
                self._busy(ERASING)
                self._file.seek(block * BLOCK)
                self._file.write(b"\xff" * BLOCK)
                return 0

    def swap(request, reply):
        to_holder.write(request)
        while True:
            if not from_holder.readinto(reply):
                raise SystemExit  # nobody holds the chip any more
            if reply[layout.ANSWERED] == request[layout.SEQUENCE]:
                return
            # the answer to a call that Ctrl-C has ended

    def run(name):
        """What the board does with boot.py and main.py; False: not there, or it ended with an exception."""
        try:
            os.stat(name)
        except OSError:
            return name == "boot.py"
        try:
            execfile(name, main_globals)
            return True
        except SystemExit:
            link.exchange(0, layout.SOFT_RESET)
        except BaseException as e:
            text = io.StringIO()
            sys.print_exception(e, text)
            for line in text.getvalue().split("\n")[:-1]:
                if "/virtual/chip/" not in line:
                    print(line)
        return False

    started = False
    del main_globals["start"]
    to_holder = open(int(sys.argv[1]), "wb")
    from_holder = open(int(sys.argv[2]), "rb")
    flash = Flash(sys.argv[3])
    raw = sys.argv[4] == "raw"
    picture = open(int(sys.argv[5]), "r+b")
    link.connect(swap)

    import machine
    import time

    machine.I2C._picture = picture

    sys.modules["umachine"] = machine
    sys.modules["utime"] = time

    vfs.umount("/")
    try:
        filesystem = vfs.VfsLfs2(flash, progsize=256)
    except OSError:
        vfs.VfsLfs2.mkfs(flash, progsize=256)
        filesystem = vfs.VfsLfs2(flash, progsize=256)
    vfs.mount(filesystem, "/")
    os.chdir("/")
    sys.argv[:] = []
    sys.path[:] = ["", ".frozen", "/lib"]
    for name in ("layout", "link", "ads1115_chip", "ssd1306_chip"):
        del sys.modules[name]  # not modules of the board

    link.exchange(0, layout.HELLO)
    registers = array(layout.WORD, [0] * layout.REGISTER_WORDS)
    from_holder.readinto(registers)
    link.keep(registers)
    started = True
    machine._after_soft_reset()

    booted = run("boot.py")
    link.exchange(0, layout.BOOTED)
    if booted and not raw:
        run("main.py")
    link.at_prompt()


start(globals())
