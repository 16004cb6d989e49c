"""The virtual chip inside this Python process: for long soaks and for tests that need no serial line."""

import importlib.util
import sys
from array import array
from pathlib import Path
from types import ModuleType
from typing import Any

from gaugelight.virtual import world as messages
from gaugelight.virtual.chip import layout
from gaugelight.virtual.world import Outputs, Picture, World

CHIP_FOLDER = Path(__file__).parent / "chip"
PARTS = "ads1115_chip", "ssd1306_chip"  # what `machine` finds on I2C


class ChipInProcess:
    """`machine` and `time` are modules of their own, to be put where the application looks for them.

    Time is virtual and never waits: it passes when the application sleeps, and a little with each call. A reset raises
    SystemExit; the watchdog is not watched.
    """

    def __init__(self, world: World, *, adc_reference: float = 3.3) -> None:
        self._world = world
        self._adc_reference = adc_reference
        self._now_us = 0
        self.latest = Outputs(0)
        outer = {name: sys.modules.get(name) for name in ("layout", "link", *PARTS)}
        try:
            sys.modules["layout"] = layout
            link = self._load("link")
            sys.modules["link"] = link
            for name in PARTS:
                sys.modules[name] = self._load(name)
            self.machine = self._load("machine")
            self.time = self._load("time")
        finally:
            for name, module in outer.items():
                if module is None:
                    sys.modules.pop(name, None)
                else:
                    sys.modules[name] = module
        link.connect(self._swap)
        link.exchange(0)

    def picture(self, address: int) -> Picture | None:
        """What the display at that address shows; None: there is none."""
        device = self.machine.I2C._devices.get(address)
        return None if device is None else messages.picture_of(device.state)

    @staticmethod
    def _load(name: str) -> ModuleType:
        spec = importlib.util.spec_from_file_location(f"virtual_chip_{name}", CHIP_FOLDER / f"{name}.py")
        assert spec is not None and spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(module)
        return module

    def _swap(self, request: "array[int]", reply: "array[int]") -> None:
        if request[layout.KIND] == layout.RESET:
            raise SystemExit("machine.reset()")
        before_ms = self._now_us // 1000
        self._now_us += request[layout.SPENT_US] + request[layout.WAIT_US]
        now_ms = self._now_us // 1000
        self.latest = messages.driven_by(request[layout.REGISTERS :], before_ms)
        inputs = self._world.step(now_ms - before_ms, self.latest)
        packed = messages.pack_reply(
            request[layout.SEQUENCE], self._now_us, layout.PWRON_RESET, self._adc_reference, inputs
        )
        reply[:] = array(layout.WORD, packed)


class BoardInProcess:
    """What the application needs of `board.Board`, on that chip: its jumper closed, nobody on its line, nothing kept over a reset."""

    before = 0

    def __init__(self, chip: ChipInProcess) -> None:
        self.machine: Any = chip.machine
        self.time: Any = chip.time
        self.i2c = self.machine.I2C(0, timeout=2000)

    def service(self) -> bool:
        return True

    def converter(self, pin: int) -> Any:
        return self.machine.ADC(self.machine.Pin(pin))

    def open_line(self) -> None:
        pass

    def close_line(self) -> None:
        pass

    def feed(self) -> None:
        pass

    def lasts(self) -> None:
        pass

    def mark(self, doing: int) -> None:
        pass

    def remember(self, on: int, armed: int, key: int) -> None:
        pass

    def remembered(self, key: int) -> tuple[int, int]:
        return 0, 0

    def now(self) -> int:
        return int(self.time.ticks_ms())

    def elapsed(self, since: int) -> int:
        return int(self.time.ticks_diff(self.time.ticks_ms(), since))

    def later(self, moment: int, ms: int) -> int:
        return int(self.time.ticks_add(moment, ms))

    def wait_until(self, due: int) -> None:
        self.time.sleep_ms(max(0, self.time.ticks_diff(due, self.time.ticks_ms())))

    def next_byte(self) -> int:
        return -1

    def say(self, line: str) -> None:
        pass
