"""The box at work: fifty times a second sample, judge, drive the outputs, answer the line, feed the watchdog."""

import sys

from gaugebox.ads1115 import ADS1115
from gaugebox.answers import answer
from gaugebox.board import Board, silence_outputs
from gaugebox.lamp import DimRequest, Lamp
from gaugebox.line import LineReader
from gaugebox.measure import Channel
from gaugebox.store import Store
from gaugebox.table import NO_INPUT, ON_CHIP

TICK_MS = 20
BYTES_A_TICK = 64  # the line is drained at this rate; the board's ring holds 512
JUMPER_TICKS = 5  # the service jumper counts as pulled after this many ticks open
FOLDER = "/tables"


class App:
    def __init__(self, board: Board, store: Store) -> None:
        self.board = board
        self.store = store
        self.flight = False
        self.jumper_open = 0
        self.started = board.now()
        self.restart_wanted = False
        self.reader = LineReader()
        self.channels: "list[Channel]" = []
        self.lamps: "list[Lamp]" = []
        self.dim_request: "DimRequest | None" = None
        self.last_tick = self.started
        self._wire()
        if board.service():
            board.open_line()
        else:
            self._fly()

    def _wire(self) -> None:
        """Pins, chips and channels as the table says; the lamps first."""
        table = self.store.table
        self.lamp_pins = []
        self.knobs = []
        self.on_chip = []
        self.chips = []
        if table is None:
            return
        board = self.board
        for lamp_record in table.lamps:
            self.lamps.append(Lamp(lamp_record))
            self.lamp_pins.append(board.lamp(lamp_record.pin, lamp_record.frequency))
            self.knobs.append(board.converter(lamp_record.knob))
        if table.dim_request is not None:
            self.dim_request = DimRequest(table.dim_request)
            self.dim_lamp = self.lamps[table.dim_request.lamp]
            self.dim_pin = board.discrete(table.dim_request.pin)
        for record in table.inputs:
            self.channels.append(Channel(record))
        for channel in self.channels:
            if channel.record.normalise != NO_INPUT:
                channel.reference = self.channels[channel.record.normalise]
        # rails are sampled last and stepped first: a collapse is then seen in the rail no later than in its inputs
        rails = [channel.reference for channel in self.channels]
        ordered = [c for c in self.channels if c not in rails] + [c for c in self.channels if c in rails]
        for channel in reversed(ordered):
            if channel.record.converter == ON_CHIP:
                self.on_chip.append((channel, board.converter(channel.record.channel)))
        for number in range(len(table.chips)):
            chip_record = table.chips[number]
            mine = [c for c in ordered if c.record.converter == number]
            numbers = [c.record.channel for c in mine]
            chip = ADS1115(board.i2c, chip_record.address, chip_record.gain, chip_record.rate, numbers)
            self.chips.append(_Scan(chip, mine))

    def tick(self) -> None:
        board = self.board
        now = board.now()
        elapsed = board.elapsed(self.last_tick)
        self.last_tick = now
        for channel, converter in self.on_chip:
            channel.step(converter.read_u16(), elapsed)
        for scan in self.chips:
            scan.tick(elapsed)
        for i in range(len(self.lamps)):
            duty = self.lamps[i].duty
            if self.lamps[i].turn(self.knobs[i].read_u16()) != duty:
                self.lamp_pins[i].duty_u16(self.lamps[i].duty)
        if self.dim_request is not None:
            self.dim_pin.value(self.dim_request.follow(self.dim_lamp.level))
        self._watch_jumper()
        self._serve()
        board.feed()

    def _watch_jumper(self) -> None:
        if self.flight:
            return
        if self.board.service():
            self.jumper_open = 0
            return
        self.jumper_open += 1
        if self.jumper_open >= JUMPER_TICKS:
            self._fly()

    def _fly(self) -> None:
        self.flight = True
        self.board.close_line()

    def _serve(self) -> None:
        for _ in range(BYTES_A_TICK):
            if self.restart_wanted:
                return  # what comes now is for the box that starts
            byte = self.board.next_byte()
            if byte < 0:
                return
            if self.reader.take(byte):
                line = answer(self, self.reader.line())
                if line is not None:
                    self.board.say(line)

    def run(self) -> None:
        board = self.board
        due = board.now()
        while not self.restart_wanted:
            self.tick()
            due = board.later(due, TICK_MS)
            if board.elapsed(due) > TICK_MS:
                due = board.now()  # too late to catch up
            board.wait_until(due)


class _Scan:
    """One converter chip and its channels, in the order they are sampled."""

    def __init__(self, chip: ADS1115, sampled: "list[Channel]") -> None:
        self.chip = chip
        self.sampled = sampled
        self.since_ms = 0

    def tick(self, elapsed_ms: int) -> None:
        self.since_ms += elapsed_ms
        chip = self.chip
        if chip.poll(elapsed_ms):
            counts = chip.counts
            for i in range(len(counts) - 1, -1, -1):
                self.sampled[i].step(counts[i], self.since_ms)
            self.since_ms = 0
        elif not chip.alive:
            for channel in self.sampled:
                channel.lose()


def run() -> None:
    """What main.py calls. Returns only in service: on Ctrl-C, or when the program failed."""
    silence_outputs()
    board = None
    app = None
    restart = False
    try:
        board = Board()
        app = App(board, Store(FOLDER))
        app.run()
        restart = True
    except KeyboardInterrupt:
        pass
    except Exception as problem:
        sys.print_exception(problem)  # type: ignore[attr-defined]
        restart = app is not None and app.flight
    finally:
        silence_outputs()
    if restart and board is not None:
        board.restart()
