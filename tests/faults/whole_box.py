"""The whole firmware in one process with the virtual chip: App, Board, Store and Log as they are, on a littlefs that takes its time.

Runs on MicroPython's Unix port, with the chip's modules (gaugelight/virtual/chip) first on the path. Around it stands an aircraft of
whole numbers, made from tables of volts that the host has worked out. Only the serial line is not a line: bytes are fed, answers kept.
"""

import gc
import os
import random
from array import array

import layout  # type: ignore[import-not-found]
import link  # type: ignore[import-not-found]
import vfs  # type: ignore[import-not-found]

from gaugebox import pins
from gaugebox.app import TICK_MS, App
from gaugebox.board import Board
from gaugebox.flight_log import FlightLog
from gaugebox.line import REQUEST, frame
from gaugebox.log import Log
from gaugebox.store import SLOTS, Store, slot_header

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any, Callable

BLOCKS = 128
BLOCK = 4096
PAGE = 256
ERASING_US = 45_000  # as gaugelight/virtual/chip/start.py lets it take
WRITING_US = 400  # a page
BYTE_US = 39  # what the board takes to fetch one from the line
STEP_US = 100_000  # of the aircraft
REFERENCE_NV = 3_300_000_000
BROKEN, SHORTED = 1, 2
FOLDERS = "/tables", "/log", "/flights"


class Flash:
    """A flash memory that counts what it is put to. logging: whether it is the log that writes."""

    def __init__(self) -> None:
        self.blocks = [memoryview(bytearray(BLOCK)) for _ in range(BLOCKS)]
        self.erasures = array("i", [0] * BLOCKS)  # of each block
        self.erases = 0
        self.pages = 0
        self.busy_us = 0
        self.stray = 0  # erasures that are not the log's
        self.logging = False
        self.clocked = False

    def readblocks(self, block: int, buf: bytearray, offset: int = 0) -> None:
        buf[:] = self.blocks[block][offset : offset + len(buf)]

    def writeblocks(self, block: int, buf: bytes, offset: "int | None" = None) -> None:
        if offset is None:
            self.ioctl(6, block)
            offset = 0
        pages = (len(buf) + PAGE - 1) // PAGE
        self.pages += pages
        self._busy(pages * WRITING_US)
        self.blocks[block][offset : offset + len(buf)] = buf

    def _busy(self, us: int) -> None:
        if self.clocked:
            self.busy_us += us
            link.spend(us)

    def ioctl(self, operation: int, block: int) -> "int | None":
        if operation == 4:
            return BLOCKS
        if operation == 5:
            return BLOCK
        if operation == 6:
            self.erases += 1
            self.erasures[block] += 1
            if not self.logging:
                self.stray += 1
            self._busy(ERASING_US)
            return 0
        return None


class Sender:
    """One input's sender and wire. volts: nanovolts on its pin, from one end of its span to the other."""

    def __init__(
        self, address: int, channel: int, volts: "tuple[int, ...]", broken: int, shorted: int, on_rail: int
    ) -> None:
        self.address = address  # 0: on-chip, and channel is the pin
        self.channel = channel
        self.volts = volts
        self.faulty = (0, broken, shorted)
        self.on_rail = on_rail
        self.at = self.goal = len(volts) >> 1
        self.wire = 0
        self.mended_in = 0  # steps

    def nanovolts(self) -> int:
        return self.faulty[self.wire] if self.wire else self.volts[self.at]


class Aircraft:
    """What is on the chip's pins. Ten times a second senders and knob wander, and now and then something breaks, for a while."""

    def __init__(self, senders: "list[Any]", rail: int, knob: "Any", seed: int) -> None:
        self.senders = [Sender(*one) for one in senders]
        self.knob = Sender(*knob)
        self.rail = self.senders[rail]
        self.rail_nominal = self.rail.volts[self.rail.at]
        self.addresses = sorted(set([one.address for one in self.senders if one.address]))
        self.trouble = [0] * len(self.addresses)  # 1: silent, else what CHIP_REFUSES_DATA and so on say
        self.trouble_ends_in = 0
        self.resets = 0
        self.jumper_closed = False
        self.still = True
        random.seed(seed)
        self.next_step_us = 0
        self.now_us = 0
        self.longest_unfed_us = 0
        self.steps = 0

    def swap(self, request: "array[int]", reply: "array[int]") -> None:
        if request[layout.WATCHDOG_MS] and request[layout.SINCE_FEED_US] > self.longest_unfed_us:
            self.longest_unfed_us = request[layout.SINCE_FEED_US]
        if request[layout.KIND] == layout.RESET:
            raise SystemExit("the chip was reset")
        passed = request[layout.SPENT_US] + request[layout.WAIT_US]
        self.now_us += passed
        reply[layout.NOW_US] += passed
        reply[layout.ANSWERED] = request[layout.SEQUENCE]
        if self.now_us >= self.next_step_us:
            self.next_step_us = self.now_us + STEP_US
            if not self.still:
                self.steps += 1
                self.live()
            self.put(reply)

    def live(self) -> None:
        for one in self.senders:
            self.wander(one)
        self.wander(self.knob)
        if not random.randrange(80):
            one = self.senders[random.randrange(len(self.senders))]
            one.wire = BROKEN + random.randrange(2)
            one.mended_in = 10 + random.randrange(30)
        if not random.randrange(300):
            self.knob.wire = BROKEN + random.randrange(2)
            self.knob.mended_in = 3 + random.randrange(30)
        if self.trouble_ends_in:
            self.trouble_ends_in -= 1
            if not self.trouble_ends_in:
                for i in range(len(self.trouble)):
                    self.trouble[i] = 0
        elif not random.randrange(600):
            kind = random.randrange(4)
            if kind:
                self.trouble[random.randrange(len(self.trouble))] = kind
                self.trouble_ends_in = 5 + random.randrange(40)
            else:
                self.resets += 1

    def wander(self, one: Sender) -> None:
        if one.wire:
            one.mended_in -= 1
            if not one.mended_in:
                one.wire = 0
        if one.at < one.goal:
            one.at += 1
        elif one.at > one.goal:
            one.at -= 1
        elif not random.randrange(150):
            one.goal = random.randrange(len(one.volts))

    def rest(self, at: int, knob_at: int) -> None:
        """Everything whole, still, and at that place of its span; the rail in the middle of its own."""
        self.still = True
        for one in self.senders:
            one.wire = 0
            one.at = one.goal = at
        self.rail.at = self.rail.goal = len(self.rail.volts) >> 1
        self.knob.wire = 0
        self.knob.at = self.knob.goal = knob_at
        for i in range(len(self.trouble)):
            self.trouble[i] = 0
        self.trouble_ends_in = 0

    def put(self, reply: "array[int]") -> None:
        reply[layout.ADC_REFERENCE_NV] = REFERENCE_NV
        reply[layout.FORCED] = 1 << pins.JUMPER if self.jumper_closed else 0
        reply[layout.ADC_NV + self.knob.channel - 26] = self.knob.nanovolts()
        at = layout.CHIPS - layout.CHIP_WORDS
        chips = 0
        for i in range(len(self.addresses)):
            if self.trouble[i] == 1:
                continue
            chips += 1
            at += layout.CHIP_WORDS
            reply[at] = self.addresses[i]
            reply[at + layout.CHIP_REFUSES_DATA] = self.trouble[i] == 2
            reply[at + layout.CHIP_NEVER_READY] = self.trouble[i] == 3
            reply[at + layout.CHIP_RESETS] = self.resets
            reply[at + layout.CHIP_RATE_PPM] = 1_000_000
            for one in self.senders:
                if one.address == self.addresses[i]:
                    nv = one.nanovolts()
                    if one.on_rail:
                        nv = nv * (self.rail.nanovolts() // 1000) // (self.rail_nominal // 1000)
                    reply[at + layout.CHIP_NV + one.channel] = nv
        reply[layout.CHIP_COUNT] = chips
        for one in self.senders:
            if not one.address:
                reply[layout.ADC_NV + one.channel - 26] = one.nanovolts()


class FedBoard(Board):
    """The board, but for its line: what is typed and, of a stream, as much as it may still take; answers are counted."""

    def __init__(self) -> None:
        Board.__init__(self)
        self.stream: "Any" = None
        self.left = 0  # bytes that may still be taken from the stream
        self.typed: "bytes | bytearray" = b""
        self.chunk = bytearray(64)
        self.at = self.end = 0
        self.answers = self.refusals = 0
        self.last = ""

    def type(self, what: "bytes | bytearray", length: int) -> None:
        self.typed = what
        self.at = 0
        self.end = length

    def next_byte(self) -> int:
        if self.at == self.end:
            if not self.left:
                return -1
            taken = self.stream.readinto(self.chunk)
            self.left -= taken
            self.type(self.chunk, taken)
        link.spend(BYTE_US)
        self.at += 1
        return self.typed[self.at - 1]

    def say(self, line: str) -> None:
        self.answers += 1
        if "|no|" in line:
            self.refusals += 1
        self.last = line


class WatchedApp(App):
    """box: the Box that has a look before each tick."""

    box: "Box"
    took = 0  # ms, the tick before
    flight_erases = 0

    def tick(self) -> None:
        began = self.board.now()
        self.box.look(began)
        App.tick(self)
        self.took = self.board.elapsed(began)

    def flush(self) -> None:
        self.box.flash.logging = True
        App.flush(self)
        self.box.flash.logging = False

    def _written(self, job: "Callable[[], None]") -> bool:
        flash = self.box.flash
        erases, flash.logging = flash.erases, True
        wrote = App._written(self, job)
        flash.logging = False
        self.flight_erases += flash.erases - erases
        return wrote


class Box:
    """A box that has just got its power: its flash formatted, two tables in their slots. It is run by its own loop.

    longest_ms     of a tick; busy_ms: of one less what it waited for flash
    unexplained    ticks that the firmware found late although it had erased nothing
    furthest_ms    from the start of a tick to that of the next, where no flash was waited for
    """

    def __init__(
        self, aircraft: Aircraft, tables: "tuple[bytes, bytes]", each_tick: "Callable[[Box], None]"
    ) -> None:
        self.aircraft = aircraft
        self.each_tick = each_tick
        link.connect(aircraft.swap)
        aircraft.next_step_us = aircraft.now_us = 0
        link.exchange(0)
        self.flash = Flash()
        vfs.VfsLfs2.mkfs(self.flash, progsize=PAGE)
        vfs.umount("/")
        vfs.mount(vfs.VfsLfs2(self.flash, progsize=PAGE), "/")
        for folder in FOLDERS:
            os.mkdir(folder)
        for i in range(len(tables)):
            with open(FOLDERS[0] + "/" + SLOTS[i], "wb") as file:
                file.write(slot_header(2 - i) + tables[i])
        self.flash.erases = self.flash.stray = self.flash.pages = 0
        self.flash.clocked = True
        self.ticks = self.late = self.unexplained = self.wraps = self.stop_after = 0
        self.longest_ms = self.busy_ms = self.furthest_ms = self.biggest_log = 0
        self.busy_us = self.erases = 0
        self.board: "Any" = FedBoard()
        self.app = WatchedApp(self.board, Store(FOLDERS[0]), Log(FOLDERS[1]), FlightLog(FOLDERS[2]))
        self.app.box = self
        self.before = self.board.now()

    def look(self, now: int) -> None:
        """Before a tick, at what the one before it did."""
        flash, app = self.flash, self.app
        waited_ms = (flash.busy_us - self.busy_us + 999) // 1000
        self.longest_ms = max(self.longest_ms, app.took)
        self.busy_ms = max(self.busy_ms, app.took - waited_ms)
        if app.late != self.late and flash.erases == self.erases:
            self.unexplained += 1
        if flash.erases != self.erases:
            self.biggest_log = max(self.biggest_log, sum([os.stat(name)[6] for name in self.logs()]))
        elif self.ticks and not waited_ms:
            self.furthest_ms = max(self.furthest_ms, self.board.elapsed(self.before))
        if now < self.before:
            self.wraps += 1
        self.late = app.late
        self.busy_us = flash.busy_us
        self.erases = flash.erases
        self.before = now
        self.ticks += 1
        self.each_tick(self)
        if self.ticks == self.stop_after:
            app.restart_wanted = True  # after this tick

    def logs(self) -> "list[str]":
        return [FOLDERS[1] + "/" + name for name in os.listdir(FOLDERS[1])]

    def run(self, ticks: int) -> None:
        """App.run for so many ticks."""
        self.stop_after = self.ticks + ticks
        self.app.run()
        self.app.restart_wanted = False
        self.board.wait_until(self.board.later(self.before, TICK_MS))  # one that restarts does not
        self.before = self.board.now()

    def asked(self, fields: "list[str]") -> str:
        """What the line says to one request."""
        request = ("\n" + frame(REQUEST, fields) + "\n").encode()  # whatever was half sent before ends here
        self.board.type(request, len(request))
        self.board.last = ""
        self.run(8)
        said: str = self.board.last
        return said

    def held(self) -> int:
        """Bytes of heap in use when all rubbish is gone."""
        self.board.last = ""
        gc.collect()
        return gc.mem_alloc()  # type: ignore[attr-defined,no-any-return]
