"""The converter's driver against the register model of the chip, poll by poll."""

from typing import Any

import pytest

from gaugebox.ads1115 import ADS1115
from gaugelight.virtual import ChipInProcess, Inputs, Outputs

GAIN_4096, RATE_128 = 1, 4
TICK_MS = 20
INPUTS = [0, 1, 3]


class Bus:
    """A world with one chip at 0x48; counts what is asked of the chip."""

    def __init__(self) -> None:
        self.volts = [1.0, 2.0, 0.0, 3.3]
        self.there = True
        self.chip = ChipInProcess(self)
        machine: Any = self.chip.machine
        self.i2c = machine.I2C(0)
        self.driver = ADS1115(self.i2c, 0x48, GAIN_4096, RATE_128, INPUTS)

    def step(self, elapsed_ms: int, outputs: Outputs) -> Inputs:
        return Inputs(chips={0x48: self.volts} if self.there else {})

    def poll(self, times: int) -> list[bool]:
        time: Any = self.chip.time
        whole = []
        for _ in range(times):
            whole.append(self.driver.poll(TICK_MS))
            time.sleep_ms(TICK_MS)
        return whole


def test_one_input_a_tick_and_a_whole_scan_at_the_last() -> None:
    bus = Bus()
    assert bus.poll(10) == [False, False, False, True, False, False, True, False, False, True]
    # 4.096 V is 65536 counts; a count is twice the code of 0.125 mV (SBAS444)
    assert bus.driver.counts == [16000, 32000, 52800]


def test_the_ends_of_its_range() -> None:
    bus = Bus()
    bus.volts = [-0.2, 0.0, 0.0, 5.0]
    bus.poll(4)
    assert bus.driver.counts == [
        0,
        0,
        round(3.6 / 4.096 * 65536),
    ]  # below ground is nought; the clamp at 3.3 + 0.3 V


def test_a_chip_that_goes_is_asked_again_once_a_second_and_comes_back() -> None:
    bus = Bus()
    bus.poll(4)
    bus.there = False
    bus.poll(2)
    assert not bus.driver.alive
    asked = []
    honest = bus.i2c.writeto

    def counted(*words: object) -> None:
        asked.append(words)
        honest(*words)

    bus.i2c.writeto = counted
    bus.poll(200)  # 4 s
    assert 3 <= len(asked) <= 5
    bus.there = True
    bus.volts[0] = 0.5
    assert True in bus.poll(50 + len(INPUTS) + 1)
    assert bus.driver.alive and bus.driver.counts == [8000, 32000, 52800]


def test_a_chip_that_is_never_ready_is_dead(monkeypatch: pytest.MonkeyPatch) -> None:
    bus = Bus()
    bus.poll(4)
    honest = bus.i2c.readfrom_mem_into

    def busy(address: int, register: int, into: bytearray) -> None:
        honest(address, register, into)
        if register == 1:
            into[0] &= 0x7F

    bus.i2c.readfrom_mem_into = busy
    lives = []
    for _ in range(20):
        bus.poll(1)
        lives.append(bus.driver.alive)
    assert False in lives[:8]
    assert lives.count(True) < 10


def test_a_conversion_not_finished_is_waited_for_without_a_pause() -> None:
    """At 8 samples a second a scan of three takes 0.4 s; each poll returns at once."""
    bus = Bus()
    bus.driver = ADS1115(bus.i2c, 0x48, GAIN_4096, 0, INPUTS)
    assert bus.poll(5) == [False] * 5
    assert bus.driver.alive
