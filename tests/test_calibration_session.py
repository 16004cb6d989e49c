"""The session file: there and back, every wrong line with its place, whole however it is cut."""

import os
import shutil
import tomllib
from datetime import date, datetime
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugelight import whole_file
from gaugelight.calibration import session as files
from gaugelight.calibration.session import Amount, Can, Point, Reference, Session, read_session
from gaugelight.problems import Misuse, Wrong


def amount(text: str) -> Amount:
    number, unit = text.split(" ", 1)
    return Amount(Fraction(number), unit)


TANK = Session(
    "left fuel", "tank", date(2026, 11, 26), can=Can(amount("1 %"), amount("0.05 US gal")), box="hull", circuit="1a2b3c4d"
)  # fmt: skip
REFERENCE = Session(
    "hydraulic",
    "reference",
    date(2026, 11, 26),
    signals="meter",
    meter=amount("0.5 %"),
    reference=Reference('gauge "7"', amount("3 psi"), amount("1 psi")),
)
POINT = Point(
    amount("3.12 ohm"), added=amount("-2.5 US gal"), spread=amount("0.05 ohm"), dip=amount("102 mm"),
    at=datetime(2026, 11, 26, 10, 2, 11), note="wing low",
)  # fmt: skip
FIRST = Point(amount("1.97 ohm"), added=amount("0 US gal"))

TYPED = """# typed by hand
input = "left fuel"      # as on the face
kind = "tank"
started = 2026-11-26
signals = "box"
can = { every = "1 %", each = "0.05 US gal" }

[[point]]
added = "0 US gal"
signal = "3.12 ohm"

[[point]]
added = "7.6 l"
signal = "12 ohm"
# a bit left
"""


@pytest.mark.parametrize("session", [TANK, REFERENCE])
def test_there_and_back(tmp_path: Path, session: Session) -> None:
    path = tmp_path / "s.toml"
    files.write(path, session)
    points = [FIRST, POINT] if session is TANK else [Point(amount("7.2 mA"), true=amount("300 psi"))]
    for point in points:
        files.append(path, point)
    read = read_session(path)
    same = [vars(point) | {"line": 0} for point in read.points]
    assert same == [vars(point) for point in points]
    assert vars(read) | {"points": (), "file": ""} == vars(session)
    assert tomllib.loads(path.read_text())["input"] == session.input


def test_a_new_one_is_never_written_over_another(tmp_path: Path) -> None:
    files.write(tmp_path / "s.toml", TANK)
    with pytest.raises(Misuse, match="there already"):
        files.write(tmp_path / "s.toml", TANK)


@pytest.mark.parametrize("newline", ["\n", "\r\n"])
def test_undo_leaves_what_stood_before(tmp_path: Path, newline: str) -> None:
    """Byte for byte, comments and the ends of lines too."""
    path = tmp_path / "s.toml"
    path.write_bytes(TYPED.replace("\n", newline).encode())
    before = path.read_bytes()
    files.append(path, POINT)
    assert read_session(path).points[-1].note == "wing low"
    assert b"\r\n" in path.read_bytes() if newline == "\r\n" else b"\r" not in path.read_bytes()
    files.undo(path)
    assert path.read_bytes() == before
    files.undo(path)
    text = path.read_text()
    assert "a bit left" in text and len(read_session(path).points) == 1
    files.undo(path)
    with pytest.raises(Misuse, match="no point"):
        files.undo(path)
    assert path.read_text().startswith("# typed by hand")


@settings(max_examples=40)
@given(
    st.text(st.characters(codec="utf-8", exclude_characters="\r"), min_size=1, max_size=30).filter(str.strip)
)
def test_any_note_can_be_kept(tmp_path_factory: pytest.TempPathFactory, note: str) -> None:
    path = tmp_path_factory.mktemp("notes") / "s.toml"
    files.write(path, TANK)
    files.append(path, Point(amount("3 ohm"), added=amount("0 l"), note=note))
    assert read_session(path).points[0].note == note


WRONG: dict[str, tuple[str, str, str]] = {
    "no unit": ('"12 ohm"', '"12"', ":14: point 2, signal: "),
    "a pour without a unit": ('"7.6 l"', '"7.6"', 'added: "7.6" has no unit; write it with its own: l, US gal, imp gal'),
    "a signal without a unit": ('"12 ohm"', "12", "signal: has no unit; write it with its own: ohm"),
    "a comma": ('"12 ohm"', '"12,5 ohm"', ":14: point 2, signal: "),
    "not a signal": ('"12 ohm"', '"12 psi"', ":14: point 2, signal: "),
    "another kind of signal": ('"12 ohm"', '"12 mA"', ":12: signal: 12 mA is not of the kind of 3.12 ohm"),
    "added in ohm": ('"7.6 l"', '"7.6 ohm"', ":13: point 2, added: "),
    "twice": ('"7.6 l"', '"7.6 l"\nweighed = "10 lb"', ":13: point 2, added: both"),
    "neither": ('added = "7.6 l"\n', "", ":12: point 2: added is missing"),
    "does not begin empty": ('"0 US gal"', '"2 US gal"', ":9: point 1, added: the first"),
    "weighed without temperature": ('added = "7.6 l"', 'weighed = "10 lb"', ':13: point 2, weighed: at which'),
    "weighed without a fuel": (
        'added = "7.6 l"', 'weighed = "10 lb"\ntemperature = "18 degC"', ":13: point 2, weighed: of which fuel"
    ),
    "negative spread": ('"12 ohm"', '"12 ohm"\nspread = "-1 ohm"', ":15: point 2, spread: "),
    "time in quotes": ('"12 ohm"', '"12 ohm"\nat = "10:02"', ":15: point 2, at: "),
    "misspelt key": ('"12 ohm"', '"12 ohm"\nspred = "1 ohm"', ':15: point 2, spred: unknown key; did you mean "spread"?'),
    "true in a tank": ('"12 ohm"', '"12 ohm"\ntrue = "3 psi"', ":15: point 2, true: belongs"),
    "no input": ('input = "left fuel"      # as on the face\n', "", "session: input is missing"),
    "another kind of session": ('"tank"', '"thank"', ":3: session, kind: "),
    "reference in a tank": ('signals = "box"', 'signals = "box"\nreference = { name = "g", plus_minus = "1 %" }', ":6: session, reference: belongs"),
    "no can": ('can = { every = "1 %", each = "0.05 US gal" }\n', "", "session: can is missing"),
    "half a can": (', each = "0.05 US gal"', "", ':6: session, can: needs "each"'),
    "a can's unit": ('"1 %"', '"1 l"', ":6: session, can: every "),
    "no meter named": ('signals = "box"', 'signals = "meter"', ":5: session, signals: by what meter?"),
    "a meter too much": ('signals = "box"', 'signals = "box"\nmeter = "1 %"', ":6: session, meter: belongs"),
    "date in quotes": ("2026-11-26", '"2026-11-26"', ":4: session, started: "),
    "another fuel": ('kind = "tank"', 'kind = "tank"\nfuel = "avgas"', ":4: session, fuel: "),
    "density too light": ('kind = "tank"', 'kind = "tank"\ndensity = "0.1 kg/l"', ":4: session, density: "),
    "density without unit": ('kind = "tank"', 'kind = "tank"\ndensity = 0.7', ":4: session, density: "),
    "points": ("[[point]]\nadded = \"7", "[[points]]\nadded = \"7", ':12: session, points: unknown key; did you mean "point"?'),
    "one bracket": ("[[point]]\nadded = \"0", "[point]\nadded = \"0", ":12: TOML: "),
    "one bracket twice": (
        "[[point]]\nadded = \"0", "[point]\nsignal = \"1 ohm\"\n\n[point]\nadded = \"0",
        ":11: TOML: [point] stands there twice in: [point]; there may be several: write [[point]] each time",
    ),
    "no TOML": ("2026-11-26", "26 November", ":4: TOML: "),
}  # fmt: skip


@pytest.mark.parametrize("case", WRONG)
def test_what_is_wrong_is_named_with_its_line(tmp_path: Path, case: str) -> None:
    old, new, told = WRONG[case]
    path = tmp_path / "s.toml"
    assert old in TYPED
    path.write_text(TYPED.replace(old, new, 1))
    with pytest.raises(Wrong) as wrong:
        read_session(path)
    assert any(line.startswith(f"{path}") and told in line for line in wrong.value.lines), wrong.value.lines


def test_no_text_at_all(tmp_path: Path) -> None:
    (tmp_path / "s.toml").write_bytes(b"\xff\xfe\x00")
    for path in (tmp_path / "s.toml", tmp_path / "missing.toml", tmp_path):
        with pytest.raises(Wrong):
            read_session(path)


class Cut(BaseException):
    """The power goes."""


CUTS = ["open", "write", "flush", "fsync", "copymode", "replace"]


@pytest.mark.parametrize("step", CUTS)
def test_a_cut_leaves_the_old_or_the_new(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str) -> None:
    """At each step of a write nothing after it happens any more. What lies beside the session then is in nobody's way."""
    path = tmp_path / "s.toml"
    path.write_text(TYPED)

    def cut(*words: object, **more: object) -> None:
        raise Cut

    with monkeypatch.context() as patch:
        if step in ("open", "write", "flush"):

            class File:
                def __init__(self, *words: object, **more: object) -> None:
                    if step == "open":
                        raise Cut
                    self.file = open(str(words[0]), "w", encoding="utf-8")

                def __enter__(self) -> "File":
                    return self

                def __exit__(self, *words: object) -> None:
                    self.file.close()

                def write(self, text: str) -> None:
                    self.file.write(text if step == "flush" else text[: len(text) // 2])
                    if step == "write":
                        raise Cut

                def flush(self) -> None:
                    raise Cut

            patch.setattr(whole_file, "open", File, raising=False)
        elif step == "copymode":
            patch.setattr(shutil, "copymode", cut)
        else:
            patch.setattr(os, step, cut)
        patch.setattr(Path, "unlink", lambda *words, **more: None)  # a dead machine tidies nothing up
        with pytest.raises(Cut):
            files.append(path, POINT)
    assert path.read_text() == TYPED
    files.append(path, POINT)
    assert len(read_session(path).points) == 3
    assert sorted(os.listdir(tmp_path)) == ["s.toml"]


def test_a_full_disk_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "s.toml"
    path.write_text(TYPED)

    def full(*words: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(Misuse, match="cannot be written: No space"):
        files.append(path, POINT)
    assert path.read_text() == TYPED and os.listdir(tmp_path) == ["s.toml"]


def test_a_link_stays_one_and_its_rights_stay(tmp_path: Path) -> None:
    real, link = tmp_path / "real.toml", tmp_path / "s.toml"
    real.write_text(TYPED)
    real.chmod(0o640)
    link.symlink_to(real)
    files.append(link, POINT)
    assert link.is_symlink() and real.stat().st_mode & 0o777 == 0o640
    assert len(read_session(real).points) == 3


OFF = {
    "in its own unit": ("0.5 psi", "psi", 100.0, 0.5),
    "in another": ("100 kPa", "bar", 100.0, 1.0),
    "a share": ("2 %", "psi", -150.0, 3.0),
    "of a temperature, as a difference": ("9 degF", "degC", 100.0, 5.0),
}


@pytest.mark.parametrize("case", OFF)
def test_plus_or_minus_in_a_unit(case: str) -> None:
    written, unit, of, expected = OFF[case]
    assert amount(written).off(unit, of) == pytest.approx(expected)
