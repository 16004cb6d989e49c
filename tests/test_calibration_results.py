"""From a session to what the face will say: against a tank whose truth is known, a dipstick whose geometry is, and by hand."""

import argparse
import json
import math
import re
from collections.abc import Callable, Sequence
from datetime import date
from pathlib import Path
from unittest.mock import MagicMock

import numpy as np
import pytest

from gaugelight.box_values import Calibrated
from gaugelight.boxfile import Box, read_box
from gaugelight.calibration import box_file, command, plot, results
from gaugelight.calibration.dipstick import Stick, drawing, monotone, stick_of, ticks
from gaugelight.calibration.results import evaluate, notes_on_calibrations, parked_correction
from gaugelight.calibration.session import read_session
from gaugelight.cli import DEMO, Screen, main
from gaugelight.dial import Line, Words
from gaugelight.problems import Wrong

HEAD = """input = "left fuel"
kind = "tank"
attitude = "{attitude}"
started = 2026-11-26
signals = "box"
can = {{ every = "1 %", each = "0.05 US gal" }}
"""
GAUGE = """input = "hydraulic"
kind = "reference"
started = 2026-11-26
signals = "box"
reference = { name = "test gauge", plus_minus = "6 psi", each = "2 psi" }
"""
SAID = Calibrated(date(2026, 11, 26), "left.toml", "box")
UP_AND_DOWN = (0, 2, 2, 2, 2, 2, 2, 2, 2, 2, -4, -4, -4, -4)


def sender(gallons: float) -> float:
    """Ohm of a tank of our own: the float lies on the bottom to 0.3 US gal, and is bent in the middle."""
    return float(np.interp(gallons, [0.3, 6, 12, 18.3], [2, 34, 60, 88]))


def written(
    path: Path,
    pours: Sequence[float] = UP_AND_DOWN,
    signal: Callable[[float], float] = sender,
    head: str = HEAD.format(attitude="level"),
    rng: np.random.Generator | None = None,
    dip: Callable[[float], float] | None = None,
) -> Path:
    """A session of a tank; rng: with errors as its can states them."""
    text, total, true = head, 0.0, 0.0
    share = 0.0 if rng is None else rng.normal(0, 0.01 / 1.96)
    for pour in pours:
        total += pour
        true += pour * (1 + share) + (0.0 if rng is None else rng.normal(0, 0.05 / 1.96))
        said = signal(true) + (0.0 if rng is None else rng.normal(0, 0.05))
        text += f'\n[[point]]\nadded = "{pour} US gal"\nsignal = "{said:.3f} ohm"\nspread = "0.05 ohm"\n'
        text += f'dip = "{dip(total):.1f} mm"\n' if dip is not None and dip(total) > 0 else ""
    path.write_text(text)
    return path


@pytest.fixture
def demo() -> Box:
    return read_box(DEMO)


def test_the_face_is_right_within_what_it_states(tmp_path: Path, demo: Box) -> None:
    """Five calibrations of a known tank, each pour and the can as wrong as stated: at least 95 % of what their faces show, less two or so for
    luck, lies within its plus or minus."""
    rng, inside, shown = np.random.default_rng(7), 0, 0
    for number in range(5):
        result = evaluate(read_session(written(tmp_path / f"{number}.toml", rng=rng)), demo)
        signals = [s for s, _, _ in result.listed]
        for row in result.face:
            if 1 <= row.reading <= 17:
                signal = float(np.interp(row.reading, [r for _, r, _ in result.listed], signals))
                truth = float(np.interp(signal, [2, 34, 60, 88], [0.3, 6, 12, 18.3]))
                inside += abs(truth - row.reading) <= row.plus_minus
                shown += 1
    assert shown > 150 and inside / shown >= 0.93


@pytest.mark.parametrize("pours", [(0, *9 * [2]), (0, *6 * [3]), (0, 3.1, *5 * [3])])
def test_full_under_a_float_that_stopped_lies_within_what_the_face_states(
    tmp_path: Path, demo: Box, pours: Sequence[float]
) -> None:
    """The float stops at 15.6 US gal of 18: by few pours or many, the highest reading says how much more there may be."""
    stopped = written(tmp_path / "s.toml", pours, lambda gallons: min(5 * gallons, 78))
    top = evaluate(read_session(stopped), demo).face[-1]
    assert top.reading < sum(pours) - 1 and top.reading + top.plus_minus >= sum(pours)


def test_a_signal_below_nought_is_nought(tmp_path: Path, demo: Box) -> None:
    """The converter's offset takes a float of 0 ohm there; the points that come of it are ones that the box file takes."""
    made = evaluate(
        read_session(written(tmp_path / "s.toml", signal=lambda gallons: max(5 * gallons - 2, 0) - 0.04)),
        demo,
    )
    assert made.listed[0][:2] == (0, 0) and made.points[0].signal == 0


def test_what_it_says_of_a_session(tmp_path: Path, demo: Box) -> None:
    result = evaluate(read_session(written(tmp_path / "s.toml")), demo)
    assert [point.true for point in result.points][8:11] == [16, 18, 14]
    # JCGM 100, 5.1.2 and 5.2: nine pours of 2 with 0.05/1.96 each, the zero's, and 1 %/1.96 of all
    own = math.sqrt(10) * 0.05 / 1.96
    assert result.points[9].true_u == pytest.approx(math.hypot(own, 18 * 0.01 / 1.96))
    assert result.points[3].signal_u == pytest.approx(0.05, rel=0.05)
    assert result.hysteresis is not None and result.hysteresis < 0.2
    assert [row.reading for row in result.face] == [0.5 * k for k in range(37)][: len(result.face)]
    for row in result.face:
        assert row.plus_minus > 0.475 * 0.5  # rounding alone, at 95 %: rectangular


LYING: dict[str, tuple[float, Sequence[float]]] = {
    "a little": (0.4, (0, 0.5, 0.5, 2, 3, 3, 3, 3, 3)),
    "to 1.3": (1.3, (0, 1, 2, 3, 3, 3, 3, 3, -6)),
    "to two, the tank smaller than thought": (2, (0, 1, 0.5, 1.5, 3, 3, 3, 3, 2.5)),
}


@pytest.mark.parametrize("lifts, pours", LYING.values(), ids=LYING)
def test_where_the_float_lifts_the_converter_can_follow(
    tmp_path: Path, demo: Box, lifts: float, pours: Sequence[float]
) -> None:
    """The face jumps there; and yet no step of the converter is half of a displayed one, and its marks stay: else nothing could be saved."""
    session = written(
        tmp_path / "left.toml",
        pours,
        lambda gallons: float(np.interp(gallons, [lifts, 6, 12, 18.5], [3, 33, 60, 90])),
    )
    result = evaluate(read_session(session), demo)
    if lifts > 1:
        assert result.bottom is not None and result.bottom[1] == pytest.approx(lifts, abs=0.7)
    text = box_file.with_points(DEMO.read_text(), result.input, result.listed, SAID)
    box_file.proved(str(DEMO), text, "left fuel", result.listed)  # raises Wrong


def test_weighed_pours(tmp_path: Path, demo: Box) -> None:
    """By hand: 12 lb of 0.72 kg/l, weighed in air, which carries 0.0011 kg of a litre: 2.000 US gal."""
    path = written(tmp_path / "s.toml", head=HEAD.format(attitude="level") + 'density = "0.72 kg/l"\n')
    text = re.sub(r'added = "2 US gal"', 'weighed = "12 lb"\ntemperature = "15 degC"', path.read_text())
    path.write_text(re.sub(r'added = "-4 US gal"', 'weighed = "-24 lb"\ntemperature = "15 degC"', text))
    result = evaluate(read_session(path), demo)
    assert result.points[1].added == pytest.approx(12 * 0.45359237 / (0.72 - 0.0011) / 3.785411784)
    assert result.points[9].true_u > 18 * 0.001 / 0.72
    path.write_text(path.read_text().replace('temperature = "15 degC"\n', ""))  # which nobody needs
    assert evaluate(read_session(path), demo).points == result.points


def test_a_meter_has_errors_of_its_own(tmp_path: Path, demo: Box) -> None:
    path = written(tmp_path / "s.toml")
    plain = evaluate(read_session(path), demo)
    path.write_text(path.read_text().replace('signals = "box"', 'signals = "meter"\nmeter = "2 %"'))
    by_meter = evaluate(read_session(path), demo)
    signal, slope = plain.fit.signals[-1], 6.3 / 28
    assert by_meter.fit.plus_minus[-1] == pytest.approx(
        math.hypot(plain.fit.plus_minus[-1], 0.02 * signal * slope), rel=0.15
    )
    assert all(a.plus_minus > b.plus_minus for a, b in zip(by_meter.face[2:], plain.face[2:]))


WRONG: dict[str, tuple[Callable[[str], str], str]] = {
    "too few": (lambda text: text[: text.index("[[point]]")] + "[[point]]" + text.split("[[point]]")[1], "s.toml: "),
    "more drained than was there": (lambda text: text.replace('"2 US', '"-2 US', 1), "s.toml:13: added: 2 US gal drained, and only 0 were there"),
    "drained once more than all": (
        lambda text: text[: text.index("[[point]]")] + "".join(f'[[point]]\nadded = "{pour} US gal"\nsignal = "9 ohm"\n' for pour in (0, 0.1, 0.2, -0.1, -0.2, -9)),
        "9 US gal drained, and only 0 were there",
    ),
    "a pour a thousand times too large": (lambda text: text.replace('"2 US', '"2000 US', 1), "s.toml:13: added: 2000 US gal: more than the whole"),
    "a signal a thousand times too large": (lambda text: text.replace("2.000 ohm", "2.000 kohm", 1), "s.toml:8: signal: 2 kohm: far from"),
    "a signal well below 0": (lambda text: text.replace("2.000 ohm", "-2.000 ohm", 1), "s.toml:8: signal: -2 ohm: no sender"),
    "another box": (lambda text: 'box = "another"\n' + text, 'was taken on box "another"'),
    "another circuit": (lambda text: 'circuit = "0badc0de"\n' + text, "with another circuit for left fuel than"),
    "another input": (lambda text: text.replace("left fuel", "left feul"), 'did you mean "left fuel"?'),
    "a rail": (lambda text: text.replace("left fuel", "sender rail"), "is a rail"),
    "no tank": (lambda text: text.replace("left fuel", "hydraulic"), 'a "reference"'),
    "milliampere": (lambda text: text.replace("ohm", "mA"), "signal: "),
    "a weight in the place of a volume": (lambda text: text.replace('"2 US gal"', '"12 lb"', 1), "of which fuel"),
}  # fmt: skip


@pytest.mark.parametrize("case", WRONG)
def test_what_cannot_be_evaluated(tmp_path: Path, demo: Box, case: str) -> None:
    change, told = WRONG[case]
    path = written(tmp_path / "s.toml")
    path.write_text(change(path.read_text()))
    with pytest.raises(Wrong) as wrong:
        evaluate(read_session(path), demo)
    assert told in wrong.value.lines[0]


@pytest.mark.parametrize("from_file, asked", [(None, True), ("left fuel.level.toml", False)])
def test_who_has_the_box_at_hand_is_asked_to_flash(
    hull: Path, monkeypatch: pytest.MonkeyPatch, from_file: str | None, asked: bool
) -> None:
    """Guided, on the only port there is; a session from a file may be without a box."""
    result = evaluate(read_session(written(hull.parent / "left fuel.level.toml")), read_box(hull))
    questions: list[str] = []
    monkeypatch.setattr(command, "_asked", lambda words, screen, question: questions.append(question))
    words = argparse.Namespace(
        box=str(hull), port=None, yes=False, save=True, flash=False, from_file=from_file, anyway=False
    )
    command._saved(words, Screen(quiet=True), read_box(hull), hull, result)
    assert ("flash it now?" in questions) == asked


def contradictory(hull: Path) -> Path:
    """A session one point of which nothing else goes with: 9 ohm off, in the middle of the tank."""
    slips = iter([0.0] * 4 + [9.0] + [0.0] * 9)
    return written(hull.parent / "left fuel.level.toml", signal=lambda gallons: sender(gallons) + next(slips))


# of --save, --flash and --anyway those that stand there, what somebody answers (None: nobody is there), whether it is saved, and how often one is asked
DOUBTED: dict[str, tuple[set[str], bool | None, bool, int]] = {
    "nobody there": (set(), None, False, 0),
    "nobody there, save": ({"save"}, None, False, 0),
    "nobody there, flash": ({"flash"}, None, False, 0),
    "nobody there, anyway alone": ({"anyway"}, None, False, 0),
    "nobody there, save anyway": ({"save", "anyway"}, None, True, 0),
    "no": ({"save"}, False, False, 1),
    "yes": ({"save"}, True, True, 1),
    "yes, without --save": (set(), True, True, 1),
    "save anyway, somebody there": ({"save", "anyway"}, False, True, 0),
}


@pytest.mark.parametrize("case", DOUBTED)
def test_a_contradictory_point_is_asked_about_before_it_is_saved(
    hull: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, case: str
) -> None:
    given, answer, saved, asked = DOUBTED[case]
    questions: list[str] = []

    def agreed(words: object, screen: object, question: str) -> bool:
        questions.append(question)
        return bool(answer)

    if answer is not None:
        monkeypatch.setattr(command, "_asked", agreed)
        monkeypatch.setattr(command, "_somebody", lambda: True)
    for slow in ("build", "changes", "Table", "box_file.proved"):  # no image is looked at here
        monkeypatch.setattr(f"gaugelight.calibration.command.{slow}", MagicMock())
    session, old = contradictory(hull), hull.read_text()
    words = argparse.Namespace(
        box=str(hull), port=None, yes=False, from_file=str(session),
        **{word: word in given for word in ("save", "flash", "anyway")},
    )  # fmt: skip
    said = command._saved(
        words, Screen(quiet=False), read_box(hull), hull, evaluate(read_session(session), read_box(hull))
    )
    out = capsys.readouterr().out
    assert (hull.read_text() != old) == saved == said["saved"] and not said["flashed"]
    told = "point 5 fits with no other and was left out"
    assert len(questions) == asked and all(told in question for question in questions)
    if answer is None and not saved:
        assert (
            "write --save to save it"
            if "anyway" in given
            else f"{told}: repeat it, or look for a slip; or write --save --anyway"
        ) in out


def test_a_contradiction_in_json(hull: Path, capsys: pytest.CaptureFixture[str]) -> None:
    session = contradictory(hull)
    words = ["calibrate", str(hull), "left fuel", "--from", str(session), "--save", "--json"]
    assert main(words) == 1
    said = json.loads(capsys.readouterr().out)
    assert said["contradicts"].startswith("point 5 fits with no other") and not said["saved"]
    assert main([*words, "--anyway"]) == 0
    assert json.loads(capsys.readouterr().out)["saved"]
    assert main(words) == 0  # says so already: nothing is to be saved


# whether --flash stands there, what is answered to "flash it now?"; whether flash may write without asking once more
ONCE = {"asked, yes": (False, True, True), "the option": (True, False, False)}


@pytest.mark.parametrize("option, answer, agreed", ONCE.values(), ids=ONCE)
def test_whoever_has_agreed_to_flash_is_not_asked_again(
    hull: Path, monkeypatch: pytest.MonkeyPatch, option: bool, answer: bool, agreed: bool
) -> None:
    result = evaluate(read_session(written(hull.parent / "left fuel.level.toml")), read_box(hull))
    flash = MagicMock(return_value=({}, 0))
    monkeypatch.setattr(command, "_asked", lambda words, screen, question: answer)
    monkeypatch.setattr("gaugelight.cli.flash", flash)
    words = argparse.Namespace(
        box=str(hull), port=None, yes=False, save=True, flash=option, from_file=None, anyway=False
    )
    command._saved(words, Screen(quiet=True), read_box(hull), hull, result)
    assert [call.args[0].yes for call in flash.call_args_list] == [agreed]


def test_a_sender_at_nothing_is_measured_a_little_below(hull: Path) -> None:
    """By the converter's offset; and that can be saved."""
    session = written(hull.parent / "s.toml", signal=lambda gallons: 5 * gallons - 0.02)
    assert main(["calibrate", str(hull), "left fuel", "--from", str(session), "--save", "--json"]) == 0
    law = read_box(hull).inputs[1].law
    assert law.low == 0


def gauge(path: Path, bend: float = 0.0, most: int = 1200) -> Path:
    text = GAUGE
    for psi in [*range(0, most + 1, 200), *range(most - 200, -1, -200)]:
        signal = 4.03 + psi / 1500 * 15.9 + bend * math.sin(math.pi * psi / most)
        text += f'\n[[point]]\ntrue = "{psi} psi"\nsignal = "{signal:.3f} mA"\nspread = "0.005 mA"\n'
    path.write_text(text)
    return path


def test_a_line_is_carried_on_to_the_senders_ends(tmp_path: Path, demo: Box) -> None:
    """Taken to 1200 psi, of 1500. The plus or minus grows beyond the points; and the marks are covered."""
    result = evaluate(read_session(gauge(tmp_path / "s.toml")), demo)
    (low, first, _), (high, last, off) = result.listed
    assert (low, high) == (4.0, 20.0)
    assert first == pytest.approx((4 - 4.03) / 15.9 * 1500, abs=1)
    assert last == pytest.approx((20 - 4.03) / 15.9 * 1500, abs=1)
    # JCGM 100, H.3.4: the line's own uncertainty grows as the root of 1/n + (x - mean)^2 / sum of squares
    away = np.array([point.signal for point in result.points])
    levers = [
        math.sqrt(1 / 13 + (x - away.mean()) ** 2 / ((away - away.mean()) ** 2).sum()) for x in (16.75, 20)
    ]
    assert off == pytest.approx(result.fit.plus_minus[-1] * levers[1] / levers[0], rel=0.03)
    assert off > 1.2 * result.fit.plus_minus[-1] >= 7
    assert any("differ by" in note for note in result.notes)


def test_a_calibration_anew_covers_the_marks_too(tmp_path: Path, demo: Box) -> None:
    """The loop has drifted: at 20 mA are 1377 psi now, and the upper red stands at 1400."""
    said = results.calibrated_of(evaluate(read_session(gauge(tmp_path / "s.toml")), demo).session, DEMO)
    before = box_file.with_calibration(demo, "hydraulic", [(4.0, 0.0, 6.0), (20.0, 1500.0, 7.0)], said)
    path = gauge(tmp_path / "t.toml")
    path.write_text(
        re.sub(
            r'signal = "([\d.]+)', lambda m: f'signal = "{4 + (float(m[1]) - 4) * 1.09:.3f}', path.read_text()
        )
    )
    result = evaluate(read_session(path), before)
    assert result.listed[-1][0] < 20.5 and result.listed[-1][1] == pytest.approx(1400, abs=1)


def test_a_bent_gauge_takes_points(tmp_path: Path, demo: Box) -> None:
    result = evaluate(read_session(gauge(tmp_path / "s.toml", 0.4, 1400)), demo)
    assert len(result.listed) > 2 and any("straight line does not fit" in note for note in result.notes)


def test_parked_and_level(tmp_path: Path, demo: Box) -> None:
    """On the ground the float stands as with 1.2 US gal more when empty, and 0.3 more when half full."""
    level = evaluate(read_session(written(tmp_path / "l.toml")), demo)
    head = HEAD.format(attitude="parked")
    tilted = written(tmp_path / "p.toml", signal=lambda v: sender(v + 1.2 - v / 10), head=head)
    parked = evaluate(read_session(tilted), demo)
    assert parked.listed == () and parked.face == ()
    rows = parked_correction(parked, level)
    assert [row.there for row in rows][:3] == [0, 2, 4]
    for row in rows[:-1]:
        assert row.shown - row.there == pytest.approx(1.2 - row.there / 10, abs=0.1)
        assert row.plus_minus >= 0.05


def test_a_part_of_a_tank_is_warned_of(tmp_path: Path, demo: Box) -> None:
    result = evaluate(read_session(written(tmp_path / "s.toml", (0, 2, 2, 2, 2))), demo)
    assert any("will be shown as a fault" in note for note in result.notes)
    assert any("one way only" in note for note in result.notes)


# -- the dipstick


def cylinder(dip: float) -> float:
    """US gal in a lying cylinder of 400 mm diameter and 600 mm length, wet to a height: the area of a circle's segment, times the length."""
    r, length = 2.0, 6.0  # dm: litres
    h = dip / 100
    area = r * r * math.acos((r - h) / r) - (r - h) * math.sqrt(2 * r * h - h * h)
    return area * length / 3.785411784


def cylinder_stick(demo: Box, count: int = 13) -> Stick:
    dips = np.linspace(20, 350, count)
    one = demo.input("left fuel")
    assert one is not None
    return Stick("hull", one, "2026-11-26", tuple(dips.tolist()), tuple(cylinder(dip) for dip in dips))


def test_a_scale_of_a_known_tank(demo: Box) -> None:
    """Every tick within a millimetre of where geometry puts it."""
    stick = cylinder_stick(demo)
    strong, fine = ticks(stick)
    assert len(strong) >= 8 and len(fine) > len(strong)
    truth = np.linspace(20, 350, 3301)
    for quantity in (*strong, *fine):
        exact = float(np.interp(quantity, [cylinder(dip) for dip in truth], truth))
        assert stick.dip_at(quantity) == pytest.approx(exact, abs=1.0), quantity


def test_the_cubic_is_the_published_one() -> None:
    """Against scipy's PchipInterpolator (Fritsch and Butland's tangents) between the inner points; monotone to the ends."""
    interpolate = pytest.importorskip("scipy.interpolate")
    x, y = [0.0, 1, 2.5, 3, 6, 7], [0.0, 0.5, 4, 4.1, 9, 20]
    at = np.linspace(1, 6, 101)
    assert monotone(x, y, at) == pytest.approx(interpolate.PchipInterpolator(x, y)(at))
    everywhere = monotone(x, y, np.linspace(-1, 8, 500))
    assert np.all(np.diff(everywhere) >= -1e-12) and (everywhere[0], everywhere[-1]) == (0, 20)


def test_the_print_is_at_full_size(demo: Box) -> None:
    """A tick of the drawing lies as many millimetres above the lower end of its piece as the stick is wet, less the pieces before."""
    stick = cylinder_stick(demo)
    made = drawing(stick)
    lines = [shape for shape in made.shapes if isinstance(shape, Line)]
    bottoms = sorted({line.start for line in lines if line.width == 0.5})
    assert len(bottoms) == 2  # 350 mm stand in two pieces
    piece = 350 / 2
    strong, fine = ticks(stick)
    found = 0
    for line in lines:
        for number, (left, bottom) in enumerate(bottoms):
            if line.width == 0.45 and line.start[0] == left:
                dip = bottom - line.start[1] + number * piece
                assert min(abs(stick.dip_at(quantity) - dip) for quantity in strong) < 1e-3
                found += 1
    assert found == len(strong)
    words = [shape.text for shape in made.shapes if isinstance(shape, Words)]
    assert any("PARKED ATTITUDE" in text for text in words) and any("50 mm" in text for text in words)
    bar = next(line for line in lines if line.width == 0.3)
    assert bar.end[0] - bar.start[0] == pytest.approx(50)
    assert made.width <= 190 and made.height <= 280
    ends = [line.start[1] for line in lines if line.width == 0.5]
    figures = [shape for shape in made.shapes if isinstance(shape, Words) and shape.size == 4.0]
    assert figures and all(abs(figure.place[1] - end) > 2 for figure in figures for end in ends)


def test_dips_up_and_down_are_averaged(tmp_path: Path, demo: Box) -> None:
    path = written(tmp_path / "s.toml", (0, 2, 2, 2, -2), dip=lambda v: 100 * v)
    text = path.read_text()
    at = text.rindex('dip = "400.0 mm"')
    path.write_text(text[:at] + text[at:].replace("400.0", "410.0"))
    assert stick_of("hull", evaluate(read_session(path), demo)).dip_at(4) == pytest.approx(405)


STICKS: dict[str, tuple[tuple[float, ...], Callable[[float], float], str]] = {
    "too few": ((0, 2, 2), lambda v: 10 * v, "needs 3"),
    "turns back": (
        (0, 2, 2, 2, 2),
        lambda v: 100 - v,
        r"s\.toml:14: dip: .* one of them is wrong \(line 8\)",
    ),
}


@pytest.mark.parametrize("case", STICKS)
def test_no_scale_of_wrong_dips(tmp_path: Path, demo: Box, case: str) -> None:
    pours, dip, told = STICKS[case]
    path = written(tmp_path / "s.toml", pours + (2,) * (4 if case == "turns back" else 1), dip=dip)
    text = path.read_text()
    if case == "too few":  # the last two without
        text = "dip =".join(text.split("dip =")[:3]) + text.split("dip =")[3].partition("\n")[2]
    path.write_text(text)
    result = evaluate(read_session(path), demo)
    with pytest.raises(Wrong, match=told):
        stick_of("hull", result)


# -- the picture and the command


def test_the_picture(tmp_path: Path, demo: Box) -> None:
    pytest.importorskip("matplotlib")
    result = evaluate(read_session(written(tmp_path / "s.toml")), demo)
    text = plot.figure(result)
    assert text.startswith("<svg") and text.rstrip().endswith("</svg>") and plot.figure(result) == text
    plot.draw(result, tmp_path / "s.png")
    assert (tmp_path / "s.png").read_bytes().startswith(b"\x89PNG")


@pytest.fixture
def hull(tmp_path: Path) -> Path:
    """The demo with marks that leave the tank's ends room."""
    text = DEMO.read_text().replace("green = [4, 18]", "green = [4, 16]").replace("[6, 36]", "[6, 33]")
    (tmp_path / "hull.toml").write_text(text.replace("yellow = [5, 18]", "yellow = [5, 16]"))
    return tmp_path / "hull.toml"


def test_from_a_file_to_the_box_file(hull: Path, capsys: pytest.CaptureFixture[str]) -> None:
    session = written(hull.parent / "left fuel.level.toml")
    old = hull.read_text()
    words = ["calibrate", str(hull), "left fuel", "--from", str(session)]
    assert main(words) == 0
    out = capsys.readouterr().out
    assert hull.read_text() == old and "--save" in out and "+calibrated = { on = 2026-11-26" in out
    assert main([*words, "--save", "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert said["saved"] and said["curve"][0]["reading"] == 0 and len(said["points"]) == 14
    assert hull.read_text() != old and read_box(hull).inputs[1].calibrated is not None
    ((_, note),) = notes_on_calibrations(read_box(hull))
    assert note == "calibrated 2026-11-26 through this box by left fuel.level.toml"


def test_a_box_file_that_changes_meanwhile_is_left_alone(
    hull: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    session = written(hull.parent / "left fuel.level.toml")
    before = hull.read_text()

    def edited(*words: object) -> list[str]:
        hull.write_text(before + "# an editor was open\n")
        return []

    monkeypatch.setattr("gaugelight.calibration.command.changes", edited)
    assert main(["calibrate", str(hull), "left fuel", "--from", str(session), "--save", "--json"]) == 1
    assert "changed meanwhile" in capsys.readouterr().out
    assert hull.read_text() == before + "# an editor was open\n"


NOTES: dict[str, tuple[Callable[[Path], object], str]] = {
    "missing": (lambda path: path.unlink(), "session is missing"),
    "another point": (lambda path: path.write_text(path.read_text().replace('"2 US gal"', '"2.2 US gal"', 1)), "not those of that session"),
    "wrong": (lambda path: path.write_text("x"), "is not right: "),
    "another circuit": (lambda path: path.write_text('circuit = "0badc0de"\n' + path.read_text()), "with another circuit"),
    "of another": (lambda path: path.write_text(path.read_text().replace('"left fuel"', '"right fuel"')), "session is of right fuel"),
}  # fmt: skip


@pytest.mark.parametrize("case", NOTES)
def test_check_notes_a_session_that_does_not_say_so_any_more(hull: Path, case: str) -> None:
    change, told = NOTES[case]
    session = written(hull.parent / "left fuel.level.toml")
    result = evaluate(read_session(session), box := read_box(hull))
    said = results.calibrated_of(result.session, hull)
    hull.write_text(box_file.with_points(hull.read_text(), box.inputs[1], result.listed, said))
    assert [note.count(";") for _, note in notes_on_calibrations(read_box(hull))] == [0]
    change(session)
    ((one, note),) = notes_on_calibrations(read_box(hull))
    assert one.name == "left fuel" and told in note


MISUSE = {
    "nobody": (["middle fuel"], "middle fuel"),
    "a rail": (["sender rail"], "is a rail"),
    "parked pressure": (["hydraulic", "--parked"], "is for a tank"),
    "from and new": (["left fuel", "--from", "S", "--new"], "leave them out"),
    "new over old": (["left fuel", "--session", "S", "--new"], "not written over"),
    "another's session": (["right fuel", "--from", "S"], "not of"),
    "parked, and the session says level": (
        ["left fuel", "--from", "S", "--parked"],
        'write attitude = "parked"',
    ),
    "a picture of sorts": (["left fuel", "--from", "S", "--plot", "x.doc"], "no picture"),
    "a dipstick in a pdf": (["left fuel", "--from", "S", "--dipstick", "x.pdf"], "no picture"),
    "no folder": (["left fuel", "--session", "nowhere/s.toml"], "cannot be written there"),
}


@pytest.mark.parametrize("case", MISUSE)
def test_misuse(hull: Path, capsys: pytest.CaptureFixture[str], case: str) -> None:
    words, told = MISUSE[case]
    session = str(written(hull.parent / "s.toml"))
    old = hull.read_text()
    assert (
        main(["calibrate", str(hull), *[session if word == "S" else word for word in words], "--save"]) == 2
    )
    assert told in capsys.readouterr().err and hull.read_text() == old


def test_a_parked_session_goes_on_no_face(hull: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder, old = hull.parent, hull.read_text()
    written(folder / "left fuel.level.toml")
    head = HEAD.format(attitude="parked")
    parked = written(
        folder / "left fuel.parked.toml", signal=lambda v: sender(v + 1), head=head, dip=lambda v: 20 * v
    )
    words = [
        "calibrate",
        str(hull),
        "left fuel",
        "--from",
        str(parked),
        "--save",
        "--dipstick",
        str(folder / "d.svg"),
    ]
    assert main(words) == 0
    out = capsys.readouterr().out
    assert (
        hull.read_text() == old and "the face goes by the level one" in out and "shows on the ground" in out
    )
    assert "PARKED ATTITUDE" in (folder / "d.svg").read_text()


def test_the_top_of_the_face_is_told(
    hull: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where a float lies under the top, it is off by most; a long face is told in part."""
    session = written(hull.parent / "left fuel.level.toml")
    last = evaluate(read_session(session), read_box(hull)).face[-1]
    monkeypatch.setattr("gaugelight.calibration.command.MOST_ROWS", 8)
    main(["calibrate", str(hull), "left fuel", "--from", str(session)])
    assert (
        f"{last.reading:g} US gal"
        in capsys.readouterr().out.partition("what the face will show")[2].partition("picture")[0]
    )


def test_a_session_in_the_other_attitude_that_is_not_right_is_named(
    hull: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    session = written(hull.parent / "left fuel.level.toml")
    other = hull.parent / "left fuel.parked.toml"
    written(other, head='circuit = "0badc0de"\n' + HEAD.format(attitude="parked"))
    assert main(["calibrate", str(hull), "left fuel", "--from", str(session)]) == 0
    assert f"is not used: {other}: its signals were measured" in capsys.readouterr().out


# what was typed at which points of an otherwise good session, zero off by 40 psi and gain by 6 %; which are asked about
TYPED: dict[str, tuple[dict[int, str], str | None]] = {
    "as it was": ({}, None),
    "a level mistaken, up and down": ({3: "630 psi", 11: "630 psi"}, "points 3, 11: "),
    "a figure lost": ({7: "120 psi"}, "point 7: "),
    "two exchanged": ({5: "1100 psi", 6: "888 psi"}, "points 5, 6: "),
    "a little beside it": ({5: "930 psi"}, None),
    "another unit": ({7: "1312 kPa"}, "point 7: "),
}


@pytest.mark.parametrize("case", TYPED)
def test_a_slip_at_a_gauge_is_asked_about(tmp_path: Path, demo: Box, case: str) -> None:
    typed, told = TYPED[case]
    path = gauge(tmp_path / "s.toml")
    trues = re.findall(r'true = "(.*) psi"', path.read_text())
    texts = iter([typed.get(k, f"{40 + 1.06 * float(psi):.0f} psi") for k, psi in enumerate(trues, 1)])
    path.write_text(re.sub(r'true = ".*"', lambda _: f'true = "{next(texts)}"', path.read_text()))
    result = evaluate(read_session(path), demo)
    assert (result.contradicts or "none").startswith(told or "none")
    assert any("look for a slip" in note for note in result.notes) == (told is not None)


def test_a_slip_at_a_gauge_is_not_saved_unasked(hull: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = hull.parent / "s.toml"
    held = ((0, 4.0), (0, 9.333), (1000, 14.667), (1500, 20.0), (1000, 14.667), (0, 9.333), (0, 4.0))
    path.write_text(
        GAUGE + "".join(f'\n[[point]]\ntrue = "{psi} psi"\nsignal = "{ma} mA"\n' for psi, ma in held)
    )
    words = ["calibrate", str(hull), "hydraulic", "--from", str(path), "--save", "--json"]
    assert main(words) == 1
    said = json.loads(capsys.readouterr().out)
    assert not said["saved"] and said["contradicts"].startswith("points 2, 6: ")
