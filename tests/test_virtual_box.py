"""The virtual box against real MicroPython and the real mpremote, as a board on USB would be used."""

import importlib.util
import os
import signal
import subprocess
import sys
import threading
import time
import tty
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from mpremote.transport_serial import SerialTransport

from gaugelight.virtual import ChipInProcess, Inputs, Outputs, Trouble, VirtualBox, VirtualBoxError
from gaugelight.virtual.box import computes
from gaugelight.virtual.world import driven_by

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="the virtual box runs on Linux only")


@dataclass
class Bench:
    """A world whose pins the test sets; it keeps what it was told, and what pulses it has seen, each once."""

    inputs: Inputs = field(default_factory=Inputs)
    elapsed_ms: int = 0
    steps: int = 0
    pulses: list[dict[int, tuple[int, int]]] = field(default_factory=list)

    def step(self, elapsed_ms: int, outputs: Outputs) -> Inputs:
        self.elapsed_ms += elapsed_ms
        self.steps += 1
        if outputs.pwm not in self.pulses:
            self.pulses.append(outputs.pwm)
        return self.inputs


@pytest.fixture
def bench() -> Bench:
    return Bench(Inputs(volts={26: 1.65}, chips={0x48: [1.0, 2.0, 0.5, 3.0]}, levels={2: 0, 3: 1}))


@pytest.fixture
def box(bench: Bench) -> Iterator[VirtualBox]:
    with VirtualBox(bench) as box:
        yield box


class Line:
    """The serial port as a program other than mpremote opens it."""

    def __init__(self, port: str) -> None:
        self.fd = os.open(port, os.O_RDWR | os.O_NOCTTY)
        tty.setraw(self.fd)
        os.set_blocking(self.fd, False)
        self.seen = b""

    def __enter__(self) -> "Line":
        return self

    def __exit__(self, *_: object) -> None:
        os.close(self.fd)

    def send(self, data: bytes) -> None:
        while data:
            try:
                data = data[os.write(self.fd, data) :]
            except BlockingIOError:
                time.sleep(0.002)

    def expect(self, text: bytes, timeout_s: float = 30) -> bytes:
        """What arrives up to and with `text`."""
        end = time.monotonic() + timeout_s
        while text not in self.seen:
            assert time.monotonic() < end, f"no {text!r} in {self.seen!r}"
            try:
                self.seen += os.read(self.fd, 65536)
            except BlockingIOError:
                time.sleep(0.002)
        before, _, self.seen = self.seen.partition(text)
        return before + text


def mpremote(box: VirtualBox, *arguments: str) -> str:
    command = [sys.executable, "-m", "mpremote", "connect", box.port, *arguments]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def put_main(box: VirtualBox, program: str) -> None:
    transport = SerialTransport(box.port)
    transport.enter_raw_repl()
    transport.fs_writefile("main.py", program.encode())
    transport.close()


def run_main(box: VirtualBox, program: str) -> None:
    put_main(box, program)
    box.power_cycle()


def wait_for(condition: str, box: VirtualBox, timeout_s: float = 30) -> None:
    end = time.monotonic() + timeout_s
    while not eval(condition, {"box": box}):
        assert time.monotonic() < end, f"not {condition}: {box.restarts} {box.latest}"
        time.sleep(0.005)


TICKING = "import time\nprint('ticking')\nwhile True: time.sleep_ms(20)\n"


# -- mpremote


def test_mpremote_executes(box: VirtualBox) -> None:
    assert mpremote(box, "exec", "print(6 * 7)") == "42\n"
    assert mpremote(box, "exec", "for i in range(3): print(i)") == "0\n1\n2\n"
    assert box.restarts == ["power", "soft reset", "soft reset"]


def test_mpremote_copies_files_there_and_back(box: VirtualBox, tmp_path: Path) -> None:
    there, back = tmp_path / "there.bin", tmp_path / "back.bin"
    there.write_bytes(bytes(range(256)) * 40)
    mpremote(box, "fs", "cp", str(there), ":kept.bin")
    assert "10240 kept.bin" in mpremote(box, "fs", "ls")
    box.power_cycle()
    mpremote(box, "fs", "cp", ":kept.bin", str(back))
    assert back.read_bytes() == there.read_bytes()


def test_flash_image_outlives_the_box(bench: Bench, tmp_path: Path) -> None:
    with VirtualBox(bench, flash=tmp_path / "flash.img") as box:
        mpremote(box, "exec", "with open('note', 'w') as f: f.write('still here')")
    with VirtualBox(bench, flash=tmp_path / "flash.img") as box:
        assert mpremote(box, "exec", "print(open('note').read())") == "still here\n"


def test_mpremote_interrupts_a_running_application_and_starts_it_again(box: VirtualBox) -> None:
    run_main(box, TICKING)
    assert mpremote(box, "exec", "print('stopped it')") == "stopped it\n"
    with pytest.raises(VirtualBoxError, match="not running"):
        box.fast_forward(1000)
    mpremote(box, "reset")
    wait_for("box.restarts[-1] == 'reset'", box)
    box.fast_forward(1000)


# -- the prompt


def test_prompt_soft_reset_and_raw_mode(box: VirtualBox) -> None:
    put_main(box, "print('main has run')\n")
    with Line(box.port) as line:
        line.send(b"\r\x02")
        line.expect(b">>> ")
        line.send(b"\x04")
        assert b"MPY: soft reboot\r\nmain has run\r\n" in line.expect(b">>> ")
        line.send(b"\x01")
        line.expect(b"raw REPL; CTRL-B to exit\r\n>")
        line.send(b"\x04")
        assert line.expect(b"to exit\r\n>") == b"OK\r\nMPY: soft reboot\r\nraw REPL; CTRL-B to exit\r\n>"
        line.send(b"import machine\nmachine.soft_reset()\x04")
        assert b"main has run" not in line.expect(b"raw REPL; CTRL-B to exit\r\n>")
        line.send(b"\x02")
        assert b"MicroPython " in line.expect(b">>> ")


def test_main_that_fails_leaves_a_traceback_and_a_prompt(box: VirtualBox) -> None:
    put_main(box, "left = 5\n1 / 0\n")
    with Line(box.port) as line:
        line.send(b"\x02\r\x04")
        shown = line.expect(b"ZeroDivisionError: divide by zero\r\n")
        expected = b'Traceback (most recent call last):\r\n  File "main.py", line 2, in <module>\r\n'
        assert shown.endswith(expected + b"ZeroDivisionError: divide by zero\r\n")
        line.expect(b">>> ")
        line.send(b"left + 1\r")
        line.expect(b"\r\n6\r\n>>> ")


@pytest.mark.parametrize(
    "loop", ["while True: time.sleep_ms(20)", "while True: pass", "while True: time.ticks_us()"]
)
def test_ctrl_c_stops_a_loop(box: VirtualBox, loop: str) -> None:
    put_main(box, f"import time\nprint('looping')\n{loop}\n")
    with Line(box.port) as line:
        line.send(b"\x02\r\x04")
        line.expect(b"looping\r\n")
        line.send(b"\x03\x03\x03")  # an impatient hand
        line.expect(b"KeyboardInterrupt")
        line.expect(b">>> ")
        line.send(b"print(40 + 2)\r")
        line.expect(b"\r\n42\r\n>>> ")
    assert box.restarts[-1] == "soft reset"


def test_program_may_reset_itself(box: VirtualBox) -> None:
    program = """
import machine, os
runs = len(os.listdir("runs")) if "runs" in os.listdir() else os.mkdir("runs") or 0
open("runs/" + str(runs), "w").close()
if runs == 0: machine.soft_reset()
if runs == 1: machine.reset()
print(machine.reset_cause())
"""
    run_main(box, program)
    wait_for("box.restarts[-3:] == ['power', 'soft reset', 'reset']", box)
    # the chip resets itself through its watchdog, and says so (MicroPython, ports/rp2: machine.reset)
    assert mpremote(box, "exec", "import machine; print(machine.reset_cause())") == "3\n"


def test_program_that_ends_in_a_reset_does_not_spin(box: VirtualBox) -> None:
    run_main(box, "raise SystemExit\n")
    before, began = len(box.restarts), time.monotonic()
    time.sleep(1.5)
    restarts = len(box.restarts) - before
    assert restarts <= 12 * max(1.0, (time.monotonic() - began) / 1.5)
    wait_for(f"len(box.restarts) > {before + 3}", box)


# -- input as the firmware reads it


READER = """
import binascii, micropython, select, sys, time
micropython.kbd_intr(-1)
poll = select.poll()
poll.register(sys.stdin, select.POLLIN)
one = bytearray(1)
got = bytearray()
print("reading")
while len(got) < 4096:
    for _ in range(64):
        for _ in poll.ipoll(0):
            sys.stdin.buffer.readinto(one)
            got.append(one[0])
    time.sleep_ms(5)
print("sum", binascii.crc32(got))
"""


def test_a_burst_with_every_byte_value_arrives_whole(box: VirtualBox) -> None:
    """0x03 is a byte like any other once the firmware has called kbd_intr(-1)."""
    put_main(box, READER)
    burst = bytes(range(256)) * 16
    with Line(box.port) as line:
        line.send(b"\x02\r\x04")
        line.expect(b"reading\r\n")
        line.send(burst)
        line.expect(b"sum %d\r\n" % zlib.crc32(burst))
        line.expect(b">>> ")


def test_client_that_opens_and_closes_over_and_over(box: VirtualBox) -> None:
    run_main(
        box,
        "import sys, time, select\npoll = select.poll()\npoll.register(sys.stdin, select.POLLIN)\nn = 0\n"
        "while True:\n    n += 1\n    print('old news', n)\n    time.sleep_ms(1)\n"
        "    for _ in poll.ipoll(0): print('heard', sys.stdin.buffer.read(1))\n",
    )
    for letter in b"abcdefghijklmnop":
        with Line(box.port) as line:
            line.send(bytes([letter]))
            line.expect(b"heard b'%c'\r\n" % letter)


@pytest.mark.parametrize(
    "program, expected",
    [
        ("import sys; print(0, flush=True); sys.stdin.read()", False),
        ("print(0, flush=True)\nwhile True: pass", True),
    ],
    ids=["reads", "computes"],
)
def test_a_process_is_caught_in_a_system_call(program: str, expected: bool) -> None:
    def state_and_ticks() -> tuple[str, int]:
        fields = Path(f"/proc/{process.pid}/stat").read_text().rpartition(")")[2].split()
        return fields[0], int(fields[11])  # of its own code

    with subprocess.Popen(
        [sys.executable, "-c", program], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as process:
        try:
            assert process.stdout is not None and process.stdout.readline()
            began, end = state_and_ticks()[1], time.monotonic() + 30
            while (state_and_ticks()[1] < began + 10) if expected else (state_and_ticks()[0] != "S"):
                assert time.monotonic() < end
                time.sleep(0.01)
            os.kill(process.pid, signal.SIGSTOP)
            os.waitid(os.P_PID, process.pid, os.WSTOPPED | os.WNOWAIT)
            assert computes(process.pid) is expected
        finally:
            process.kill()


def test_ctrl_c_never_finds_the_heap_locked(box: VirtualBox) -> None:
    """A program that takes heap all the time: an interrupt in the midst of that would leave it locked."""
    put_main(
        box,
        "import time\nwhile True:\n    try:\n        print('ready')\n        while True:\n            [bytearray(16) for _ in range(1000)]\n"
        "            time.sleep_us(50)\n    except KeyboardInterrupt:\n        print('caught')\n",
    )
    with Line(box.port) as line:
        box.power_cycle()
        for _ in range(30):
            line.expect(b"ready\r\n")
            line.send(b"\x03")
            line.expect(b"caught\r\n")


def test_a_client_that_does_not_read_does_not_stop_the_box(bench: Bench, box: VirtualBox) -> None:
    run_main(box, "import time\nwhile True:\n    print('x' * 200)\n    time.sleep_ms(1)\n")
    with Line(box.port):
        time.sleep(0.8)
        seen = bench.steps
        wait_for(f"box._world.steps > {seen}", box)


# -- time


def test_ticks_wrap_at_2_to_the_30_and_differences_do_not_notice(box: VirtualBox) -> None:
    put_main(
        box,
        "import time\na = time.ticks_ms()\nu = time.ticks_us()\ntime.sleep(21)\nb = time.ticks_ms()\n"
        "print('wrap', a, b, time.ticks_diff(b, a), time.ticks_add(a, 21000) == b)\n",
    )
    with Line(box.port) as line:
        line.send(b"\x02\r")
        line.expect(b">>> ")
        box.power_cycle()
        box.fast_forward(20_500)
        line.expect(b"wrap ")
        before, after, difference, same = line.expect(b"\r\n").split()
    assert 2**30 - 20_000 <= int(before) < 2**30 and int(after) == int(before) + 21_000 - 2**30
    assert (difference, same) == (b"21000", b"True")


def test_fast_forward_is_fast_and_then_time_is_real_again(bench: Bench, box: VirtualBox) -> None:
    run_main(box, TICKING)
    start, start_ms = time.monotonic(), bench.elapsed_ms
    box.fast_forward(60_000)
    took_ms = 1000 * (time.monotonic() - start)
    assert took_ms < 30_000  # no speed, only that nobody waited
    assert 60_000 <= bench.elapsed_ms - start_ms <= 60_000 + took_ms + 20
    wait_for(f"box._world.elapsed_ms >= {bench.elapsed_ms + 500}", box)
    real, virtual_us = box._paced_from
    assert 1000 * (time.monotonic() - real) > box._now_us / 1000 - virtual_us / 1000 - 20


def test_waiting_box_costs_little(bench: Bench, box: VirtualBox, monkeypatch: pytest.MonkeyPatch) -> None:
    """The holder sleeps until there is something to do: a few rounds a tick, none in vain."""
    rounds = [0]
    serve = box._serve

    def counted() -> None:
        rounds[0] += 1
        serve()

    run_main(box, TICKING)
    monkeypatch.setattr(box, "_serve", counted)
    wait_for("len(box.restarts) and box._world.steps > 20", box)
    before, steps = rounds[0], bench.steps
    wait_for(f"box._world.steps > {steps + 50}", box)
    assert 50 < rounds[0] - before < 50 * 5


# -- the watchdog


@pytest.mark.parametrize("neglect", ["while True: time.sleep_ms(50)", "time.sleep(60)"])
def test_watchdog_bites_in_virtual_time(box: VirtualBox, neglect: str) -> None:
    run_main(
        box,
        "import machine, time\n"
        "if machine.reset_cause() != machine.WDT_RESET:\n"
        "    dog = machine.WDT(timeout=8000)\n"
        "    for _ in range(10): time.sleep_ms(1000); dog.feed()\n"
        f"    {neglect}\n"
        "while True: time.sleep_ms(100)\n",
    )
    box.fast_forward(14_000)
    assert box.restarts[-1] == "power"
    box.fast_forward(6_000)
    assert box.restarts[-1] == "watchdog"


def test_watchdog_bites_a_hung_interpreter(bench: Bench, box: VirtualBox) -> None:
    run_main(
        box,
        "import machine, time\n"
        "if machine.reset_cause() != machine.WDT_RESET:\n"
        "    machine.PWM(8, freq=1000, duty_u16=65535)\n"
        "    machine.WDT(timeout=400)\n"
        "    time.sleep_ms(1)\n"
        "    while True: pass\n"
        "while True: time.sleep_ms(100)\n",
    )
    wait_for("box.restarts[-1] == 'watchdog'", box)
    assert {8: (1000, 65535)} in bench.pulses
    assert box.latest.pwm == {}
    box.fast_forward(100)


def test_watchdog_goes_on_through_a_soft_reset(box: VirtualBox) -> None:
    with Line(box.port) as line:
        line.send(b"\x02\rimport machine; dog = machine.WDT(timeout=700); machine.soft_reset()\r")
        line.expect(b"MPY: soft reboot\r\n")
        wait_for("box.restarts[-2:] == ['soft reset', 'watchdog']", box)


# -- what the box drives


def test_soft_reset_stops_pwm_slices_0_to_3_only(box: VirtualBox) -> None:
    mpremote(
        box,
        "exec",
        "from machine import PWM, Pin\n"
        "PWM(Pin(0), freq=4000, duty_u16=60000)\nPWM(Pin(2), freq=4000, duty_u16=100)\n"
        "PWM(Pin(8), freq=4000, duty_u16=1234)\nPin(20, Pin.OUT, value=1)",
    )
    assert box.latest.pwm == {0: (4000, 60000), 2: (4000, 100), 8: (4000, 1234)}
    assert box.latest.levels == {20: 1}
    shown = mpremote(box, "exec", "import machine; print(machine.PWM(8).duty_u16())")
    assert shown == "1233\n"  # measured on a board; what was commanded is 1234
    assert box.latest.pwm == {8: (4000, 1234)}
    assert box.latest.levels == {0: 1, 2: 0, 20: 1}
    box.power_cycle()
    assert (box.latest.pwm, box.latest.levels) == ({}, {})


def test_pins_and_converters_reach_the_application(bench: Bench, box: VirtualBox) -> None:
    program = (
        "from machine import ADC, I2C, Pin\n"
        "bus = I2C(0, scl=Pin(5), sda=Pin(4), freq=400000, timeout=2000)\n"
        "print(ADC(26).read_u16(), ADC(Pin(27)).read_u16(), bus.scan())\n"
        "print([Pin(n, Pin.IN, Pin.PULL_UP).value() for n in (2, 3, 6)], Pin(7, Pin.IN, Pin.PULL_DOWN)())\n"
        "try: bus.writeto(0x49, b'\\0')\nexcept OSError as e: print(e.errno)\n"
        "import time\nword = bytearray(2)\n"
        "bus.writeto(0x48, b'\\x01\\xd5\\x83')\ntime.sleep_ms(10)\nbus.readfrom_mem_into(0x48, 0, word)\n"
        "print(word[0] << 8 | word[1])\n"
    )
    assert mpremote(box, "exec", program) == "32776 0 [72]\n[0, 1, 1] 0\n5\n32000\n"


def test_troubles_of_a_converter_reach_the_application(bench: Bench, box: VirtualBox) -> None:
    mpremote(
        box,
        "exec",
        "from machine import I2C\nfrom time import ticks_diff, ticks_us\nbus = I2C(0, timeout=2000)\n"
        "def ask():\n    before = ticks_us()\n"
        "    try: said = bus.readfrom_mem(0x48, 1, 2)\n    except OSError as e: said = e.errno\n"
        "    print(said, ticks_diff(ticks_us(), before) // 1000, len(bus.scan()))\n",
    )

    def said(program: str = "ask()") -> str:
        return mpremote(box, "resume", "exec", program)

    assert said() == "b'\\x85\\x83' 0 1\n"
    bench.inputs.troubles[0x48] = Trouble(never_ready=True)
    assert said("bus.writeto(0x48, b'\\1\\xc3\\xe3')\nask()") == "b'C\\xe3' 0 1\n"
    bench.inputs.troubles[0x48] = Trouble(resets=1)
    assert said() == "b'\\x85\\x83' 0 1\n"
    bench.inputs.troubles[0x48] = Trouble(refuses_data=True)
    assert said() == "5 0 1\n"
    bench.inputs.bus_stuck = True
    assert said() == "110 2 112\n"


def test_driven_by_shares_the_frequency_of_a_slice_and_the_duty_of_a_channel(bench: Bench) -> None:
    chip = ChipInProcess(bench)
    machine, sleep_ms = chip.machine, chip.time.sleep_ms
    first = machine.PWM(machine.Pin(8), freq=4000, duty_u16=1000)
    machine.PWM(machine.Pin(9), freq=250, duty_u16=2000)
    machine.PWM(machine.Pin(24), duty_u16=3000)  # the same channel as pin 8
    machine.PWM(machine.Pin(10), duty_u16=1)  # no frequency: it does not run
    sleep_ms(1)
    assert chip.latest.pwm == {8: (250, 3000), 9: (250, 2000), 24: (250, 3000)}
    first.deinit()
    sleep_ms(1)
    assert chip.latest.pwm == {}
    assert driven_by((0,) * 30, 7) == Outputs(7)


# -- the on-chip converter; the other one has a file of its own


@pytest.mark.parametrize(
    ("volts", "count"),
    # the chip gives floor(V / 3.3 * 4096) (RP2040 data sheet, 4.9); MicroPython repeats its 12 bits to fill 16
    [
        (-0.2, 0),
        (0.0, 0),
        (3.3 / 4096 * 1.01, 0x0010),
        (1.65, 0x8008),
        (3.3 / 4096 * 4094.5, 0xFFEF),
        (5.0, 0xFFFF),
    ],
)
def test_on_chip_converter(volts: float, count: int) -> None:
    chip = ChipInProcess(Bench(Inputs(volts={28: volts})))
    assert chip.machine.ADC(28).read_u16() == chip.machine.ADC(2).read_u16() == count


# -- the holder


def test_stopped_box_leaves_nothing_behind(bench: Bench) -> None:
    def resources() -> tuple[list[str], list[str], str]:
        threads = sorted(thread.name for thread in threading.enumerate())
        children = Path(f"/proc/self/task/{os.getpid()}/children").read_text()
        return sorted(os.listdir("/proc/self/fd")), threads, children

    before = resources()
    for _ in range(2):
        with VirtualBox(bench) as box:
            run_main(box, "while True: pass\n")
            child = box._process.pid if box._process else 0
        assert not Path(f"/proc/{child}").exists()
    assert resources() == before


def test_interpreter_does_not_outlive_a_killed_holder(tmp_path: Path) -> None:
    program = (
        "import os, signal\nfrom gaugelight.virtual import Inputs, VirtualBox\n"
        "class Nothing:\n    def step(self, elapsed_ms, outputs): return Inputs()\n"
        "with VirtualBox(Nothing()) as box:\n"
        "    print(box._process.pid, flush=True)\n    os.kill(os.getpid(), signal.SIGKILL)\n"
    )
    path = os.pathsep.join(sys.path)
    holder = subprocess.run(
        [sys.executable, "-c", program],
        capture_output=True,
        env={"PYTHONPATH": path, "TMPDIR": str(tmp_path)},
        timeout=60,
    )
    child = int(holder.stdout)
    end = time.monotonic() + 30
    while Path(f"/proc/{child}").exists() and " Z " not in Path(f"/proc/{child}/stat").read_text():
        assert time.monotonic() < end
        time.sleep(0.01)


def test_a_world_that_fails_stops_the_box_with_its_reason(bench: Bench) -> None:
    with pytest.raises(VirtualBoxError, match="on-chip converter has pins 26 to 29"):
        with VirtualBox(bench) as box:
            run_main(box, TICKING)
            bench.inputs.volts[5] = 1.0
            box.fast_forward(1000)


def test_missing_interpreter_is_named(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None)
    with pytest.raises(VirtualBoxError, match=r"pip install 'gaugelight\[bench\]'"):
        VirtualBox(bench)
