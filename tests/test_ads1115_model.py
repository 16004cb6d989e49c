"""The virtual ADS1115 against its data sheet (Texas Instruments SBAS444, sections by their names)."""

from dataclasses import dataclass, field
from typing import Any

import pytest

from gaugelight.virtual import ChipInProcess, Inputs, Outputs, Trouble

ADDRESS = 0x48
CONVERSION, CONFIG, LOW_THRESHOLD, HIGH_THRESHOLD = range(4)
START, SINGLE_SHOT, CONTINUOUS = 0x8000, 0x0100, 0x0000
NOT_ACKNOWLEDGED, TIMED_OUT = 5, 110  # errno on the board


@dataclass
class Bus:
    """A bus on which one chip is asked; the test sets what its pins see."""

    volts: list[float] = field(default_factory=lambda: [0.0] * 4)
    trouble: Trouble = Trouble()
    timeout_us: int = 2000

    def __post_init__(self) -> None:
        self.inputs = Inputs(chips={ADDRESS: self.volts}, troubles={ADDRESS: self.trouble})
        chip: Any = ChipInProcess(self)
        self.time = chip.time
        self.i2c = chip.machine.I2C(0, freq=1_000_000, timeout=self.timeout_us)

    def step(self, elapsed_ms: int, outputs: Outputs) -> Inputs:
        return self.inputs

    def suffer(self, **trouble: Any) -> None:
        """From now on."""
        self.inputs.troubles = {ADDRESS: Trouble(**trouble)}
        self.time.sleep_ms(0)

    def read(self, register: int) -> int:
        return int.from_bytes(self.i2c.readfrom_mem(ADDRESS, register, 2), "big")

    def write(self, register: int, word: int) -> None:
        self.i2c.writeto_mem(ADDRESS, register, word.to_bytes(2, "big"))

    def busy(self) -> bool:
        return not self.read(CONFIG) & START

    def code(self) -> int:
        """Of the last conversion, as a signed number."""
        word = self.read(CONVERSION)
        return word - 0x10000 if word & 0x8000 else word

    def convert(self, mux: int, gain: int) -> int:
        """A single shot at 860 a second."""
        self.write(CONFIG, START | mux << 12 | gain << 9 | SINGLE_SHOT | 7 << 5 | 3)
        self.time.sleep_ms(2)
        assert not self.busy()
        return self.code()


# -- registers


def test_registers_after_power_up() -> None:
    """Register map: the reset values; the pointer register is 0."""
    bus = Bus([1.0, 0.0, 0.0, 0.0])
    assert bus.i2c.readfrom(ADDRESS, 2) == b"\x00\x00"
    bus.time.sleep_ms(500)  # powered down: nothing is converted
    assert [bus.read(register) for register in range(4)] == [0x0000, 0x8583, 0x8000, 0x7FFF]


def test_the_pointer_stays_where_it_was_set() -> None:
    bus = Bus()
    bus.i2c.writeto(ADDRESS, b"\x03\x12\x34")
    assert bus.i2c.readfrom(ADDRESS, 2) == bus.i2c.readfrom(ADDRESS, 2) == b"\x12\x34"
    bus.i2c.writeto(ADDRESS, b"\x02")
    assert bus.i2c.readfrom(ADDRESS, 2) == b"\x80\x00"
    bus.write(CONVERSION, 0x5555)  # read only
    assert bus.read(CONVERSION) == 0


# -- conversions

VOLTS = [0.25, 0.5, 1.0, 2.0]


@pytest.mark.parametrize(
    ("mux", "plus_less_minus"),
    # Config register, MUX: AINP and AINN
    [
        (0, 0.25 - 0.5),
        (1, 0.25 - 2.0),
        (2, 0.5 - 2.0),
        (3, 1.0 - 2.0),
        (4, 0.25),
        (5, 0.5),
        (6, 1.0),
        (7, 2.0),
    ],
    ids=["0 and 1", "0 and 3", "1 and 3", "2 and 3", "0", "1", "2", "3"],
)
def test_mux(mux: int, plus_less_minus: float) -> None:
    assert Bus(VOLTS).convert(mux, 1) == plus_less_minus / 125e-6  # the step of the 4.096 V range


@pytest.mark.parametrize(
    ("gain", "full_scale", "step"),
    # Full-scale range and LSB size; the codes 101, 110 and 111 are the same range (Config register, PGA)
    [
        (0, 6.144, 187.5e-6),
        (1, 4.096, 125e-6),
        (2, 2.048, 62.5e-6),
        (3, 1.024, 31.25e-6),
        (4, 0.512, 15.625e-6),
        (5, 0.256, 7.8125e-6),
        (6, 0.256, 7.8125e-6),
        (7, 0.256, 7.8125e-6),
    ],
)
def test_ranges(gain: int, full_scale: float, step: float) -> None:
    """Input signal versus ideal output code: 0x7FFF from one step below full scale, 0x8000 from minus full scale."""
    reach = min(full_scale, 3.6)  # what a chip on 3.3 V can be shown
    top = round(reach / step)
    for volts, code in (
        (0.0, 0),
        (step, 1),
        (2 * step, 2),
        (100 * step, 100),
        (reach - 2 * step, top - 2),
        (reach - step, top - 1),
        (reach, min(top, 0x7FFF)),
        (full_scale * 1.1, min(top, 0x7FFF)),
    ):
        assert Bus([volts, 0.0, 0.0, 0.0]).convert(4, gain) == code, volts
        assert Bus([0.0, volts, 0.0, 0.0]).convert(0, gain) == (-top if volts >= reach else -code), -volts


@pytest.mark.parametrize(
    ("volts", "seen"),
    # Absolute maximum ratings: analog inputs from GND - 0.3 V to VDD + 0.3 V; the model holds them there
    [(3.3, 3.3), (3.59, 3.59), (3.6, 3.6), (9.0, 3.6), (-0.29, -0.29), (-0.3, -0.3), (-5.0, -0.3)],
)
def test_input_limits_on_a_supply_of_3_3_volts(volts: float, seen: float) -> None:
    assert Bus([volts, 0.0, 0.0, 0.0]).convert(4, 0) == round(seen / 187.5e-6)


# -- time

RATES = {8: 0, 16: 1, 32: 2, 64: 3, 128: 4, 250: 5, 475: 6, 860: 7}  # Config register, DR


@pytest.mark.parametrize("share", [0.9, 1.0, 1.1])  # Electrical characteristics: data rate variation +-10 %
@pytest.mark.parametrize("per_second, rate", RATES.items())
def test_conversion_time(per_second: int, rate: int, share: float) -> None:
    """Output data rate and conversion time: 1 / DR; single-shot mode: powers up in about 25 us."""
    expected_us = 25 + round(1e6 / (per_second * share))
    bus = Bus([1.0, 0.0, 0.0, 0.0], Trouble(rate=share))
    bus.write(CONFIG, START | 4 << 12 | 1 << 9 | SINGLE_SHOT | rate << 5 | 3)
    started_us = bus.time.ticks_us()
    bus.time.sleep_us(expected_us - 200)
    assert bus.busy() and bus.code() == 0
    bus.i2c.writeto(ADDRESS, b"\x01")
    while not bus.i2c.readfrom(ADDRESS, 1)[0] & 0x80:
        pass
    took_us = bus.time.ticks_diff(bus.time.ticks_us(), started_us)
    assert expected_us - 1 <= took_us <= expected_us + 21  # the last look takes 20
    assert bus.code() == 8000


def test_a_single_shot_is_what_was_there_then() -> None:
    bus = Bus([1.0, 0.0, 0.0, 0.0])
    assert bus.convert(4, 1) == 8000
    bus.volts[0] = 2.0
    bus.time.sleep_ms(500)
    assert bus.code() == 8000


@pytest.mark.parametrize("per_second, rate", RATES.items())
def test_continuous_conversions(per_second: int, rate: int) -> None:
    """Continuous-conversion mode: one after the other; the configuration always says that one is under way."""
    bus = Bus([1.0, 0.0, 0.0, 0.0])
    bus.write(CONFIG, 4 << 12 | 1 << 9 | CONTINUOUS | rate << 5 | 3)
    started_us = bus.time.ticks_us()
    code = 0
    for number, volts in enumerate((1.0, 2.0, 3.0, 1.5), 1):
        bus.volts[0] = volts
        bus.time.sleep_ms(0)
        ends_us = 25 + number * 1_000_000 // per_second
        for at_us, expected in ((ends_us - 200, code), (ends_us + 20, round(volts * 8000))):
            bus.time.sleep_us(at_us - bus.time.ticks_diff(bus.time.ticks_us(), started_us))
            assert bus.code() == expected and bus.busy()
        code = expected


def test_a_long_silence_in_continuous_mode_is_made_up_for() -> None:
    bus = Bus([1.0, 0.0, 0.0, 0.0])
    bus.write(CONFIG, 4 << 12 | 1 << 9 | CONTINUOUS | 7 << 5 | 3)
    bus.time.sleep_ms(90)  # one wait in which some eighty conversions end
    assert bus.code() == 8000
    bus.write(CONFIG, 4 << 12 | 2 << 9 | CONTINUOUS | 7 << 5 | 3)
    bus.time.sleep_ms(90)
    assert bus.code() == 16000


# -- a new configuration during a conversion

SLOW = 0 << 5 | 3  # 8 a second: 125 ms
AT_0 = 4 << 12 | 1 << 9  # 0.25 V is code 2000
AT_3 = 7 << 12 | 1 << 9  # 2.0 V is code 16000
# Config register, OS: "no effect when a conversion is ongoing"; continuous-conversion mode: a conversion under way is completed
# with the previous settings, then those with the new ones start.
CHANGES = {
    # first, then at 60 ms; code and OS at 100, 150 and 300 ms
    "started again": (START | AT_0 | SINGLE_SHOT, START | AT_3 | SINGLE_SHOT, (0, 0), (2000, 1), (2000, 1)),
    "settings only": (START | AT_0 | SINGLE_SHOT, AT_3 | SINGLE_SHOT, (0, 0), (2000, 1), (2000, 1)),
    "now continuous": (START | AT_0 | SINGLE_SHOT, AT_3 | CONTINUOUS, (0, 0), (2000, 0), (16000, 0)),
    "continuous, another": (AT_0 | CONTINUOUS, AT_3 | CONTINUOUS, (0, 0), (2000, 0), (16000, 0)),
    "now single-shot": (AT_0 | CONTINUOUS, START | AT_3 | SINGLE_SHOT, (0, 0), (2000, 1), (2000, 1)),
    "now powered down": (AT_0 | CONTINUOUS, AT_3 | SINGLE_SHOT, (0, 0), (2000, 1), (2000, 1)),
    "not started": (AT_0 | SINGLE_SHOT, AT_3 | SINGLE_SHOT, (0, 1), (0, 1), (0, 1)),
}


@pytest.mark.parametrize(
    "first, second, at_100, at_150, at_300", CHANGES.values(), ids=[name.replace(",", "") for name in CHANGES]
)
def test_change_during_a_conversion(
    first: int, second: int, at_100: tuple[int, int], at_150: tuple[int, int], at_300: tuple[int, int]
) -> None:
    bus = Bus(VOLTS)
    bus.write(CONFIG, first | SLOW)
    bus.time.sleep_ms(60)
    bus.write(CONFIG, second | SLOW)
    seen = []
    for wait_ms in (40, 50, 150):
        bus.time.sleep_ms(wait_ms)
        assert bus.read(CONFIG) & 0x7FFF == (second | SLOW) & 0x7FFF
        seen.append((bus.code(), int(not bus.busy())))
    assert seen == [at_100, at_150, at_300]


# -- reset


def test_general_call_resets_every_chip_on_the_bus() -> None:
    """I2C general call: address 0, 0x06; other second bytes have no effect."""
    bus = Bus([1.0, 0.0, 0.0, 0.0])
    bus.inputs.chips[0x49] = [2.0, 0.0, 0.0, 0.0]
    bus.time.sleep_ms(0)
    for address in (0x48, 0x49):
        bus.i2c.writeto(address, b"\x01\x42\xe3")  # continuous
    bus.time.sleep_ms(10)
    bus.i2c.writeto(0, b"\x04")
    assert [bus.i2c.readfrom_mem(address, 1, 2) for address in (0x48, 0x49)] == [b"\x42\xe3"] * 2
    bus.i2c.writeto(0, b"\x06")
    bus.time.sleep_ms(10)
    assert [bus.i2c.readfrom_mem(address, 1, 2) for address in (0x48, 0x49)] == [b"\x85\x83"] * 2
    assert [bus.i2c.readfrom_mem(address, 0, 2) for address in (0x48, 0x49)] == [b"\0\0"] * 2
    bus.inputs.chips.clear()
    bus.time.sleep_ms(0)
    with pytest.raises(OSError) as error:
        bus.i2c.writeto(0, b"\x06")
    assert error.value.errno == NOT_ACKNOWLEDGED


# -- troubles


def test_a_chip_without_supply_does_not_answer_and_comes_back_reset() -> None:
    bus = Bus([1.0, 0.0, 0.0, 0.0])
    assert bus.convert(4, 1) == 8000
    powered, bus.inputs.chips = bus.inputs.chips, {}
    bus.time.sleep_ms(20)
    assert bus.i2c.scan() == []
    with pytest.raises(OSError) as error:
        bus.read(CONFIG)
    assert error.value.errno == NOT_ACKNOWLEDGED
    bus.inputs.chips = powered
    bus.time.sleep_ms(20)
    assert (bus.read(CONFIG), bus.read(CONVERSION)) == (0x8583, 0)


def test_refuses_data() -> None:
    """It is there when the bus is scanned, and gives what its pointer is at; nothing can be written."""
    bus = Bus([1.0, 0.0, 0.0, 0.0])
    assert bus.convert(4, 1) == 8000
    bus.suffer(refuses_data=True)
    assert bus.i2c.scan() == [ADDRESS]
    for refused in (
        lambda: bus.write(CONFIG, 0x8583),
        lambda: bus.read(CONFIG),
        lambda: bus.i2c.writeto(0, b"\x06"),
    ):
        with pytest.raises(OSError) as error:
            refused()
        assert error.value.errno == NOT_ACKNOWLEDGED
    assert bus.i2c.readfrom(ADDRESS, 2) == (8000).to_bytes(2, "big")
    bus.suffer()
    assert bus.read(CONFIG) == 0xC3E3


def test_never_ready() -> None:
    bus = Bus([1.0, 0.0, 0.0, 0.0], Trouble(never_ready=True))
    bus.write(CONFIG, 0xC3E3)
    bus.time.sleep_ms(1000)
    assert bus.busy() and bus.code() == 0
    bus.suffer()
    assert not bus.busy() and bus.code() == 8000


def test_resets_are_counted() -> None:
    bus = Bus([1.0, 0.0, 0.0, 0.0], Trouble(resets=3))
    for resets in (4, 5):
        assert bus.convert(4, 1) == 8000
        bus.time.sleep_ms(20)
        assert bus.code() == 8000  # the count as it was: none
        bus.suffer(resets=resets)
        assert (bus.read(CONFIG), bus.read(CONVERSION)) == (0x8583, 0)


@pytest.mark.parametrize("timeout_us", [2000, 50_000])
def test_a_bus_held_low_times_out(timeout_us: int) -> None:
    bus = Bus([1.0, 0.0, 0.0, 0.0], timeout_us=timeout_us)
    assert bus.convert(4, 1) == 8000
    bus.inputs.bus_stuck = True
    bus.time.sleep_ms(0)
    for transaction in (
        lambda: bus.write(CONFIG, 0x8583),
        lambda: bus.read(CONFIG),
        lambda: bus.i2c.readfrom(ADDRESS, 2),
        lambda: bus.i2c.writeto(0x4B, b"\0"),
        lambda: bus.i2c.writeto(0, b"\x06"),
    ):
        before = bus.time.ticks_us()
        with pytest.raises(OSError) as error:
            transaction()
        assert error.value.errno == TIMED_OUT
        assert timeout_us <= bus.time.ticks_diff(bus.time.ticks_us(), before) < timeout_us + 20
    # MicroPython's rp2 port scans by writes of no byte, which it clocks out by program: SDA low is an acknowledgement
    assert bus.i2c.scan() == list(range(0x08, 0x78))
    bus.inputs.bus_stuck = False
    bus.time.sleep_ms(0)
    assert bus.i2c.scan() == [ADDRESS] and bus.code() == 8000


def test_a_data_rate_must_be_above_nought() -> None:
    bus = Bus()
    with pytest.raises(ValueError, match="chip at 0x48: data rate 0 of nominal; it must be above 0"):
        bus.suffer(rate=0)
