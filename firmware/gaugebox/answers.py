"""What the box answers to each request on the line.

Every request may be repeated: its answer is the same, or it says that what it asks is already so.

    hello                   firmware, container, box name, FLIGHT (jumper open), SERVICE, or CLOSED (a jumper closed too late: its watchdog
                            runs), slot, sequence, table CRC, number of readouts, of dimmers, uptime in ms, notice, CRC of the safe slot,
                            of the older one, why it may be in flight, CRC of a table that waits for the next start
    health                  what it did before it started, late ticks, longest tick in ms, records of the log, free heap
    log n                   records from n on, base64
    flight                  of the flight log: number of this start; of its first and its last file; bytes of the last
    flight n at             168 bytes of its file n from there on, base64; nothing beyond its end; "no" where that is there no more
    table n which           piece n of the table that runs, base64; which: "older", or nothing
    input i                 name, signal unit, signal decimals, reading unit, reading decimals, step
    values i                for input i and up to seven more: count,signal,reading,fault
    lamps i                 for dimmer i and up to three more: name,level,duty,fault; of a lamp for alerts the duty is 0 while it is dark
    alerts n                changes so far, warning and caution lamp (0 dark, 1 steady, 2 flashing), how many there are; then from the
                            n-th on up to four more, the first to be read first: urgency (1 caution, 2 warning), 1 if acknowledged, words
    marks n                 of readout n and up to 31 more: its colour (0 none, 1 green, 2 yellow, 3 red), rank
    reserve                 of the reserve watch, nothing where there is none: state, 1 if doubtful; moved, left, room, seconds to off, each
                            with its band, -1 where it is not known
    gauges                  of each disagree alert: state, size
    filled                  (the reserve has been)
    acknowledge             (all alerts)
    test ticks              (all that can be lit is, for so long; at most 250)
    knobs                   the count that each took last; -1: none yet, or its contact breaks
    hold lamp|needle i duty (dimmer or needle i stands at it until five seconds after the last such request, then as the table says)
    dim                     on or off, or none; day or night, or none; fault of the request, of the daylight
    begin length crc packed slot    bytes a piece; packed: bytes that come; slot: "safe", or nothing for the older one
    piece number base64     number
    verify                  length, crc
    commit crc              slot
    revert crc              slot
    restart                 (then the box starts anew)
"""

import binascii
import gc

from gaugebox import VERSION
from gaugebox.line import ANSWER, LONGEST, REQUEST, frame, unframe
from gaugebox.measure import FAULTS
from gaugebox.store import PIECE, SAFE, StoreError
from gaugebox.table import CONTAINER

TYPE_CHECKING = False
if TYPE_CHECKING:
    from gaugebox.app import App

VALUES_A_LINE = 8
DIMMERS_A_LINE = 4
RECORDS_A_LINE = 16
ALERTS_A_LINE = 4
MARKS_A_LINE = 32
MOST_TEST_TICKS = 250
JUMPER_TICKS = 5  # the service jumper counts as closed, or pulled, when it has been so for so many ticks
OLDER = "older"
STORE_FAILED = "the store failed: "
JUMPER_OPEN = "service jumper open: close it to write"


class Refused(Exception):
    pass


def answer(app: "App", line: "bytes | bytearray") -> "str | None":
    """The answer to one line, or None when it is no request."""
    fields = None
    try:
        fields = unframe(REQUEST, line)
        if fields is None or len(fields) < 2 or len(fields[0]) > 8:
            return None
        verb = VERBS.get(fields[1])
        if verb is None:
            raise Refused("no such request: " + fields[1][:20])
        said = verb(app, fields[2:])
        return frame(ANSWER, [fields[0], "ok"] + said)
    except (Refused, StoreError) as problem:
        reason = str(problem)
    except OSError as problem:
        reason = STORE_FAILED + str(problem)
    except MemoryError:
        reason = "no memory for it"
    except Exception:
        # whatever the fields did: nothing that arrives on the line may stop the loop
        reason = "the request is not of the right form"
    # a table image's texts may hold anything
    try:
        reason = "".join(c if " " <= c <= "~" and c != "|" else "." for c in reason[:160])
        return None if fields is None else frame(ANSWER, [fields[0], "no", reason])
    except MemoryError:
        return None


def hello(app: "App", _: "list[str]") -> "list[str]":
    store = app.store
    table = store.table if store.slot != SAFE else None
    said = [
        VERSION,
        str(CONTAINER),
        table.name if table is not None else "",
        "FLIGHT" if not app.board.service() else "CLOSED" if app.flight else "SERVICE",
        store.slot,
        str(store.sequence),
        "%08x" % table.crc if table is not None else "",
        str(len(app.shown)),
        str(len(app.outputs)),
        str(app.seconds * 1000 + app.ms),
        "",
        "%08x" % store.safe if store.safe else "",
        "%08x" % store.older if store.older else "",
        app.in_flight(),
        "%08x" % store.waiting if store.waiting else "",
    ]
    room = LONGEST - 32
    for field in said:
        room -= len(field) + 1
    said[10] = store.notice.replace("|", "/")[: max(0, room)]
    return said


def health(app: "App", _: "list[str]") -> "list[str]":
    said = app.board.before, app.late, app.longest, app.events.count(), gc.mem_free()  # type: ignore[attr-defined]
    return [str(number) for number in said]


def log(app: "App", words: "list[str]") -> "list[str]":
    return [_base64(app.events.read(_index(words[0]), RECORDS_A_LINE))]


def flight(app: "App", words: "list[str]") -> "list[str]":
    flights = app.flights
    if not words:
        said = app.events.start, flights.oldest, flights.newest, flights.size
        return [str(number) for number in said]
    number = int(words[0])
    if not flights.oldest <= number <= flights.newest:
        raise Refused("it has no such file of the flight log: " + str(number))
    return [_base64(flights.read(number, _index(words[1]), PIECE))]


def table(app: "App", words: "list[str]") -> "list[str]":
    return [_base64(app.store.part(_index(words[0]), words[1:] == [OLDER]))]


def _base64(content: bytes) -> str:
    return binascii.b2a_base64(content).decode().strip()


def describe_input(app: "App", words: "list[str]") -> "list[str]":
    r = app.shown[_index(words[0])].record
    return [
        r.name,
        r.signal_unit,
        str(r.signal_decimals),
        r.reading_unit,
        str(r.reading_decimals),
        str(r.step),
    ]


def values(app: "App", words: "list[str]") -> "list[str]":
    start = _index(words[0])
    said = []
    for channel in app.shown[start : start + VALUES_A_LINE]:
        fault, count, signal, reading = channel.said
        if fault:
            said.append("%d,,,%s" % (count, FAULTS[fault]))
        else:
            said.append("%d,%d,%d," % (count, signal, reading))
    return said


def lamps(app: "App", words: "list[str]") -> "list[str]":
    start = _index(words[0])
    said: "list[str]" = []
    if app.lighting is None:
        return said
    dimmers = app.lighting.dimmers
    for i in range(start, min(start + DIMMERS_A_LINE, len(dimmers))):
        one = dimmers[i]
        said.append("%s,%d,%d,%s" % (one.record.name, one.level, app.outputs[i].duty, _fault(one.fault)))
    return said


def alerts(app: "App", words: "list[str]") -> "list[str]":
    shown = app.alerts
    start = _index(words[0])
    said = ["%d,%d,%d,%d" % (shown.changed, shown.warning, shown.caution, shown.count)]
    for at in range(start, min(start + ALERTS_A_LINE, shown.count)):
        number = shown.order[at]
        alert = shown.all[number]
        said.append("%d,%d,%s" % (alert.urgency, not alert.unseen(), shown.words(number)))
    return said


def marks(app: "App", words: "list[str]") -> "list[str]":
    start = _index(words[0])
    return ["%d,%d" % (one.colour, one.rank) for one in app.readouts[start : start + MARKS_A_LINE]]


def reserve(app: "App", _: "list[str]") -> "list[str]":
    if app.reserve is None:
        return []
    watch = app.reserve.watch
    books = watch.books
    said = watch.state, int(watch.doubtful), books.moved, books.moved_band, books.left, books.left_band
    said += books.room, books.room_band, books.seconds_to_off, books.seconds_band  # type: ignore[assignment]
    return [str(number) for number in said]


def gauges(app: "App", _: "list[str]") -> "list[str]":
    return ["%d,%d" % (one.disagree.state, one.disagree.size) for one in app.gauges]


def filled(app: "App", _: "list[str]") -> "list[str]":
    if app.reserve is None:
        raise Refused("there is no reserve to watch")
    if not app.reserve.fill():
        raise Refused("the pump is on: switch it off first")
    return []


def acknowledge(app: "App", _: "list[str]") -> "list[str]":
    app.alerts.acknowledge()
    return []


def test(app: "App", words: "list[str]") -> "list[str]":
    app.testing = min(_index(words[0]), MOST_TEST_TICKS)
    return []


def knobs(app: "App", _: "list[str]") -> "list[str]":
    return [] if app.lighting is None else [str(knob.count) for knob in app.lighting.knobs]


def hold(app: "App", words: "list[str]") -> "list[str]":
    _writing(app)
    output = {"lamp": app.outputs, "needle": app.needle_outputs}[words[0]][_index(words[1])]
    if output.line is None:
        raise Refused("a display has no pin to hold")
    output.hold(_index(words[2]))
    return []


def dim(app: "App", _: "list[str]") -> "list[str]":
    if app.lighting is None:
        return ["none", "none", "", ""]
    request, daylight = app.lighting.dim_request, app.lighting.daylight
    return [
        "none" if request is None else "on" if request.on else "off",
        "none" if daylight is None else "day" if daylight.day > 0 else "night",
        "" if request is None else _fault(request.fault),
        "" if daylight is None else _fault(daylight.fault),
    ]


def _fault(code: int) -> str:
    return FAULTS[code] or "" if code >= 0 else "not known yet"


def begin(app: "App", words: "list[str]") -> "list[str]":
    _writing(app)
    app.flights.give_way()
    app.store.begin(_index(words[0]), _crc(words[1]), _index(words[2]), words[3:] == [SAFE])
    return [str(PIECE)]


def piece(app: "App", words: "list[str]") -> "list[str]":
    _writing(app)
    app.store.piece(_index(words[0]), binascii.a2b_base64(words[1]))
    return [words[0]]


def verify(app: "App", _: "list[str]") -> "list[str]":
    _writing(app)
    length, crc = app.store.verify()
    return [str(length), "%08x" % crc]


def commit(app: "App", words: "list[str]") -> "list[str]":
    _writing(app)
    return [app.store.commit(_crc(words[0]))]


def revert(app: "App", words: "list[str]") -> "list[str]":
    _writing(app)
    app.flights.give_way()
    return [app.store.revert(_crc(words[0]))]


def restart(app: "App", _: "list[str]") -> "list[str]":
    _writing(app)
    app.restart_wanted = True
    return []


def _index(word: str) -> int:
    n = int(word)
    if not 0 <= n < 65536:
        raise ValueError
    return n


def _crc(word: str) -> int:
    n = int(word, 16)
    if not 0 <= n <= 0xFFFFFFFF:
        raise ValueError
    return n


def _writing(app: "App") -> None:
    if app.closed < JUMPER_TICKS:
        raise Refused(JUMPER_OPEN)
    why = app.in_flight()
    if why:
        raise Refused(why)


VERBS = {
    "hello": hello,
    "input": describe_input,
    "values": values,
    "lamps": lamps,
    "dim": dim,
    "alerts": alerts,
    "marks": marks,
    "acknowledge": acknowledge,
    "reserve": reserve,
    "gauges": gauges,
    "filled": filled,
    "test": test,
    "hold": hold,
    "knobs": knobs,
    "health": health,
    "log": log,
    "flight": flight,
    "table": table,
    "begin": begin,
    "piece": piece,
    "verify": verify,
    "commit": commit,
    "revert": revert,
    "restart": restart,
}
