"""What the box and the aircraft see of each other, and how it is packed into the messages of `chip/layout.py`."""

import struct
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Protocol

from gaugelight.virtual.chip import layout, ssd1306_chip

PIN_COUNT = 30
TEMPERATURE_SENSOR_V = 0.706  # at 27 degC (RP2040 data sheet, 4.9.5)

_REQUEST = struct.Struct(f"={layout.REQUEST_WORDS}q")
_REPLY = struct.Struct(f"={layout.REPLY_WORDS}q")
_REGISTERS = struct.Struct(f"={layout.REGISTER_WORDS}q")
REQUEST_BYTES = _REQUEST.size
NO_REGISTERS = (0,) * layout.REGISTER_WORDS


@dataclass(frozen=True)
class Trouble:
    """What is wrong with an ADS1115, or with the display, that has its supply and answers to its address."""

    refuses_data: bool = False
    """It acknowledges its address but no byte written to it."""
    never_ready: bool = False
    """Its clock stands still: a conversion that has begun does not end."""
    resets: int = 0
    """How often it has reset itself, as a short dip of its supply makes it do; one more: it does so now."""
    rate: float = 1.0
    """Its data rate as a share of nominal; the data sheet (SBAS444) allows 0.9 to 1.1."""


WELL = Trouble()


@dataclass
class Inputs:
    """What the aircraft puts on the pins."""

    volts: dict[int, float] = field(default_factory=dict)
    """On-chip converter pin (26 to 29): volts at the pin; a pin not in it is at 0 V."""
    chips: dict[int, list[float]] = field(default_factory=dict)
    """I2C address of an ADS1115: volts at its inputs 0..3; an address not in it does not answer."""
    levels: dict[int, int] = field(default_factory=dict)
    """Digital inputs driven from outside, 0 or 1; a pin not in it floats and follows its pull."""
    troubles: dict[int, Trouble] = field(default_factory=dict)
    """I2C address of an ADS1115 or of the display: what is wrong with it; has no effect on one that does not answer."""
    display: int = 0
    """I2C address of an SSD1306; 0: there is none, or it has lost its supply."""
    noise: float = 0.0
    """Volts RMS on every reading of the on-chip converter, each its own."""
    bus_stuck: bool = False
    """Something holds SDA low: every transaction ends in a time-out."""
    hangs: int = 0
    """Parts of the chip that never come back from being used: bits of `chip/layout.py`."""


@dataclass(frozen=True)
class Outputs:
    """What the box drives."""

    now_ms: int
    """Virtual milliseconds since the box was made; goes on through resets."""
    pwm: dict[int, tuple[int, int]] = field(default_factory=dict)
    """Pin: frequency in Hz, duty 0..65535 as commanded."""
    levels: dict[int, int] = field(default_factory=dict)
    """Pin driven to a steady level, 0 or 1; also one whose PWM slice has been stopped, which keeps its last level."""


@dataclass(frozen=True)
class Picture:
    """What the display shows. dots: 64 rows of 128, from the top; nothing is lit while it is off."""

    dots: tuple[tuple[bool, ...], ...]
    contrast: int
    on: bool


def picture_of(state: bytes | bytearray) -> Picture:
    """From the state that chip/ssd1306_chip.py keeps."""
    on = bool(state[ssd1306_chip.ON] and state[ssd1306_chip.SET_UP])
    inverted, all_on = bool(state[ssd1306_chip.INVERTED]), bool(state[ssd1306_chip.ALL_ON])
    dots = tuple(
        tuple(
            on and (all_on or bool(state[y // 8 * ssd1306_chip.WIDTH + x] >> y % 8 & 1) != inverted)
            for x in range(ssd1306_chip.WIDTH)
        )
        for y in range(8 * ssd1306_chip.PAGES)
    )
    return Picture(dots, state[ssd1306_chip.CONTRAST], on)


class World(Protocol):
    def step(self, elapsed_ms: int, outputs: Outputs) -> Inputs:
        """Let `elapsed_ms` pass with the box driving `outputs`; what it sees then.

        Called once per exchange, from the box's thread, with the whole milliseconds since the last call (0 at times).
        """
        ...


def unpack_request(message: bytes) -> tuple[int, ...]:
    return _REQUEST.unpack(message)


def pack_registers(registers: Sequence[int]) -> bytes:
    return _REGISTERS.pack(*registers)


def after_soft_reset(registers: Sequence[int]) -> tuple[int, ...]:
    """MicroPython for this chip stops the PWM slices 0 to 3 and forgets the others, which go on."""
    kept = list(registers)
    kept[layout.PWM_RUNNING - layout.REGISTERS] &= 0xF0
    return tuple(kept)


def after_reset(registers: Sequence[int]) -> tuple[int, ...]:
    """What outlives a reset of the chip that is none of its supply."""
    scratch = layout.SCRATCH - layout.REGISTERS
    kept = list(NO_REGISTERS)
    kept[scratch : scratch + layout.SCRATCH_WORDS] = registers[scratch : scratch + layout.SCRATCH_WORDS]
    return tuple(kept)


def driven_by(
    registers: Sequence[int], now_ms: int, before: Sequence[int] = (), drove: Outputs | None = None
) -> Outputs:
    """What the registers drive; `drove` is what `before` drove, which saves the work while nothing changes."""
    outputs = slice(layout.DRIVEN - layout.REGISTERS, layout.SCRATCH - layout.REGISTERS)
    if drove is not None and registers[outputs] == before[outputs]:
        return Outputs(now_ms, drove.pwm, drove.levels)

    def word(name: int) -> int:
        return registers[name - layout.REGISTERS]

    pwm: dict[int, tuple[int, int]] = {}
    levels: dict[int, int] = {}
    for pin in range(PIN_COUNT):
        if word(layout.PWM_PINS) >> pin & 1:
            pwm_slice = pin >> 1 & 7
            duty = word(layout.PWM_DUTY + (pin & 15))
            if word(layout.PWM_RUNNING) >> pwm_slice & 1:
                pwm[pin] = (word(layout.PWM_FREQ + pwm_slice), duty)
            else:  # stopped at some point of its period: most likely where it spent most of the time
                levels[pin] = int(duty > 32767)
        elif word(layout.DRIVEN) >> pin & 1:
            levels[pin] = word(layout.LATCH) >> pin & 1
    return Outputs(now_ms, pwm, levels)


def pack_reply(answered: int, now_us: int, reset_cause: int, adc_reference: float, inputs: Inputs) -> bytes:
    """`now_us` counts from the chip's power-up; raises ValueError when the inputs do not fit the chip."""
    if len(inputs.chips) > layout.CHIPS_MAX:
        raise ValueError(
            f"{len(inputs.chips)} converter chips; the virtual box has room for {layout.CHIPS_MAX}"
        )
    words = [0] * layout.REPLY_WORDS
    words[layout.ANSWERED] = answered
    words[layout.NOW_US] = layout.START_US + now_us
    words[layout.RESET_CAUSE] = reset_cause
    words[layout.ADC_REFERENCE_NV] = _nanovolts(adc_reference)
    for pin, level in inputs.levels.items():
        words[layout.FORCED] |= 1 << pin
        words[layout.LEVELS] |= int(bool(level)) << pin
    words[layout.ADC_NV + 4] = _nanovolts(TEMPERATURE_SENSOR_V)
    for pin, volts in inputs.volts.items():
        if not 26 <= pin <= 29:
            raise ValueError(f"volts on pin {pin}: the on-chip converter has pins 26 to 29")
        words[layout.ADC_NV + pin - 26] = _nanovolts(volts)
    words[layout.BUS_STUCK] = inputs.bus_stuck
    words[layout.ADC_NOISE_NV] = _nanovolts(inputs.noise)
    words[layout.HANGS] = inputs.hangs
    words[layout.DISPLAY] = inputs.display
    trouble = inputs.troubles.get(inputs.display, WELL)
    words[layout.DISPLAY_REFUSES_DATA] = trouble.refuses_data
    words[layout.DISPLAY_RESETS] = trouble.resets
    words[layout.CHIP_COUNT] = len(inputs.chips)
    at = layout.CHIPS
    for address, pins in inputs.chips.items():
        if len(pins) != 4:
            raise ValueError(f"chip at 0x{address:02x}: {len(pins)} voltages; an ADS1115 has 4 inputs")
        trouble = inputs.troubles.get(address, WELL)
        rate_ppm = round(trouble.rate * 1e6)
        if rate_ppm < 1:
            raise ValueError(
                f"chip at 0x{address:02x}: data rate {trouble.rate} of nominal; it must be above 0"
            )
        words[at : at + layout.CHIP_WORDS] = [
            address,
            *map(_nanovolts, pins),
            trouble.refuses_data,
            trouble.never_ready,
            trouble.resets,
            rate_ppm,
        ]
        at += layout.CHIP_WORDS
    return _REPLY.pack(*words)


def _nanovolts(volts: float) -> int:
    return round(volts * 1e9)
