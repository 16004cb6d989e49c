"""The box at work: fifty times a second sample, judge, drive the outputs, answer the line, feed the watchdog."""

import gc
import sys

from gaugebox import light, log
from gaugebox.alerts import Alerts, Condition, Rule
from gaugebox.ads1115 import ADS1115
from gaugebox.alert_records import NO_SWITCH
from gaugebox.answers import JUMPER_TICKS, MOST_TEST_TICKS, answer
from gaugebox.board import KEY_MASK, Board, silence_outputs
from gaugebox.face import Face
from gaugebox.flight_log import SWITCHES_A_COLUMN, FlightLog
from gaugebox.line import LineReader
from gaugebox.needle import Needle
from gaugebox.measure import CLOCK_MASK, CONVERTER, COUNT, FAULT, READING, SILENT, make_channels
from gaugebox.readouts import Derived, Readout
from gaugebox.ssd1306 import SSD1306
from gaugebox.store import SAFE, Store
from gaugebox.table import DISPLAY, ON_CHIP
from gaugebox.watches import Gauge, Reserve

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any, Callable

    from gaugebox.measure import Channel
    from gaugebox.table import Table

TICK_MS = 20
BYTES_A_TICK = 64  # the line is drained at this rate; the board's ring holds 512
# when it has been in flight so long, a jumper that is closed is no reason to let Ctrl-C in
IN_FLIGHT_TICKS = 50
# the log is written a second and ten seconds after the start, and then once a minute at most
FLUSH_TICKS = 3000
FIRST_FLUSH_TICKS = 500
FAILED_WAIT_MS = 1000
LASTING_S = 10
TURNS = 5  # ticks, in which all is judged once
# so many starts in a row that have not lasted, and the next does without the table in the slots
MOST_FAILED = 3
SAMPLED_S = 4  # by then the slowest converter has said something
TEST_RESTS = 10  # ticks of a test that one without makes good for
ANSWERS = 10  # after so many the box tidies up, in a tick of its own
MOST_CHANGES = 6  # of one input, light or alert in the log, in a minute
# bytes made anew, after which is tidied up at the latest: left until the heap is full, garbage has what stays scattered among it, and a
# new table finds no room in one piece
GARBAGE = 32768
HELD = 250  # ticks that an output stands where it was put for a trial
FLIGHT_TICKS = 1500  # the flight log is written half a minute after the event log
FOLDER = "/tables"
LOG_FOLDER = "/log"
FLIGHT_FOLDER = "/flights"


class App:
    """late: ticks that began more than a tick too late; longest: ms that one took."""

    def __init__(self, board: Board, store: Store, events: log.Log, flights: FlightLog) -> None:
        self.board = board
        self.store = store
        self.events = events
        self.flights = flights
        self.late = 0
        self.longest = 0
        self.unflushed = FLUSH_TICKS - 1  # the start itself is written at once
        self.next_flush = FIRST_FLUSH_TICKS
        self.flight = False
        self.jumper_open = 0
        self.seconds = self.ms = 0  # since the start
        self.logged = 0  # second of the last row of the flight log
        self.rolls = True  # whether the file of that may be full
        self.unwritten = False  # whether it was told that it cannot be written
        self.closed = JUMPER_TICKS if board.service() else 0
        self.flying = 0  # ticks
        self.restart_wanted = False
        self.pressed = self.turned = 0  # the buttons
        self.buttons = store.table.buttons if store.table is not None else None
        self.reader = LineReader()
        self.clock = [0]
        self.channels: "list[Channel]" = []
        self.lighting: "light.Lighting | None" = None
        self.derived: "list[Derived]" = []
        # what the line and the face know: inputs, then the derived
        self.shown: "list[Channel | Derived]" = []
        self.conditions: "list[Condition]" = []
        self.readouts: "list[Readout]" = []
        self.rules: "list[Rule]" = []
        self.remembered = [-1, -1]  # of them: those that are on, those that are armed
        # of the table that they belong to
        self.key = 0 if store.table is None else store.table.crc & KEY_MASK
        self.reserve: "Reserve | None" = None
        self.needles: "list[Needle]" = []
        self.needle_outputs: "list[Output]" = []
        self.gauges: "list[Gauge]" = []
        self.compared: "list[int]" = []  # when each was
        self.next_gauge = 0
        self.turn = 0
        self.unwatched = 0  # ms
        self.answers = 0  # since it has tidied up
        self.testing = 0  # ticks for which all that can be lit is
        self.tested = 0  # ticks for which its button has been held
        self.last_tick = board.now()
        self._log_start()
        self._wire()
        if store.table is not None and store.slot != SAFE:
            layout = len(self.channels), len(self.outputs), len(self.switch_pins)
            flights.wire(events.start, store.table.crc, *layout)
        self.alerts = Alerts(self.channels, self.readouts, self.rules, self._watches())
        self._wire_face()
        # as they stand in the log: inputs, what is dimmed, alerts
        self.faults = bytearray(len(self.channels) + len(self.outputs) + len(self.alerts.all))
        self.changes = bytearray(len(self.faults))  # of each, since the log was written
        if board.service() and not store.distrusted:
            board.open_line()
        else:
            self._fly()

    def _wire(self) -> None:
        """Pins, chips and channels as the table says; the lamps first."""
        table = self.store.table
        self.outputs: "list[Output]" = []  # of the dimmers
        self.knob_pins: "list[Any]" = []
        self.switch_pins: "list[Any]" = []
        self.on_chip = []
        self.chips = []
        if table is None:
            return
        board = self.board
        for record in table.dimmers:
            line = None if record.kind == DISPLAY else board.lamp(record.pin, record.frequency)
            self.outputs.append(Output(line))
        if table.dim_request is not None:
            self.dim_pin = board.discrete(table.dim_request.pin, 1 - table.dim_request.active)
        self.knob_pins += [board.converter(knob.pin) for knob in table.knobs]
        self.switch_pins += [board.switch(switch.pin, switch.on) for switch in table.switches]
        self.channels = make_channels(table.inputs, self.clock)
        self.lighting = light.Lighting(table, self.channels)
        self._wire_alerts(table, self.lighting)
        # rails are sampled last and stepped first: a collapse is then seen in the rail no later than in its inputs
        rails = [record.rail for record in table.inputs]
        ordered = [i for last in (False, True) for i in range(len(rails)) if (i in rails) == last]
        for i in reversed(ordered):
            one = table.inputs[i]
            if one.converter == ON_CHIP:
                self.on_chip.append((self.channels[i].step, board.converter(one.channel), one.setting))
        for number in range(len(table.chips)):
            one_chip = table.chips[number]
            mine = [i for i in ordered if table.inputs[i].converter == number]
            sampled = [(table.inputs[i].channel, table.inputs[i].setting) for i in mine]
            chip = ADS1115(board.i2c, one_chip.address, one_chip.rate, bool(one_chip.continuous), sampled)
            self.chips.append(_Scan(chip, [self.channels[i].step for i in mine]))

    def _wire_alerts(self, table: "Table", lighting: "light.Lighting") -> None:
        self.derived = [Derived(record, self.channels) for record in table.derived]
        shown: "list[Channel | Derived]" = self.channels + self.derived  # type: ignore[operator]
        self.shown = shown
        conditions = [Condition(record, shown, lighting.switches) for record in table.conditions]
        self.conditions = conditions
        for record in table.readouts:
            only_when = conditions[record.only_when] if record.only_when < len(conditions) else None
            self.readouts.append(Readout(record, shown[record.index], only_when))
        self.rules = [Rule(rule, conditions) for rule in table.alerts]
        self._recall()
        if table.reserve is not None:
            self.reserve = Reserve(table.reserve, shown, lighting.switches)
        for needle in table.needles:
            self.needles.append(Needle(needle, shown))
            self.needle_outputs.append(Output(self.board.lamp(needle.pin, needle.frequency)))
            self.needle_outputs[-1].drive(self.needles[-1].duty, 0)
        self.gauges = [Gauge(gauge, shown, conditions, self.reserve) for gauge in table.gauges]
        self.compared = [0] * len(self.gauges)

    def _recall(self) -> None:
        """What a rule remembers outlives a hang: coolant that is lost stays lost."""
        on, armed = self.board.remembered(self.key)
        for i in range(len(self.rules)):
            self.rules[i].on = on >> i & 1
            self.rules[i].armed = self.rules[i].armed or bool(armed >> i & 1)
        self._remember()

    def _remember(self) -> None:
        if not self.rules:
            return  # without its table the box forgets nothing
        on = armed = 0
        for i in range(len(self.rules)):
            on |= self.rules[i].on << i
            armed |= self.rules[i].armed << i
        if on != self.remembered[0] or armed != self.remembered[1]:
            self.remembered[0] = on
            self.remembered[1] = armed
            self.board.remember(on, armed, self.key)

    def _watches(self) -> "list[Any]":
        return ([] if self.reserve is None else [self.reserve]) + self.gauges  # type: ignore[operator,return-value]

    def _wire_face(self) -> None:
        store = self.store
        self.face: "Face | None" = None
        self.display: "SSD1306 | None" = None
        self.brightness: "light.Dimmer | None" = None
        if store.table is None or store.table.face is None:
            return
        if store.distrusted and self.board.before & 15 in (log.AT_CONVERTERS, log.AT_FACE):
            return  # it hung on the bus: the lamps shall come back
        record = store.table.face
        banner = ""
        if store.slot == SAFE:
            banner = "NO TABLE" if not store.distrusted else "TABLE NOT STARTING"
        self.face = Face(self.board.canvas, record, self.readouts, self.alerts, banner, self.reserve)
        self.display = SSD1306(self.board.i2c, record.address, self.face.picture)
        if self.lighting is not None:
            for dimmer in self.lighting.dimmers:
                if dimmer.record.kind == DISPLAY:
                    self.brightness = dimmer

    def _log_start(self) -> None:
        board, store = self.board, self.store
        crc = store.table.crc if store.table is not None and store.slot != SAFE else 0
        self.events.add(log.START, board.before, crc)
        if store.notice:
            self.events.add(log.NOTICE, 0, 0)

    def in_flight(self) -> str:
        """Why it may be, or nothing."""
        table = self.store.table
        told = table.in_flight if table is not None else None
        if told is None:
            return ""
        if told.source == light.SWITCH:
            on = self.lighting is not None and self.lighting.switches[told.index].level
            return "in flight: %s is on" % table.switches[told.index].name if on else ""  # type: ignore[union-attr]
        return self._above(self.channels[told.index], told.above)

    def _above(self, channel: "Channel", limit: int) -> str:
        said = channel.said
        if said[FAULT] == CONVERTER and not self.seconds:
            return "in flight: %s is not known yet" % channel.record.name
        if said[COUNT] <= channel.record.windows[2] if said[FAULT] else said[READING] <= limit:
            return ""
        return "in flight: %s is above its limit" % channel.record.name

    def tick(self) -> None:
        board = self.board
        now = board.now()
        elapsed = board.elapsed(self.last_tick)
        self.last_tick = now
        self.clock[0] = self.clock[0] + elapsed & CLOCK_MASK
        self.ms += elapsed
        while self.ms >= 1000:
            self.ms -= 1000
            self.seconds += 1
            if self.seconds == LASTING_S:
                board.lasts()
        board.mark(log.AT_INPUTS)
        for step, converter, doublings in self.on_chip:
            step(_sampled(converter, doublings))
        board.mark(log.AT_CONVERTERS)
        self._scan(elapsed)
        board.mark(log.AT_LIGHTS)
        self._judge(elapsed)
        self._light()
        self._point()
        board.feed()  # here, where it has sampled, judged and driven
        board.mark(log.AT_FACE)
        self._show(elapsed)
        self._watch_jumper()
        board.mark(log.AT_LOG)
        wrote = self._keep_log() or self._keep_flight()
        board.mark(log.AT_LINE)
        if not wrote:  # or else in the next tick: none shall take long twice
            self._serve()

    # Small functions: MicroPython takes a large frame from the heap, at every call, and looks for it.

    def _scan(self, elapsed: int) -> None:
        for scan in self.chips:
            scan.tick(elapsed)

    def _keep_log(self) -> bool:
        """Faults that have come or gone, and once a minute the way to flash; whether it took that."""
        if not self.seconds:
            return False  # not all have been sampled
        for i in range(len(self.channels)):
            fault = self.channels[i].said[FAULT]
            if fault != self.faults[i] and (fault != CONVERTER or self.seconds > SAMPLED_S):
                self._event(i, i, fault)
        if self.lighting is not None:
            self._keep_lights(self.lighting.dimmers, len(self.channels))
        self._keep_alerts(len(self.channels) + len(self.outputs))
        self.unflushed += 1
        if self.unflushed < FLUSH_TICKS:
            return False
        self.unflushed = FLUSH_TICKS - self.next_flush
        self.next_flush = FLUSH_TICKS
        self.flush()
        for i in range(len(self.changes)):
            self.changes[i] = 0
        return True

    def _keep_lights(self, dimmers: "list[light.Dimmer]", at: int) -> None:
        for i in range(len(dimmers)):
            fault = dimmers[i].fault
            if fault >= 0 and fault != self.faults[at + i]:
                self._event(at + i, log.DIMMERS + i, fault)

    def _keep_alerts(self, at: int) -> None:
        """All but the faults of inputs, which are there already."""
        first, alerts = len(self.channels), self.alerts
        for i in range(first, len(alerts.all)):
            alert = alerts.all[i]
            code = 0
            if alert.urgency:
                code = 1 + (alert.what if i - first < len(self.readouts) else alert.side)
            if code != self.faults[at + i]:
                self._event(at + i, log.TOLD + i - first, code)

    def _event(self, at: int, subject: int, fault: int) -> None:
        """A wire that comes and goes must not fill the log: its later changes wait for the next minute."""
        if self.changes[at] >= MOST_CHANGES:
            return
        if self.events.add(subject, fault, self.seconds):
            self.changes[at] += 1
            self.faults[at] = fault
        else:
            self.changes[at] = MOST_CHANGES  # no room: as it then is, in the next minute

    def _keep_flight(self) -> bool:
        """A row a second, and once a minute the way to flash; whether it took that."""
        flights = self.flights
        if not flights.now:
            return False  # it has no table
        if self.rolls:
            self.rolls = False
            return self._written(flights.roll)
        due = self.seconds != self.logged
        if self.unflushed == FLIGHT_TICKS or due and not flights.goes_on(self.seconds):
            self.rolls = True
            return self._written(flights.flush)
        if due and self.lighting is not None:
            self.logged = self.seconds
            self._look(flights.now, self.lighting)
            flights.row(self.seconds)
        return False

    def _look(self, now: "list[int]", lighting: "light.Lighting") -> None:
        """At all that a row of the flight log holds."""
        at = 0
        for channel in self.channels:
            now[at] = SILENT if channel.said[FAULT] == CONVERTER else channel.said[COUNT]
            at += 1
        for i in range(len(self.outputs)):
            now[at] = lighting.dimmers[i].level if self.outputs[i].duty else 0
            at += 1
        for i in range(at, len(now)):
            now[i] = 0
        for i in range(len(lighting.switches)):
            now[at + i // SWITCHES_A_COLUMN] |= lighting.switches[i].level << i % SWITCHES_A_COLUMN

    def _written(self, job: "Callable[[], None]") -> bool:
        """Does it; where it cannot, that is told once."""
        try:
            job()
        except (OSError, MemoryError):
            if not self.unwritten:
                self.unwritten = self.events.add(log.NOTICE, log.NO_FLIGHT_LOG, self.seconds)
        return True

    def flush(self) -> None:
        _flush(self.events, self.seconds)

    def end(self) -> None:
        """All that is not on flash yet goes there."""
        self._written(self.flights.flush)
        self.flush()

    def _judge(self, elapsed: int) -> None:
        """In turns, one a tick, so that none takes long: each ten times a second."""
        self.unwatched += elapsed
        turn = self.turn
        if turn == 0:
            for derived in self.derived:
                derived.step()
            for condition in self.conditions:
                condition.step()
        elif turn == 1:
            for readout in self.readouts:
                readout.step()
        elif turn == 2:
            for rule in self.rules:
                rule.step()
            self._remember()
            self._compare()
        elif turn == 3:
            if self.reserve is not None:
                self.reserve.step(self.unwatched)
            self.unwatched = 0
        else:
            self.alerts.step(self.seconds > SAMPLED_S)
        self.turn = turn + 1 if turn < TURNS - 1 else 0
        self.alerts.tick()
        if self.testing:
            self.testing -= 1
        buttons = self.buttons
        if buttons is not None and self.lighting is not None:
            switches = self.lighting.switches
            if buttons.acknowledge != NO_SWITCH:
                pressed = switches[buttons.acknowledge].level
                if pressed and not self.pressed:
                    if self.face is None or self.display is None or not self.display.alive:
                        self.alerts.acknowledge()
                    else:
                        self.face.acknowledge()
                self.pressed = pressed
            if buttons.test != NO_SWITCH:
                self._test(switches[buttons.test].level)
            if buttons.page != NO_SWITCH:
                turned = switches[buttons.page].level
                if turned and not self.turned and self.face is not None:
                    self.face.turn()
                self.turned = turned

    def _test(self, pressed: int) -> None:
        """A button that is stuck must not hide the face for ever."""
        self.tested = min(self.tested + 1, MOST_TEST_TICKS) if pressed else max(0, self.tested - TEST_RESTS)
        if pressed and self.tested < MOST_TEST_TICKS:
            self.testing = 1

    def _compare(self) -> None:
        """One of the disagree alerts after the other."""
        gauges = self.gauges
        if not gauges:
            return
        at = self.next_gauge
        gauges[at].step(self.clock[0] - self.compared[at] & CLOCK_MASK)
        self.compared[at] = self.clock[0]
        self.next_gauge = at + 1 if at + 1 < len(gauges) else 0

    def _light(self) -> None:
        lighting = self.lighting
        if lighting is None:
            return
        self._take_knobs(lighting)
        lighting.step()
        for i in range(len(self.outputs)):
            self.outputs[i].drive(self._duty(lighting.dimmers[i]), self.closed)
        if lighting.dim_request is not None:
            self.dim_pin.value(lighting.dim_request.pin)

    def _point(self) -> None:
        flagged = False
        for i in range(len(self.needles)):
            needle = self.needles[i]
            needle.step()
            flagged = flagged or needle.flagged
            self.needle_outputs[i].drive(needle.duty, self.closed)
        self.alerts.flagged = flagged

    def _take_knobs(self, lighting: "light.Lighting") -> None:
        for i in range(len(self.knob_pins)):
            lighting.knobs[i].sample(self.knob_pins[i])
        for i in range(len(self.switch_pins)):
            lighting.switches[i].take(self.switch_pins[i].value())

    def _duty(self, dimmer: "light.Dimmer") -> int:
        """Of a lamp for alerts only while there are some."""
        shows = dimmer.record.shows
        return dimmer.duty if not shows or self.testing or self.alerts.lit(shows) else 0

    def _show(self, elapsed: int) -> None:
        if self.face is None or self.display is None:
            return
        self.face.step(self.testing > 0, self.closed >= JUMPER_TICKS)
        dimmed = 255 if self.brightness is None else self.brightness.duty >> 8
        self.display.step(elapsed, self.face.contrast(dimmed, self.testing > 0))

    def _watch_jumper(self) -> None:
        if self.board.service():
            self.jumper_open = 0
            self.closed = min(self.closed + 1, JUMPER_TICKS)
        else:
            self.jumper_open += 1
            self.closed = 0
        if self.flight:
            return
        self.flying = self.flying + 1 if self.seconds and self.in_flight() else 0
        if self.jumper_open >= JUMPER_TICKS or self.flying >= IN_FLIGHT_TICKS:
            self._fly()

    def _fly(self) -> None:
        self.flight = True
        for output in self.outputs + self.needle_outputs:
            output.left = 0
        self.board.close_line()

    def _serve(self) -> None:
        if self.answers >= ANSWERS:
            self.answers = 0
            gc.collect()
            return
        for _ in range(BYTES_A_TICK):
            if self.restart_wanted:
                return  # what comes now is for the box that starts
            byte = self.board.next_byte()
            if byte < 0:
                return
            if self.reader.take(byte) and self._answer():
                return  # one a tick, however many come

    def _serve_until(self, due: int) -> None:
        """In service there is time to answer at once."""
        board = self.board
        while board.elapsed(due) < -1 and not self.restart_wanted:
            byte = board.next_byte()
            if byte < 0:
                board.wait_until(board.later(board.now(), 1))
            elif self.reader.take(byte):
                self._answer()

    def _answer(self) -> bool:
        try:
            line = answer(self, self.reader.line())
        except MemoryError:
            return True
        if line is not None:
            self.board.say(line)
            self.answers += 1
        return line is not None

    def run(self) -> None:
        board = self.board
        board.mark(log.AT_FACE)
        # dark at first: no picture of another start shall stand while the converters fail this one
        self._show(0)
        due = board.now()
        while not self.restart_wanted:
            began = board.now()
            self.tick()
            took = board.elapsed(began)
            if took > self.longest:
                self.longest = took
            due = board.later(due, TICK_MS)
            if board.elapsed(due) > TICK_MS:
                self.late += 1
                due = board.now()  # too late to catch up
            if not self.flight:
                self._serve_until(due)
            if not self.restart_wanted:
                board.wait_until(due)


def _sampled(converter: "Any", doublings: int) -> int:
    """The mean of so many doublings of samples."""
    count = (1 << doublings) >> 1
    for _ in range(1 << doublings):
        count += converter.read_u16()
    return count >> doublings


def _flush(events: log.Log, seconds: int = 0) -> None:
    try:
        events.flush(seconds)
    except (OSError, MemoryError):
        pass  # a full or worn flash stops no gauge, nor does a full heap


class Output:
    """What drives a lamp or a needle. line: its pin, None of a display; duty: what it stands at."""

    def __init__(self, line: "Any") -> None:
        self.line = line
        self.duty = 0
        self.held = 0
        self.left = 0  # ticks that it is held

    def hold(self, duty: int) -> None:
        self.held = duty
        self.left = HELD

    def drive(self, duty: int, service: int) -> None:
        """Once a tick. service: whether it may be held."""
        if self.left:
            self.left -= 1
            if service:
                duty = self.held
            else:
                self.left = 0
        if duty != self.duty:
            self.duty = duty
            if self.line is not None:
                self.line.duty_u16(duty)


class _Scan:
    """One converter chip and the steps of its channels, in the order they are sampled."""

    def __init__(self, chip: ADS1115, steps: "list[Callable[[int], None]]") -> None:
        self.chip = chip
        self.steps = steps

    def tick(self, elapsed_ms: int) -> None:
        chip = self.chip
        if chip.poll(elapsed_ms):
            counts = chip.counts
            for i in range(len(counts) - 1, -1, -1):
                self.steps[i](counts[i])
        elif not chip.alive:
            for step in self.steps:
                step(SILENT)


def run() -> None:
    """What main.py calls. Returns only in service: on Ctrl-C, or when a start had lasted, or was without the slots, before it failed."""
    silence_outputs()
    gc.threshold(GARBAGE)  # type: ignore[attr-defined]
    board = None
    app = None
    events = None
    restart = False
    try:
        board = Board()
        board.mark(log.AT_START)
        if not board.service():
            board.close_line()  # from here on a hang restarts it
        events = log.Log(LOG_FOLDER)
        app = App(board, Store(FOLDER, board.failed >= MOST_FAILED), events, FlightLog(FLIGHT_FOLDER))
        app.run()
        app.end()
        board.ended(log.ASKED)
        restart = True
    except KeyboardInterrupt:
        if board is not None:
            board.ended(log.STOPPED)
    except Exception as problem:
        if board is not None:
            board.ended(log.FAILED)
        sys.print_exception(problem)  # type: ignore[attr-defined]
        if board is not None and events is not None and board.failed < MOST_FAILED:
            _flush(events)  # of one that failed at once, too
        starting = app is None or app.seconds < LASTING_S
        if board is not None and (starting and board.failed < MOST_FAILED or not board.service()):
            restart = True
            board.wait_until(board.later(board.now(), FAILED_WAIT_MS))  # it may fail at every start
    finally:
        silence_outputs()
    if restart and board is not None:
        board.restart()
