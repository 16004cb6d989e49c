"""The holder of the virtual box: it runs the interpreter and faces the host as a board on USB would.

What the interpreter prints and reads goes through two pipes; only the client's side is a pseudo-terminal. Ctrl-C is a
decision of the holder's: it stops the interpreter, looks whether that has a handler for SIGINT (`kbd_intr(-1)` and the
prompt take it away) and then either sends the signal or hands the byte on. So nothing is lost or misjudged at the
moment the interpreter changes over, as it would be with a terminal between the two.
"""

import contextlib
import errno
import importlib.util
import math
import os
import platform
import select
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections import deque
from collections.abc import Callable
from pathlib import Path
from types import TracebackType

if sys.platform == "linux":
    import fcntl
    import termios
    import tty

from gaugelight.virtual import world as messages
from gaugelight.virtual.chip import layout, ssd1306_chip
from gaugelight.virtual.world import NO_REGISTERS, Inputs, Outputs, Picture, World

FLASH_BYTES = 352 * 4096  # of a board with 2 MB, what MicroPython leaves (from memory)
CTRL_A = b"\x01"
CTRL_C = 0x03
RAW_PROMPT = b"raw REPL; CTRL-B to exit\r\n"
FRIENDLY_PROMPT = b'Type "help()" for more information.\r\n>>> '
SOFT_REBOOT = b"MPY: soft reboot\r\n"

_CLIENT_RECHECK_S = 0.02
_CTRL_C_APART_S = 0.03  # a second one that meets an unserved first one would end the interpreter
_CTRL_C_RETRY_S = 0.002
_CTRL_C_PATIENCE_S = 0.5  # of processor time: a program that never reads or waits is interrupted where it is
_STALLED_CLIENT_S = 0.5  # then output is dropped, as the board's USB does
_OUTPUT_MAX = 16384
_INPUT_MAX = 4096
_STDIN_PIPE_BYTES = 16384
_IDLE_JUMP_S = 0.5  # a box that was silent longer has its clock set forward instead of catching up
_STARTS_MAX, _STARTS_WITHIN_S = 10, 2.0  # an application that ends at once must not spin
_SILENCE_S = 2.0  # fast_forward: this long without an exchange, and the application is not running

_LAUNCHER = """
import fcntl, os, sys
fd = int(sys.argv[1])
fcntl.fcntl(fd, fcntl.F_SETOWN, os.getpid())
fcntl.fcntl(fd, fcntl.F_SETFL, fcntl.fcntl(fd, fcntl.F_GETFL) | os.O_ASYNC)
sys.path.insert(0, sys.argv[2])
from micropython_run import run_main
sys.exit(run_main(["micropython", "-X", "heapsize=520k", "-i"] + sys.argv[3:]))
"""
# The board has some 230 kB of heap for objects half the size, and no virtual chip, which takes 90 kB, in it. The descriptor is a pipe whose other end the holder has open and never writes to: when the holder is gone, however that
# came about, SIGIO ends the interpreter.


class VirtualBoxError(Exception):
    """The virtual box cannot be started or does not do what was asked; the message is for the user."""


class VirtualBox:
    """A running virtual box: `with VirtualBox(world) as box: ... box.port ...`.

    world: the model of the aircraft. flash: image file, made when missing and kept; None: one that lasts as long as the
    box. adc_reference: volts at full scale of the on-chip converter.
    """

    port: str
    """Path of the serial port, to be opened like a board's."""
    restarts: list[str]
    """Why the box has started, first to last: "power" (the first is one), "soft reset", "reset", "watchdog", "crash"."""
    latest: Outputs
    """What the box drives now."""

    def __init__(self, world: World, *, flash: Path | None = None, adc_reference: float = 3.3) -> None:
        self._interpreter_folder = _interpreter_folder()
        self._world = world
        self._adc_reference = adc_reference
        self._flash = flash
        self.port = ""
        self.restarts = []
        self.latest = Outputs(0)

        self._lock = threading.Condition()  # guards what the threads share: the next six
        self._commands: deque[Callable[[], None]] = deque()
        self._now_us = 0
        self._fast_until_us = 0
        self._hellos = 0
        self._exchanges = 0
        self._failure: BaseException | None = None

    def __enter__(self) -> "VirtualBox":
        self._resources = contextlib.ExitStack()
        try:
            self._open()
        except BaseException:
            self._resources.close()
            raise
        self._thread = threading.Thread(target=self._hold, name="virtual box", daemon=True)
        self._thread.start()
        self._wait_for_start(after=0)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._tell(self._stop)
        self._thread.join()
        if error is None:
            self._raise_failure()

    def fast_forward(self, ms: int, timeout_s: float = 60) -> None:
        """Let `ms` of virtual time pass as fast as the machine can; returns when they have.

        Raises VirtualBoxError when the application is not running, or at the timeout (real seconds).
        """
        give_up_at = time.monotonic() + timeout_s
        with self._lock:
            target_us = self._fast_until_us = self._now_us + ms * 1000
            self._tell(lambda: None)
            try:
                while self._now_us < target_us:
                    seen = self._exchanges
                    left_s = give_up_at - time.monotonic()
                    self._lock.wait_for(
                        lambda: self._failure or self._now_us >= target_us, max(0.0, min(left_s, _SILENCE_S))
                    )
                    self._raise_failure()
                    if self._now_us < target_us and (self._exchanges == seen or left_s <= 0):
                        state = "is not running" if self._exchanges == seen else "was too slow"
                        missing_ms = (target_us - self._now_us) // 1000
                        raise VirtualBoxError(
                            f"fast_forward({ms}): the box's application {state}, {missing_ms} ms are missing"
                        )
            finally:
                self._fast_until_us = 0

    def picture(self) -> Picture | None:
        """What the display shows now; None where none has been on the bus since power came on."""
        state = os.pread(self._picture.fileno(), ssd1306_chip.STATE, 0)
        return messages.picture_of(state) if len(state) == ssd1306_chip.STATE else None

    def power_cycle(self) -> None:
        """Take the supply away and give it back; returns when the box has started again."""
        with self._lock:
            hellos = self._hellos
        self._tell(lambda: self._restart("power"))
        self._wait_for_start(hellos)

    # -- called from any thread

    def _tell(self, command: Callable[[], None]) -> None:
        with self._lock:
            self._commands.append(command)
            if self._failure is None and self._thread.is_alive():
                os.write(self._wake_w, b"!")

    def _wait_for_start(self, after: int) -> None:
        with self._lock:
            started = self._lock.wait_for(lambda: self._failure or self._hellos > after, 20)
            self._raise_failure()
        if not started:
            raise VirtualBoxError("the virtual box has not started within 20 s")

    def _raise_failure(self) -> None:
        if self._failure is not None:
            raise VirtualBoxError(f"the virtual box has stopped: {self._failure!r}") from self._failure

    # -- opening

    def _open(self) -> None:
        if self._flash is None:
            folder = self._resources.enter_context(tempfile.TemporaryDirectory(prefix="virtual_box_"))
            self._flash = Path(folder) / "flash.img"
            self._resources.callback(setattr, self, "_flash", None)
        if not self._flash.exists():
            self._flash.write_bytes(b"\xff" * FLASH_BYTES)

        self._master, slave = os.openpty()
        self._resources.callback(os.close, self._master)
        tty.setraw(slave)
        self.port = os.ttyname(slave)
        os.close(slave)
        self._wake_r, self._wake_w = self._pipe()
        self._alive_r, _ = self._pipe()
        self._stdin_r, self._stdin_w = self._pipe()
        self._stdout_r, self._stdout_w = self._pipe()
        self._picture = self._resources.enter_context(tempfile.TemporaryFile())
        fcntl.fcntl(self._stdin_w, fcntl.F_SETPIPE_SZ, _STDIN_PIPE_BYTES)
        for fd in (self._master, self._wake_r, self._stdin_w, self._stdout_r):
            os.set_blocking(fd, False)

        self._running = True
        self._poll = select.poll()
        self._watched: dict[int, int] = {}
        self._client = False
        self._to_client = bytearray()
        self._to_client_since = 0.0
        self._to_box = bytearray()
        self._last_out = 0
        self._interrupted_at = 0.0
        self._patience_ends_s: float | None = None  # set while a Ctrl-C waits for a place to interrupt
        self._input_blocked = False

        self._process: subprocess.Popen[bytes] | None = None
        self._process_resources = contextlib.ExitStack()
        self._starts: deque[float] = deque([-1e9] * _STARTS_MAX, _STARTS_MAX)
        self._start_at: float | None = None
        self._heard = False  # the interpreter has said hello
        self._raw = False
        self._raw_tail = b""
        self._hide_until_raw_prompt = False

        self._powered_at_us = 0
        self._stepped_to_ms = 0
        self._reset_cause = layout.PWRON_RESET
        self._registers: tuple[int, ...] = NO_REGISTERS
        self._request: tuple[int, ...] | None = None  # the one whose time is passing
        self._request_ends_us = 0
        self._paced_from = (time.monotonic(), 0)  # real seconds and virtual microseconds that belong together
        self._watchdog_us: int | None = None  # virtual time at which it bites
        self._heard_at = 0.0

    def _pipe(self) -> tuple[int, int]:
        ends = os.pipe()
        for fd in ends:
            self._resources.callback(os.close, fd)
        return ends

    # -- the holder's thread

    def _hold(self) -> None:
        try:
            self._restart("power")
            while self._running:
                self._serve()
        except BaseException as error:
            with self._lock:
                self._failure = error
        finally:
            self._end_process()
            with self._lock:
                self._commands.clear()
                self._resources.close()
                self._lock.notify_all()

    def _stop(self) -> None:
        self._running = False

    def _serve(self) -> None:
        """Wait for the next thing that concerns the holder, and do it."""
        now = time.monotonic()
        alarms = [now + 10]
        if not self._client:
            alarms.append(now + _CLIENT_RECHECK_S)
        if self._to_client:
            alarms.append(self._to_client_since + _STALLED_CLIENT_S)
        if self._start_at is not None:
            alarms.append(self._start_at)
        if self._request is not None:
            alarms.append(self._due())
        elif self._watchdog_us is not None and self._process is not None:
            alarms.append(self._heard_at + self._registers[layout.WATCHDOG_MS - layout.REGISTERS] / 1000)
        forward = bool(self._to_box) and self._heard
        ctrl_c = forward and self._to_box[0] == CTRL_C and not self._input_blocked
        if ctrl_c:  # goes ahead of what the application has not read
            alarms.append(self._interrupted_at + _CTRL_C_APART_S)
            forward = False

        self._watch(self._wake_r, select.POLLIN)
        master = select.POLLIN if len(self._to_box) < _INPUT_MAX else 0
        self._watch(
            self._master, master | (select.POLLOUT if self._to_client else 0) if self._client else None
        )
        self._watch(self._stdin_w, select.POLLOUT if forward else None)
        self._watch(self._stdout_r, select.POLLIN if len(self._to_client) < _OUTPUT_MAX else None)
        events = dict(self._poll.poll(max(0.0, (min(alarms) - time.monotonic()) * 1000)))

        if self._wake_r in events:
            os.read(self._wake_r, 4096)
            while self._commands:
                self._commands.popleft()()
            if not self._running:
                return
        self._serve_client(
            events.get(self._master, 0)
        )  # first: what is printed from here on is a new client's
        if self._stdout_r in events:
            self._read_output()
        if self._process is not None and self._request_r in events:
            self._read_request()
        if self._process is not None and self._pidfd in events:
            self._process_ended()
        now = time.monotonic()
        if self._stdin_w in events or ctrl_c and now >= self._interrupted_at + _CTRL_C_APART_S:
            self._forward_input()

        if self._start_at is not None and now >= self._start_at:
            self._start_process()
        if self._request is not None and now >= self._due():
            self._finish_request()
        elif self._request is None and self._watchdog_us is not None and self._process is not None:
            timeout_s = self._registers[layout.WATCHDOG_MS - layout.REGISTERS] / 1000
            if now >= self._heard_at + timeout_s:
                self._restart("watchdog")

    def _watch(self, fd: int, mask: int | None) -> None:
        if self._watched.get(fd) == mask:
            return
        if mask is None:
            self._poll.unregister(fd)
            del self._watched[fd]
        else:
            self._poll.register(fd, mask)
            self._watched[fd] = mask

    # -- the client's side

    def _serve_client(self, event: int) -> None:
        if not self._client:
            event = self._look_for_client()
        if event & select.POLLIN:
            self._read_client()
        if event & select.POLLHUP:
            self._client = False
            self._to_client.clear()
            with contextlib.suppress(OSError):
                termios.tcflush(
                    self._master, termios.TCOFLUSH
                )  # what the last client has not read is not the next's
        elif self._client:
            self._write_client()

    def _look_for_client(self) -> int:
        probe = select.poll()
        probe.register(self._master, select.POLLIN)
        event = dict(probe.poll(0)).get(self._master, 0)
        self._client = not event & select.POLLHUP
        return event

    def _read_client(self) -> None:
        try:
            while len(self._to_box) < _INPUT_MAX:
                data = os.read(self._master, 4096)
                self._to_box += data
        except BlockingIOError:
            pass
        except OSError as error:
            if error.errno != errno.EIO:  # EIO: the client has closed and all it wrote is read
                raise

    def _write_client(self) -> None:
        if not self._to_client:
            return
        try:
            count = os.write(self._master, self._to_client)
        except BlockingIOError:
            count = 0
        now = time.monotonic()
        if count:
            del self._to_client[:count]
            self._to_client_since = now
        elif now >= self._to_client_since + _STALLED_CLIENT_S:
            self._to_client.clear()

    def _show(self, data: bytes) -> None:
        if not self._client:
            self._look_for_client()
        if self._client and data:
            if not self._to_client:
                self._to_client_since = time.monotonic()
            self._to_client += data
            self._write_client()

    # -- the interpreter's side

    def _read_output(self) -> None:
        try:
            data = os.read(self._stdout_r, 65536)
        except BlockingIOError:
            return
        # The board ends a line with CR LF, the interpreter's Unix port with LF.
        cooked = bytearray()
        for byte in data:
            if byte == 0x0A and self._last_out != 0x0D:
                cooked.append(0x0D)
            cooked.append(byte)
            self._last_out = byte
        data = bytes(cooked)

        tail = self._raw_tail + data
        raw, friendly = tail.rfind(RAW_PROMPT), tail.rfind(FRIENDLY_PROMPT)
        if raw != friendly:
            self._raw = raw > friendly
        self._raw_tail = tail[-max(len(RAW_PROMPT), len(FRIENDLY_PROMPT)) + 1 :]
        if self._hide_until_raw_prompt:
            if raw < 0:
                return
            self._hide_until_raw_prompt = False
            data = tail[raw:]
        self._show(data)

    def _drain_output(self) -> None:
        """All the interpreter has printed up to now, to the client."""
        probe = select.poll()
        probe.register(self._stdout_r, select.POLLIN)
        while probe.poll(0):
            self._read_output()

    def _forward_input(self) -> None:
        self._input_blocked = False
        if not self._to_box or not self._heard:
            return
        if self._to_box[0] == CTRL_C:
            now = time.monotonic()
            interrupted = self._interrupt()
            if interrupted is None:  # again in a moment
                self._interrupted_at = now + _CTRL_C_RETRY_S - _CTRL_C_APART_S
                return
            self._patience_ends_s = None
            if interrupted:
                del self._to_box[0]
                self._interrupted_at = now
                return
        end = self._to_box.find(CTRL_C, 1)
        chunk = self._to_box if end < 0 else self._to_box[:end]
        try:
            count = os.write(self._stdin_w, chunk)
        except BlockingIOError:
            self._input_blocked = True
            return
        del self._to_box[:count]

    def _interrupt(self) -> bool | None:
        """Interrupt the interpreter if it wants Ctrl-C to; False if it takes it as a byte.

        Its handler jumps out of whatever it interrupts; out of the allocator it would leave the heap locked for ever. So it is
        caught in a system call, where it reads or waits; None while it is in none and the holder has patience. Until then its next
        exchange is not answered, so that it does wait.
        """
        if self._process is None:
            return False
        pid = self._process.pid
        os.kill(pid, signal.SIGSTOP)
        try:
            os.waitid(os.P_PID, pid, os.WSTOPPED | os.WEXITED | os.WNOWAIT)
            caught = False
            for line in Path(f"/proc/{pid}/status").read_text().splitlines():
                if line.startswith("SigCgt:"):
                    caught = bool(int(line.split()[1], 16) >> (signal.SIGINT - 1) & 1)
            if caught and computes(pid):
                used_s = used_cpu_s(pid)
                if self._patience_ends_s is None:
                    self._patience_ends_s = used_s + _CTRL_C_PATIENCE_S
                if used_s < self._patience_ends_s:
                    return None
            if caught:
                os.kill(pid, signal.SIGINT)
        finally:
            os.kill(pid, signal.SIGCONT)
        return caught

    # -- starting and ending the interpreter

    def _restart(self, cause: str) -> None:
        self._end_process()
        self.restarts.append(cause)
        if cause == "soft reset":
            self._registers = messages.after_soft_reset(self._registers)
            self._to_box[:0] = self._take_back_input()
        else:
            self._take_back_input()
            self._to_box.clear()
            self._registers = NO_REGISTERS if cause == "power" else messages.after_reset(self._registers)
            self._watchdog_us = None
            self._raw = False
            self._raw_tail = b""
            self._powered_at_us = self._now_us
            if cause == "power":
                os.ftruncate(self._picture.fileno(), 0)
            self._reset_cause = layout.WDT_RESET if cause in ("watchdog", "reset") else layout.PWRON_RESET
        self.latest = messages.driven_by(self._registers, self._now_us // 1000)
        self._start_at = max(time.monotonic(), self._starts[0] + _STARTS_WITHIN_S)

    def _take_back_input(self) -> bytes:
        probe = select.poll()
        probe.register(self._stdin_r, select.POLLIN)
        return os.read(self._stdin_r, 1 << 20) if probe.poll(0) else b""

    def _start_process(self) -> None:
        self._start_at = None
        self._starts.append(time.monotonic())
        request_r, request_w = os.pipe()
        reply_r, reply_w = os.pipe()
        for fd in (request_r, reply_w):
            self._process_resources.callback(os.close, fd)
        self._request_r, self._reply_w = request_r, reply_w
        start = Path(__file__).parent / "chip" / "start.py"
        try:
            self._process = subprocess.Popen(
                # fmt: off
                [sys.executable, "-I", "-S", "-c", _LAUNCHER, str(self._alive_r), str(self._interpreter_folder),
                 str(start), str(request_w), str(reply_r), str(self._flash), "raw" if self._raw else "friendly",
                 str(self._picture.fileno())],
                # fmt: on
                stdin=self._stdin_r,
                stdout=self._stdout_w,
                stderr=self._stdout_w,
                pass_fds=(self._alive_r, request_w, reply_r, self._picture.fileno()),
                env={},
                start_new_session=True,
            )
        finally:
            os.close(request_w)
            os.close(reply_r)
        self._pidfd = os.pidfd_open(self._process.pid)
        self._process_resources.callback(os.close, self._pidfd)
        self._watch(self._request_r, select.POLLIN)
        self._watch(self._pidfd, select.POLLIN)
        self._heard_at = time.monotonic()

    def _end_process(self) -> None:
        self._heard = False
        self._hide_until_raw_prompt = False
        self._request = None
        self._patience_ends_s = None
        self._start_at = None
        if self._process is None:
            return
        self._process.kill()
        self._process.wait()
        self._process = None
        self._watch(self._request_r, None)
        self._watch(self._pidfd, None)
        self._process_resources.close()
        self._drain_output()

    def _process_ended(self) -> None:
        assert self._process is not None
        if self._process.poll() is None:
            return
        if self._process.returncode < 0:
            self._restart("crash")
        else:
            self._soft_reset()

    def _soft_reset(self) -> None:
        self._restart("soft reset")
        self._show(SOFT_REBOOT)

    # -- exchanges: the only way virtual time passes

    def _read_request(self) -> None:
        message = os.read(self._request_r, messages.REQUEST_BYTES)
        if len(message) < messages.REQUEST_BYTES:
            return  # the interpreter has ended; its exit is seen next
        request = messages.unpack_request(message)
        if self._request is not None:  # Ctrl-C has ended it
            self._pass(max(self._now_us, min(self._request_ends_us, self._paced_now_us())))
        self._heard_at = time.monotonic()
        kind = request[layout.KIND]
        if kind in (layout.RESET, layout.SOFT_RESET):
            self._registers = request[layout.REGISTERS :]  # what it did last
        if kind == layout.RESET:
            self._restart("reset")
            return
        if kind == layout.SOFT_RESET:
            self._soft_reset()
            return
        if kind == layout.BOOTED and self._raw:
            self._drain_output()
            self._raw_tail = b""
            self._hide_until_raw_prompt = True
        if kind == layout.CATCH_UP:
            self._pass(max(self._now_us, self._paced_now_us()))
        self._pass(self._now_us + request[layout.SPENT_US])
        if kind != layout.HELLO:
            registers = request[layout.REGISTERS :]
            timeout_ms = request[layout.WATCHDOG_MS]
            if timeout_ms:
                self._watchdog_us = self._now_us - request[layout.SINCE_FEED_US] + timeout_ms * 1000
            self.latest = messages.driven_by(registers, self._now_us // 1000, self._registers, self.latest)
            self._registers = registers
        self._request = request
        self._request_ends_us = self._now_us + request[layout.WAIT_US]
        if self._watchdog_us is not None:
            self._request_ends_us = min(self._request_ends_us, max(self._now_us, self._watchdog_us))
        if time.monotonic() >= self._due():
            self._finish_request()

    def _due(self) -> float:
        """Real time at which the time asked for has passed."""
        if self._patience_ends_s is not None:
            return math.inf
        if self._now_us < self._fast_until_us:
            return 0.0
        real, virtual_us = self._paced_from
        return real + (self._request_ends_us - virtual_us) / 1e6

    def _paced_now_us(self) -> int:
        real, virtual_us = self._paced_from
        return virtual_us + round((time.monotonic() - real) * 1e6)

    def _pass(self, until_us: int) -> None:
        with self._lock:
            self._now_us = until_us
            self._exchanges += 1
            if until_us >= self._fast_until_us:
                self._lock.notify_all()

    def _finish_request(self) -> None:
        assert self._request is not None
        request, self._request = self._request, None
        ends_us = self._request_ends_us
        fast = self._now_us < self._fast_until_us
        if fast:
            self._paced_from = (time.monotonic(), ends_us)
        elif self._paced_now_us() - ends_us > _IDLE_JUMP_S * 1e6:
            ends_us = self._paced_now_us()
        if self._watchdog_us is not None and ends_us >= self._watchdog_us:
            self._pass(ends_us)
            self._restart("watchdog")
            return
        now_ms = ends_us // 1000
        inputs = self._world.step(now_ms - self._stepped_to_ms, self.latest)
        self._stepped_to_ms = now_ms
        self._pass(ends_us)
        self._answer(request, inputs)

    def _answer(self, request: tuple[int, ...], inputs: Inputs) -> None:
        reply = messages.pack_reply(
            request[layout.SEQUENCE],
            self._now_us - self._powered_at_us,
            self._reset_cause,
            self._adc_reference,
            inputs,
        )
        if request[layout.KIND] == layout.HELLO:
            registers = list(self._registers)
            if self._watchdog_us is not None:
                fed_at_us = self._watchdog_us - registers[layout.WATCHDOG_MS - layout.REGISTERS] * 1000
                registers[layout.SINCE_FEED_US - layout.REGISTERS] = self._now_us - fed_at_us
            reply += messages.pack_registers(registers)
            self._heard = True
            if self._raw:
                os.write(self._stdin_w, CTRL_A)
            with self._lock:
                self._hellos += 1
                self._lock.notify_all()
        with contextlib.suppress(BrokenPipeError):
            os.write(self._reply_w, reply)


def _interpreter_folder() -> Path:
    """Where the interpreter's extension module is; raises VirtualBoxError when this machine cannot run the box."""
    if sys.platform != "linux" or platform.machine() != "x86_64":
        raise VirtualBoxError(
            "the virtual box runs on Linux on x86-64 only: there is no interpreter for this machine"
        )
    spec = importlib.util.find_spec("micropython_unix")
    if spec is None or spec.origin is None:
        raise VirtualBoxError("the virtual box needs the bench extra: pip install 'gaugelight[bench]'")
    return Path(spec.origin).parent


def computes(pid: int) -> bool:
    """Whether a stopped process was in no system call."""
    try:
        return Path(f"/proc/{pid}/syscall").read_text().startswith("-1")
    except OSError:  # a system that does not tell
        return False


def used_cpu_s(pid: int) -> float:
    """The processor time a process has had, in seconds."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
