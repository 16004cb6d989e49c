"""The whole thread over a real serial line: install, flash, read, refuse; the box is real MicroPython behind a pty."""

import json
import os
import re
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from random import Random
from typing import NoReturn

import pytest

from gaugebox import pins, table
from gaugebox.line import REQUEST, frame
from gaugebox.store import PIECE
from gaugelight.bench import bench
from gaugelight.box_line import BoxLine, BoxSaysNo, packed
from gaugelight.boxfile import read_box
from gaugelight.build import Build, build
from gaugelight.cli import DEMO, STARTER, main
from gaugelight.lights import Display
from gaugelight.install import compiled_firmware, install, selector
from gaugelight.plant import Aircraft
from gaugelight.ports import open_port, the_port
from gaugelight.problems import Misuse, Wrong
from gaugelight.virtual import VirtualBox

pytest.importorskip("micropython_unix", reason="the virtual box needs the bench extra")


class Rig:
    """A virtual box with the demo's aircraft around it."""

    def __init__(self, virtual: VirtualBox, aircraft: Aircraft) -> None:
        self.virtual = virtual
        self.aircraft = aircraft
        self.port = virtual.port

    def cold_start(self, jumper_closed: bool = True) -> None:
        self.aircraft.jumper_closed = jumper_closed
        self.virtual.power_cycle()

    def crc(self) -> str:
        with BoxLine(self.port) as line:
            return line.wait_for_start(10).crc


@pytest.fixture(scope="module")
def demo() -> Build:
    return build(read_box(DEMO))


@pytest.fixture(scope="module")
def starter() -> Build:
    return build(read_box(STARTER))


@pytest.fixture(scope="module")
def installed_rig(demo: Build) -> Iterator[Rig]:
    aircraft = Aircraft(demo.box)
    aircraft.signals["bus"] = 12.0  # where no lamp is shortened
    with VirtualBox(aircraft) as virtual:
        install(virtual.port, lambda what, done, of: None)
        yield Rig(virtual, aircraft)


@pytest.fixture
def rig(installed_rig: Rig, demo: Build) -> Rig:
    """Service jumper closed, running, the demo's table in it."""
    installed_rig.cold_start()
    assert main(["flash", str(DEMO), "--yes", "--port", installed_rig.port, "--json"]) == 0
    with BoxLine(installed_rig.port) as line:
        line.hello_settled()
    return installed_rig


def test_the_display_of_a_real_box(rig: Rig) -> None:
    """Its memory comes out beside the messages: lit, SERVICE in its corner; and gone dark when it has lost its supply."""
    rig.virtual.fast_forward(6000)
    shown = rig.virtual.picture()
    assert shown is not None and shown.on and shown.contrast >= 30
    assert sum(map(sum, (row[84:] for row in shown.dots[55:]))) > 200  # dark on light
    rig.virtual.power_cycle()
    dark = rig.virtual.picture()
    assert dark is None or not dark.on


def test_bench_holds_and_draws(tmp_path: Path) -> None:
    """The main job, as a user starts it, of the starter's box; of the demo it is the README's first command, which .ci/run runs."""
    plot = tmp_path / "bench.png"
    words = [sys.executable, "-m", "gaugelight.cli", "bench", str(STARTER), "--short", "--plot", str(plot)]
    done = subprocess.run(words, capture_output=True, text=True, timeout=300)
    last = done.stdout.splitlines()[-1]
    assert (done.returncode, last.endswith(" 0 failed"), done.stderr) == (0, True, "")
    assert int(last.split()[0]) >= 100
    assert plot.read_bytes().startswith(b"\x89PNG") and plot.stat().st_size > 20_000
    for action in (
        "senders to half",
        "loops to full",
        "wire broken",
        "shorted",
        "sags",
        "dead",
        "knob to 100 %",
    ):
        assert action in done.stdout


TANKS = """
[box]
name = "two tanks"
board = "rp2040"

[converter.aft]
kind = "ads1115"
address = 0x48

[[input]]
name = "sender rail"
pin = "aft.3"
circuit = { kind = "direct", pull_down = "1 Mohm" }
unit = "V"
nominal = "3.3 V"
""" + "".join(
    f"""
[[input]]
name = "{name} fuel"
pin = "aft.{pin}"
circuit = {{ kind = "pull-up", resistor = "150 ohm", rail = "sender rail" }}
unit = "US gal"
step = 0.5
points = [["0 ohm", 0], ["46 ohm", 9.5], ["90 ohm", 18]]
""" for pin, name in enumerate(("left", "right"))
)


def test_bench_sees_a_wrong_reading(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """The bench can fail: here every fuel sender of the model is 2 ohm off what the bench believes."""
    file = tmp_path / "tanks.toml"
    file.write_text(TANKS)
    honest = Aircraft.volts

    def corroded(self: Aircraft, one: object) -> float:
        name = one.name  # type: ignore[attr-defined]
        true = self.signals[name]
        self.signals[name] = true + (2.0 if "fuel" in name else 0.0)
        try:
            return honest(self, one)  # type: ignore[arg-type]
        finally:
            self.signals[name] = true

    monkeypatch.setattr(Aircraft, "volts", corroded)
    report = bench(read_box(file), lambda text: None, lambda row: None, cruise=False)
    wrong = {row.subject for row in report.rows if not row.held}
    assert wrong == {"left fuel", "right fuel"}


def test_read_says_what_the_aircraft_does(rig: Rig, capsys: pytest.CaptureFixture[str]) -> None:
    capsys.readouterr()
    rig.aircraft.wires["hydraulic"] = "broken"
    try:
        rig.virtual.fast_forward(1000)
        assert main(["read", "--port", rig.port, "--json"]) == 0
    finally:
        rig.aircraft.wires.clear()
    said = json.loads(capsys.readouterr().out)
    inputs = {one["name"]: one for one in said["inputs"]}
    assert (said["box"], said["state"], said["dim_request"]) == ("hull console", "SERVICE", False)
    lights = {one["name"]: one for one in said["lights"]}
    assert lights["glare shield"] == {"name": "glare shield", "level": 0, "duty_u16": 0, "fault": None}
    assert set(lights) == {one.name for one in rig.aircraft.box.lights.dimmed}
    assert (said["day"], said["daylight_fault"], said["dim_request_fault"]) == (False, None, None)
    assert inputs["left fuel"]["signal"] == pytest.approx(rig.aircraft.signals["left fuel"], abs=0.2)
    assert inputs["hydraulic"] == {
        "name": "hydraulic",
        "signal": None,
        "signal_unit": "mA",
        "reading": None,
        "unit": "psi gauge",
        "fault": "open",
    }


def test_flash_goes_to_the_other_slot_and_says_what_changed(
    rig: Rig, capsys: pytest.CaptureFixture[str]
) -> None:
    with BoxLine(rig.port) as line:
        before = line.hello()
    capsys.readouterr()
    assert main(["flash", str(STARTER), "--yes", "--port", rig.port, "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert said["crc32_before"] == before.crc
    assert {said["slot"], before.slot} == {"slot_a", "slot_b"}
    assert "right fuel: gone" in said["changes"]
    with BoxLine(rig.port) as line:
        after = line.hello()
    assert (after.crc, after.sequence, after.inputs) == (said["crc32"], before.sequence + 1, 4)
    assert main(["flash", str(STARTER), "--yes", "--port", rig.port]) == 0
    assert "runs this table already" in capsys.readouterr().out


def test_back_to_the_table_before(
    rig: Rig, demo: Build, starter: Build, capsys: pytest.CaptureFixture[str]
) -> None:
    """There and back again; each time the other one is kept."""
    assert main(["flash", str(STARTER), "--yes", "--port", rig.port]) == 0
    crcs = f"{demo.crc32:08x}", f"{starter.crc32:08x}"
    for crc, before in (crcs, crcs[::-1]):
        capsys.readouterr()
        assert main(["revert", "--yes", "--port", rig.port, "--json"]) == 0
        said = json.loads(capsys.readouterr().out)
        assert (said["crc32"], said["crc32_before"]) == (crc, before)
        assert ("right fuel: new, in US gal" if crc == crcs[0] else "right fuel: gone") in said["changes"]
        with BoxLine(rig.port) as line:
            hello = line.hello()
        assert (hello.crc, hello.older_crc, hello.notice) == (crc, before, "")


def test_restarts_that_were_asked_for_are_no_failed_starts(rig: Rig) -> None:
    """However soon one comes after the other."""
    with BoxLine(rig.port) as line:
        crc = line.wait_for_start(10).crc
        for _ in range(5):
            line.hello_settled()  # when it knows whether it flies
            line.restart()
            hello = line.wait_for_start(10)
            assert (hello.crc, hello.notice) == (crc, "") and hello.uptime_ms < 9_000


def test_nothing_to_go_back_to(rig: Rig, capsys: pytest.CaptureFixture[str]) -> None:
    code = "import os\nfor f in os.listdir('/tables'): os.remove('/tables/' + f)"
    subprocess.run(
        [sys.executable, "-m", "mpremote", "connect", rig.port, "exec", code], check=True, timeout=30
    )
    rig.cold_start()
    assert main(["flash", str(DEMO), "--yes", "--port", rig.port]) == 0
    capsys.readouterr()
    assert main(["revert", "--yes", "--port", rig.port]) == 1
    assert "there is no other table on the box to go back to" in capsys.readouterr().err


@pytest.mark.parametrize("command", [["flash", str(STARTER)], ["revert"]])
def test_it_asks_before_it_writes(rig: Rig, command: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """Nobody is there: nothing is written; and no is no."""
    assert main(["flash", str(STARTER), "--yes", "--port", rig.port]) == 0
    assert main(["flash", str(DEMO), "--yes", "--port", rig.port]) == 0
    crc = rig.crc()
    assert main([*command, "--port", rig.port]) == 2
    assert "write --yes" in capsys.readouterr().err
    for typed, code in (("n", 1), ("", 1), ("y", 0)):
        master, slave = os.openpty()
        with os.fdopen(slave, "r+b", buffering=0) as terminal:
            words = [sys.executable, "-m", "gaugelight.cli", *command, "--port", rig.port]
            process = subprocess.Popen(words, stdin=terminal, stderr=terminal, stdout=subprocess.PIPE)
            os.write(master, typed.encode() + b"\n")
            said = process.communicate(timeout=30)[0].decode()
        os.close(master)
        assert process.returncode == code and "Traceback" not in said
        assert (rig.crc() == crc) == (code == 1)


def test_in_flight_nothing_is_written(rig: Rig, capsys: pytest.CaptureFixture[str]) -> None:
    """Jumper closed, but the alternator charges."""
    crc, rest = rig.crc(), rig.aircraft.signals["bus"]
    rig.aircraft.signals["bus"] = 14.2
    try:
        rig.virtual.fast_forward(500)
        for command in (["flash", str(STARTER), "--yes"], ["revert", "--yes"]):
            capsys.readouterr()
            assert main([*command, "--port", rig.port]) == 1
            said = capsys.readouterr().err
            assert (
                "the box refused: in flight: bus is above its limit; it is written to at 13.2 V or below"
                in said
            )
            assert "stop what keeps it above: engine, alternator, charger" in said
        # nothing is written to have a look
        assert main(["flash", str(STARTER), "--look", "--port", rig.port]) == 0
        said = capsys.readouterr().out
        assert (
            "right fuel: gone" in said and "not to be written now: in flight: bus is above its limit" in said
        )
        assert main(["flash", str(STARTER), "--look", "--json", "--port", rig.port]) == 0
        assert "13.2 V" in json.loads(capsys.readouterr().out)["refused"] and rig.crc() == crc
        with BoxLine(rig.port) as line:
            for request in (
                ["begin", "100", "0", "50", ""],
                ["piece", "0", "AAAA"],
                ["verify"],
                ["commit", crc],
                ["revert", crc],
                ["restart"],
            ):
                with pytest.raises(BoxSaysNo, match="in flight: bus is above its limit"):
                    line.ask(*request)
        capsys.readouterr()
        assert main(["read", "--port", rig.port]) == 0
        said = capsys.readouterr().out
        assert "SERVICE JUMPER CLOSED" in said and "and yet in flight: bus is above its limit" in said
    finally:
        rig.aircraft.signals["bus"] = rest
    rig.virtual.fast_forward(500)
    assert main(["flash", str(STARTER), "--yes", "--port", rig.port]) == 0


# the bus of the demo, what is wrong with its wire; whether the box takes that for flight
ALOFT = {
    "at rest": (12.0, None, False),
    "the alternator charges": (14.2, None, True),
    "its regulator has failed": (17.5, None, True),
    "the wire is broken": (14.2, "broken", False),
}


@pytest.mark.parametrize("volts, wire, flies", ALOFT.values(), ids=ALOFT)
def test_what_counts_as_flight(rig: Rig, volts: float, wire: str | None, flies: bool) -> None:
    """After a second of it the line is closed and the watchdog runs, whatever the jumper."""
    rest = rig.aircraft.signals["bus"]
    rig.aircraft.signals["bus"] = volts
    if wire is not None:
        rig.aircraft.wires["bus"] = "broken"
    try:
        rig.virtual.fast_forward(3000)
        with BoxLine(rig.port) as line:
            hello = line.hello()
            assert (hello.state, bool(hello.in_flight)) == (("CLOSED", True) if flies else ("SERVICE", False))
        if flies:
            assert main(["install", "--port", rig.port]) == 1
            with open_port(rig.port) as port:
                port.write(b"\x03\r\x03")
            rig.virtual.fast_forward(2000)  # it runs on
    finally:
        rig.aircraft.signals["bus"] = rest
        rig.aircraft.wires.clear()
        rig.cold_start()


def test_a_table_that_waits_is_told_and_can_be_taken_back(
    rig: Rig, demo: Build, starter: Build, capsys: pytest.CaptureFixture[str]
) -> None:
    """The cable was lost between the commit and the restart."""
    waits = f"{starter.crc32:08x}"
    with BoxLine(rig.port) as line:
        line.send_table(starter.image, lambda done, of: None)
        assert line.hello().waiting_crc == waits
        with pytest.raises(BoxSaysNo, match="waits in its place"):
            line.revert(f"{demo.crc32:08x}")
    capsys.readouterr()
    assert main(["read", "--port", rig.port]) == 0
    assert f"ANOTHER TABLE RUNS FROM THE NEXT START ON: {waits}" in capsys.readouterr().out
    assert main(["flash", str(DEMO), "--yes", "--port", rig.port]) == 0
    assert f"table {waits}, which waits for the next start, is taken back" in capsys.readouterr().out
    rig.cold_start()
    assert rig.crc() == f"{demo.crc32:08x}"


def test_a_safe_table_alone_is_asked_for_too(
    rig: Rig, starter: Build, capsys: pytest.CaptureFixture[str]
) -> None:
    with BoxLine(rig.port) as line:
        line.send_table(starter.safe, lambda done, of: None, safe=True)
        assert line.hello().safe_crc == f"{starter.safe_crc32:08x}"
    capsys.readouterr()
    assert main(["flash", str(DEMO), "--port", rig.port]) == 2
    assert "the safe table, for when no other is right: renewed" in capsys.readouterr().out
    assert main(["flash", str(DEMO), "--look", "--port", rig.port]) == 0
    with BoxLine(rig.port) as line:
        assert line.hello().safe_crc == f"{starter.safe_crc32:08x}"
    assert main(["flash", str(DEMO), "--yes", "--port", rig.port]) == 0
    assert "runs this table already" in capsys.readouterr().out
    with BoxLine(rig.port) as line:
        assert line.hello().safe_crc != f"{starter.safe_crc32:08x}"


def test_the_fault_log_over_a_restart(rig: Rig, capsys: pytest.CaptureFixture[str]) -> None:
    rig.cold_start()
    rig.virtual.fast_forward(2000)
    rig.aircraft.wires["hydraulic"] = "broken"
    try:
        rig.virtual.fast_forward(3000)
    finally:
        rig.aircraft.wires.clear()
    rig.virtual.fast_forward(6500)  # written ten seconds after the start
    rig.cold_start()
    rig.virtual.fast_forward(1500)
    capsys.readouterr()
    assert main(["faults", "--port", rig.port, "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    starts = [i for i, one in enumerate(said["events"]) if one["subject"] == "box"]
    before = [
        one for one in said["events"][starts[-2] : starts[-1]] if one["subject"] in ("box", "hydraulic")
    ]
    assert [(one["subject"], one["what"].split(";")[0]) for one in before] == [
        ("box", "started: its supply came on"),
        ("hydraulic", "open"),
        ("hydraulic", "well again"),
    ]
    assert 2 <= before[1]["seconds"] <= 4 and 5 <= before[2]["seconds"] <= 7
    assert said["started"] == "its supply came on" and said["late_ticks"] <= 1  # as the start was logged
    assert main(["faults", "--port", rig.port]) == 0
    assert "hydraulic" in capsys.readouterr().out


def test_the_flight_log_over_a_restart(
    rig: Rig, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Stopped by hand and begun again; from the box's own table come the names."""
    rig.virtual.fast_forward(4000)
    with BoxLine(rig.port) as line:
        line.restart()
        line.wait_for_start(10)
    path = tmp_path / "flight.csv"
    command = ["log", "--port", rig.port, "-o", str(path)]

    def stops(*_: object) -> NoReturn:
        raise KeyboardInterrupt

    capsys.readouterr()
    with monkeypatch.context() as stopped:
        stopped.setattr("gaugelight.flights.fetch.Part.add", stops)
        assert main(command) == 1
    assert "goes on from there" in capsys.readouterr().err and not path.exists()
    assert main([*command, "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    written = said["files"][0]  # of the table that runs; of others there may be some
    assert written["rows"] >= 3 and written["named"] and said["damaged_bytes"] == 0
    head, columns, *rows = path.read_text().splitlines()
    assert head == f"# gaugelight log, box hull console, table {rig.crc()}" and len(rows) == written["rows"]
    assert "left fuel count" in columns and "glare shield level" in columns and "pump switch" in columns
    assert "box: started: " in rows[0]
    assert not [*tmp_path.glob("*.part")]
    assert main(command) == 2 and "is there already" in capsys.readouterr().err


def test_install_skips_what_is_the_same(rig: Rig, capsys: pytest.CaptureFixture[str]) -> None:
    capsys.readouterr()
    assert main(["install", "--port", rig.port, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["copied"] == []


def test_install_goes_beside_the_newest_and_above_it(rig: Rig, monkeypatch: pytest.MonkeyPatch) -> None:
    """A firmware that differs goes into the folder not in use, with the next number; the selector is renewed too."""
    files = compiled_firmware()
    first = install(rig.port, lambda what, done, of: None)
    changed = {**files, "gaugebox/spare.mpy": files["gaugebox/pins.mpy"]}
    monkeypatch.setattr("gaugelight.install.compiled_firmware", lambda: changed)
    monkeypatch.setattr("gaugelight.install.selector", lambda: selector() + b"# renewed\n")
    second = install(rig.port, lambda what, done, of: None)
    assert {first.folder, second.folder} == {"/firmware_a", "/firmware_b"}
    assert second.sequence == first.sequence + 1 and second.copied[-1] == "main.py"
    assert rig.crc()
    monkeypatch.undo()
    third = install(rig.port, lambda what, done, of: None)
    assert (third.folder, third.sequence) == (first.folder, second.sequence + 1)
    assert set(third.copied) <= {"main.py"}  # what lay there already was the same


def test_a_firmware_that_speaks_otherwise_does_not_keep_the_new_one_out(
    rig: Rig, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its `hello` has two fields less; what tells to run `gaugelight install` must not end that."""
    ask = BoxLine.ask
    monkeypatch.setattr(BoxLine, "ask", lambda line, *fields, **how: ask(line, *fields, **how)[:13])
    with BoxLine(rig.port) as line, pytest.raises(Wrong, match="run `gaugelight install`"):
        line.hello()
    assert install(rig.port, lambda what, done, of: None).copied == ()


STORE_SAYS = {
    "full": ("28", "the store failed: 28, its flash is full; `mpremote connect /dev/none df`"),
    "a file in the folder's place": (
        "20",
        "the store failed: 20; `mpremote connect /dev/none fs ls :/tables` must show",
    ),
}


@pytest.mark.parametrize("number, told", STORE_SAYS.values(), ids=STORE_SAYS)
def test_a_store_that_fails_is_told_with_its_cure(
    number: str, told: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Silent:
        def write(self, sent: bytes) -> None: ...
        def close(self) -> None: ...

    monkeypatch.setattr("gaugelight.box_line.open_port", lambda port: Silent())
    monkeypatch.setattr(BoxLine, "_answer", lambda *_: ["no", f"the store failed: {number}"])
    with BoxLine("/dev/none") as line, pytest.raises(Wrong, match=re.escape(told)):
        line.ask("begin")


def test_install_for_another_bytecode_changes_nothing(rig: Rig, monkeypatch: pytest.MonkeyPatch) -> None:
    files = {name: b"M\x07" + content[2:] for name, content in compiled_firmware().items()}
    monkeypatch.setattr("gaugelight.install.compiled_firmware", lambda: files)
    with pytest.raises(Wrong, match="reads .mpy version 6, not 7"):
        install(rig.port, lambda what, done, of: None)
    assert rig.crc()  # the box runs again


def test_a_copy_that_does_not_verify_is_told(rig: Rig, monkeypatch: pytest.MonkeyPatch) -> None:
    from mpremote.transport_serial import SerialTransport

    files = compiled_firmware()
    changed = {**files, "gaugebox/spare.mpy": files["gaugebox/pins.mpy"] + b"1"}
    monkeypatch.setattr("gaugelight.install.compiled_firmware", lambda: changed)
    honest = SerialTransport.fs_writefile
    monkeypatch.setattr(
        SerialTransport, "fs_writefile", lambda self, to, data: honest(self, to, data[:-1] + b"?")
    )
    with pytest.raises(Wrong, match="is not what was sent; install again"):
        install(rig.port, lambda what, done, of: None)
    assert rig.crc()


def test_flash_wants_the_firmware_of_these_tools(
    rig: Rig, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("gaugelight.box_line.VERSION", "9.9.9")
    assert main(["flash", str(STARTER), "--yes", "--port", rig.port]) == 1
    assert "these tools carry 9.9.9" in capsys.readouterr().err


def test_mpremote_works_on_the_box_in_service(rig: Rig) -> None:
    rig.aircraft.knobs[27] = 50.0
    rig.virtual.fast_forward(2000)
    assert rig.virtual.latest.pwm[15][1] > 10_000
    rig.aircraft.knobs[27] = 0.0
    words = [sys.executable, "-m", "mpremote", "connect", rig.port]
    done = subprocess.run([*words, "exec", "print(1)"], capture_output=True, text=True, timeout=30)
    assert (done.stdout.strip(), done.returncode) == ("1", 0)
    done = subprocess.run([*words, "fs", "ls", "/tables"], capture_output=True, text=True, timeout=30)
    assert "slot_a" in done.stdout
    assert rig.virtual.latest.pwm == {}  # Ctrl-C stopped the program cleanly: no lamp is left driven
    assert main(["read", "--port", rig.port]) == 1


def test_with_the_jumper_open_nothing_is_written_and_ctrl_c_is_a_byte(
    rig: Rig, capfd: pytest.CaptureFixture[str]
) -> None:
    crc = rig.crc()
    rig.cold_start(jumper_closed=False)
    with BoxLine(rig.port) as line:
        line.wait_for_start(10)
        rig.virtual.fast_forward(500)
        uptime = line.hello().uptime_ms
        line.serial.write(b"\x03\x04\x01\x02")
        for request in (
            ["begin", "100", "0", "50"],
            ["begin", "100", "0", "50", "safe"],
            ["revert", crc],
            ["piece", "0", "AAAA"],
            ["verify"],
            ["commit", crc],
            ["restart"],
        ):
            with pytest.raises(BoxSaysNo, match="service jumper open: close it to write"):
                line.ask(*request)
        hello = line.hello()
        assert (hello.state, hello.crc) == ("FLIGHT", crc)
        assert hello.uptime_ms > uptime  # it was not restarted
    assert main(["flash", str(STARTER), "--yes", "--port", rig.port]) == 1
    assert main(["install", "--port", rig.port]) == 1
    said = capfd.readouterr()
    assert "service jumper open" in said.err and "close its service jumper" in said.err
    assert "Traceback" not in said.err and said.out == ""
    assert main(["flash", str(STARTER), "--look", "--port", rig.port]) == 0
    said = capfd.readouterr()
    assert "right fuel: gone" in said.out and "not to be written now: service jumper open" in said.out
    assert rig.crc() == crc


def test_a_flash_after_mpremote_has_reset_it(rig: Rig, starter: Build) -> None:
    words = [sys.executable, "-m", "mpremote", "connect", rig.port]
    subprocess.run([*words, "exec", "pass"], check=True, timeout=30)
    subprocess.run([*words, "reset"], check=True, timeout=30)
    with BoxLine(rig.port) as line:
        line.wait_for_start(10)
    assert main(["flash", str(STARTER), "--yes", "--port", rig.port]) == 0
    assert rig.crc() == f"{starter.crc32:08x}"


def test_the_jumper_pulled_and_put_back(rig: Rig) -> None:
    """Pulled, it is flight from then on; put back, the line says so, and a restart resets the chip: its watchdog runs."""
    with BoxLine(rig.port) as line:
        assert line.hello().state == "SERVICE"
        rig.aircraft.jumper_closed = False
        rig.virtual.fast_forward(500)
        assert line.hello().state == "FLIGHT"
        rig.aircraft.jumper_closed = True
        rig.virtual.fast_forward(500)
        assert line.hello().state == "CLOSED"  # it can be written to, and its watchdog runs
        line.restart()
        line.wait_for_start(10)
        assert rig.virtual.restarts[-1] == "reset"


TROUBLE = """
import machine
read_u16 = machine.ADC.read_u16
def troubled(self):
    count = read_u16(self)
    if self._channel == 1 and count > 54000:
        {trouble}
    return count
machine.ADC.read_u16 = troubled
"""


@pytest.mark.parametrize(
    ("trouble", "jumper_closed", "restarted"),
    [
        ("while True: pass", False, "watchdog"),
        ("while True: pass", True, None),
        ("raise ValueError('in flight')", False, "reset"),
        ("raise ValueError('in service')", True, None),
    ],
    ids=["hangs in flight", "hangs in service", "fails in flight", "fails in service"],
)
def test_a_program_in_trouble(rig: Rig, trouble: str, jumper_closed: bool, restarted: str | None) -> None:
    """In flight it starts again, by itself and within seconds; in service, after a start that lasted, it stands still, so that one can look."""
    words = [sys.executable, "-m", "mpremote", "connect", rig.port]
    script = f"with open('/boot.py', 'w') as f: f.write({TROUBLE.format(trouble=trouble)!r})"
    subprocess.run([*words, "exec", script], check=True, timeout=30, capture_output=True)
    try:
        rig.aircraft.knobs[27] = 50.0
        rig.cold_start(jumper_closed)
        with BoxLine(rig.port) as line:
            line.wait_for_start(10)
        rig.virtual.fast_forward(11_000)
        assert rig.virtual.latest.pwm[15][1] > 10_000
        starts = len(rig.virtual.restarts)
        rig.aircraft.knobs[27] = 100.0
        deadline = time.monotonic() + (30 if restarted else 6)
        while len(rig.virtual.restarts) == starts and time.monotonic() < deadline:
            time.sleep(0.05)
        assert rig.virtual.restarts[starts : starts + 1] == ([restarted] if restarted else [])
        if restarted:
            rig.aircraft.knobs[27] = 30.0
            assert rig.crc()
        elif "raise" in trouble:
            assert rig.virtual.latest.pwm == {}  # dark, at the prompt
    finally:
        rig.aircraft.knobs[27] = 0.0
        rig.cold_start()
        subprocess.run(
            [*words, "exec", "import os\nos.remove('/boot.py')"], check=True, timeout=30, capture_output=True
        )


FIELDS = [
    "",
    "0",
    "-1",
    "7",
    "255",
    "9" * 20,
    "9" * 150,
    "1e5",
    "0x10",
    "1_0",
    "ff",
    "zz",
    "AAAA",
    "====",
    "A" * 150,
    " ",
    "~",
]
VERBS = [
    "hello",
    "input",
    "values",
    "lamps",
    "dim",
    "health",
    "log",
    "table",
    "begin",
    "piece",
    "verify",
    "commit",
    "revert",
    "nope",
    "",
]


@pytest.mark.parametrize("jumper_closed", [True, False], ids=["jumper closed", "jumper open"])
def test_nothing_on_the_line_stops_the_box(rig: Rig, jumper_closed: bool) -> None:
    """Honest frames with hostile fields, random bytes and lines without end; seed kept."""
    random = Random(7)
    rig.cold_start(jumper_closed)
    with BoxLine(rig.port) as line:
        before = line.wait_for_start(10)
        starts = len(rig.virtual.restarts)
        line.serial.write_timeout = None
        for k in range(900):
            if k % 3:
                fields = [random.choice(FIELDS) for _ in range(random.randint(0, 3))]
                said = (
                    frame(REQUEST, ["f", VERBS[k % len(VERBS)], *fields]).encode()
                    if sum(map(len, fields)) < 200
                    else b""
                )
            else:
                said = random.randbytes(random.randint(1, 600))
            if jumper_closed:
                said = said.replace(b"\x03", b"")  # that is Ctrl-C then, and meant
            line.serial.write(said + b"\n")
            if k % 25 == 0:
                rig.virtual.fast_forward(2500)  # 64 bytes a tick
                line.serial.reset_input_buffer()
        rig.virtual.fast_forward(20_000)
        line.serial.reset_input_buffer()
        after = line.hello()
    assert len(rig.virtual.restarts) == starts
    assert (after.crc, after.slot) == (before.crc, before.slot) and after.uptime_ms > before.uptime_ms


def damaged(image: bytes, edit: str) -> bytes:
    import zlib

    body = bytearray(image[:-4])
    if edit == "container of another version":
        body[4] = table.CONTAINER + 1
    elif edit == "unknown critical section":
        body[12] = 99
    elif edit == "curve that turns back":
        at = body.index(b"left fuel")
        body[at + 60 : at + 64] = b"\xff\xff\xff\x0f"
    return bytes(body) + zlib.crc32(body).to_bytes(4, "little")


@pytest.mark.parametrize(
    ("edit", "text"),
    [
        ("container of another version", "a table image of version 2"),
        ("unknown critical section", "section kind 99 is not known"),
        ("curve that turns back", "breakpoint"),
    ],
)
def test_the_box_refuses_an_image_it_cannot_run(rig: Rig, demo: Build, edit: str, text: str) -> None:
    crc = rig.crc()
    with BoxLine(rig.port) as line:
        with pytest.raises(BoxSaysNo, match=text):
            line.send_table(damaged(demo.image, edit), lambda done, of: None)
        with pytest.raises(BoxSaysNo):
            line.ask("commit", crc)
        line.restart()
        assert line.wait_for_start(10).crc == crc


def test_pieces_may_come_twice_and_in_any_order(rig: Rig, starter: Build) -> None:
    import base64

    image = starter.image
    crc = f"{starter.crc32:08x}"
    content = packed(image)
    pieces = [content[i : i + PIECE] for i in range(0, len(content), PIECE)]
    with BoxLine(rig.port) as line:
        line.ask("begin", str(len(image)), crc, str(len(content)))
        with pytest.raises(BoxSaysNo, match="piece 0 is missing"):
            line.ask("verify")
        for number in [*reversed(range(len(pieces))), 1, 0]:
            line.ask("piece", str(number), base64.b64encode(pieces[number]).decode())
        for _ in range(2):
            assert line.ask("verify") == [str(len(image)), crc]
        assert line.ask("commit", crc) == line.ask("commit", crc)
        line.restart()
        assert line.wait_for_start(10).crc == crc


def test_a_box_that_dies_in_mid_flash_keeps_its_table(rig: Rig, starter: Build) -> None:
    crc = rig.crc()
    dies = threading.Thread(target=rig.virtual.power_cycle)

    def progress(done: int, of: int) -> None:
        if done > of // 2 and dies.ident is None:
            dies.start()

    with BoxLine(rig.port) as line, pytest.raises(Wrong) as lost:
        line.send_table(starter.image, progress)
    dies.join()
    assert len(lost.value.lines) == 1
    assert rig.crc() == crc


class Silent:
    """A port on which nobody, or somebody else, talks."""

    def __init__(self, says: bytes) -> None:
        self.master, slave = os.openpty()
        self.port = os.ttyname(slave)
        self.slave = slave
        self.says = says
        self.talking = True
        self.thread = threading.Thread(target=self._talk, daemon=True)
        self.thread.start()

    def _talk(self) -> None:
        while self.talking:
            if self.says:
                os.write(self.master, self.says)
            time.sleep(0.05)

    def close(self) -> None:
        self.talking = False
        self.thread.join()
        os.close(self.slave)
        os.close(self.master)


NO_BOX = {
    "read silent": ("read", b""),
    "read other": ("read", b"$GPGGA,0*00\r\n"),
    "read bad CRC": ("read", b"=1|ok|hello|00000000\n"),
    "flash silent": ("flash", b""),
    "install silent": ("install", b""),
    "install other": ("install", b"$GPGGA,0*00\r\n"),
}


@pytest.fixture(scope="module")
def tried_on_no_box() -> dict[str, tuple[str, subprocess.CompletedProcess[str]]]:
    """Of each the port and what became of the command; all at once, as they do little but wait."""
    ports = {name: Silent(says) for name, (_, says) in NO_BOX.items()}

    def tried(name: str) -> tuple[str, subprocess.CompletedProcess[str]]:
        command, port = NO_BOX[name][0], ports[name].port
        words = [command, *([str(DEMO)] if command == "flash" else []), "--port", port]
        words = [sys.executable, "-m", "gaugelight.cli", *words]
        return port, subprocess.run(
            words, stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=60
        )

    try:
        with ThreadPoolExecutor(len(NO_BOX)) as pool:
            return dict(zip(NO_BOX, pool.map(tried, NO_BOX)))
    finally:
        for port in ports.values():
            port.close()


@pytest.mark.parametrize("name", NO_BOX)
def test_a_port_that_is_no_box(
    name: str, tried_on_no_box: dict[str, tuple[str, subprocess.CompletedProcess[str]]]
) -> None:
    port, done = tried_on_no_box[name]
    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr.startswith(port) and done.stderr.count("\n") == 1


TELLTALE = """
import machine
class Pin(machine.Pin):
    def __init__(self, id, mode=-1, pull=-1, **more):
        if mode >= 0: print("#", id, ("in", "out")[mode], more.get("value", ""))
        super().__init__(id, mode, pull, **more)
class PWM(machine.PWM):
    def __init__(self, pin, **more):
        print("#", pin._number, "pwm", more["duty_u16"])
        super().__init__(pin, **more)
    def duty_u16(self, duty):
        print("#", self._pin, "duty", duty)
        super().duty_u16(duty)
machine.Pin, machine.PWM = Pin, PWM
"""


@pytest.mark.parametrize("start", ["soft reset", "cold start"])
def test_every_start_begins_dark(rig: Rig, start: str) -> None:
    """Pin 15 is on a PWM slice that a soft reset leaves burning: the box takes it down before anything else."""
    words = [sys.executable, "-m", "mpremote", "connect", rig.port]
    rig.aircraft.knobs[27] = 60.0
    script = f"with open('/boot.py', 'w') as f: f.write({TELLTALE!r})"
    subprocess.run([*words, "exec", script], check=True, timeout=30, capture_output=True)
    try:
        rig.virtual.power_cycle()
        rig.virtual.fast_forward(3000)
        with BoxLine(rig.port) as line:
            line.wait_for_start(10)
            burning = rig.virtual.latest.pwm[15][1]
            assert burning > 15_000
            line.serial.reset_input_buffer()
            if start == "soft reset":
                line.serial.write(frame(REQUEST, ["1", "restart"]).encode() + b"\n")
            else:
                rig.virtual.power_cycle()
            said = b""
            while b"# 15 duty" not in said:
                said += line.serial.read(1000)
    finally:
        rig.aircraft.knobs[27] = 0.0
        undo = "import os\nos.remove('/boot.py')"
        subprocess.run([*words, "exec", undo], check=True, timeout=30, capture_output=True)
    told = [told.split() for told in said.decode().split("# ")[1:]]
    if start == "soft reset":
        told = told[len(pins.OUTPUT_PINS) :]  # the end of the old program, just as silent
    assert told[: len(pins.OUTPUT_PINS)] == [[str(pin), "in"] for pin in pins.OUTPUT_PINS]
    outputs = [one for one in rig.aircraft.box.lights.dimmed if not isinstance(one, Display)]
    for one in outputs:  # taken down, given to the PWM at nothing, and only then faded up
        begins = [words[1:] for words in told if words[0] == str(one.pin)]
        assert begins[:2] == [["in"], ["pwm", "0"]], one.name
        assert all(0 < int(duty) < 65535 / 2 for _, duty in begins[2:3])
    first = next(int(words[2]) for words in told if words[:2] == ["15", "duty"])
    assert 0 < first < burning / 4
    assert [words[1:] for words in told if words[0] == "14"] == [["in"], ["out", "0"]]


RUNS = "def run(): print('runs from /firmware_b')"


@pytest.mark.parametrize(
    ("whole", "app", "starts"),
    [
        ("9\ngaugebox/app.py 12345\n", RUNS, "/firmware_a"),  # a file of another size: the copy was cut
        ("9\ngaugebox/gone.mpy 1\n", RUNS, "/firmware_a"),
        ("nine\n", RUNS, "/firmware_a"),
        ("", RUNS, "/firmware_a"),
        ("9\n", "import gaugebox.nothing", "/firmware_a"),
        ("9\n", "def run(:", "/firmware_a"),
        ("9\n", RUNS, "/firmware_b"),
    ],
    ids=["cut file", "file missing", "damaged", "empty", "import fails", "no Python", "whole"],
)
def test_main_starts_the_newest_whole_firmware(rig: Rig, whole: str, app: str, starts: str) -> None:
    """The second folder holds an app that says where it runs, or cannot."""
    script = f"""
import os
import re
for folder in ("/firmware_b", "/firmware_b/gaugebox"):
    try: os.mkdir(folder)
    except OSError: pass
for name in os.listdir("/firmware_b/gaugebox"): os.remove("/firmware_b/gaugebox/" + name)
open("/firmware_b/gaugebox/__init__.py", "w").close()
with open("/firmware_b/gaugebox/app.py", "w") as f: f.write({app!r})
with open("/firmware_b/whole", "w") as f: f.write({whole!r})
"""
    words = [sys.executable, "-m", "mpremote", "connect", rig.port]
    subprocess.run([*words, "exec", script], check=True, timeout=30, capture_output=True)
    try:
        with open_port(rig.port) as line:  # before it starts: opening throws away what came before
            rig.virtual.power_cycle()
            if starts == "/firmware_b":
                line.timeout = 20
                assert b"runs from /firmware_b" in line.read_until(b">>> ")
        if starts != "/firmware_b":
            assert rig.crc()
    finally:
        undo = "import os\nos.remove('/firmware_b/whole')"
        subprocess.run([*words, "exec", undo], check=True, timeout=30, capture_output=True)


def test_the_port_is_found_by_its_usb_id(monkeypatch: pytest.MonkeyPatch) -> None:
    from types import SimpleNamespace

    def attached(*ids: tuple[int, int]) -> None:
        ports = [SimpleNamespace(device=f"/dev/tty{k}", vid=v, pid=p) for k, (v, p) in enumerate(ids)]
        monkeypatch.setattr("serial.tools.list_ports.comports", lambda: ports)

    board, other = (0x2E8A, 0x0005), (0x0403, 0x6001)
    attached(other, board)
    assert the_port(None) == "/dev/tty1"
    assert the_port("/dev/ttyX") == "/dev/ttyX"
    attached(board, board, other)
    with pytest.raises(Misuse, match="2 boards are on USB; say which with --port: /dev/tty0, /dev/tty1$"):
        the_port(None)
    attached(other)
    with pytest.raises(Misuse, match="no board was found on USB.*there are: /dev/tty0"):
        the_port(None)
    attached()
    with pytest.raises(Misuse, match="there are: none"):
        the_port(None)
