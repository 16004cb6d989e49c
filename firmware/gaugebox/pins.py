"""Which pin of which board does what; the board adaptor and the host's checks both read it."""

BOARD = "rp2040"

SDA = 4
SCL = 5
JUMPER = 22  # the service jumper: to ground when closed
CONVERTER_PINS = (26, 27, 28)
OUTPUT_PINS = (0, 1, 2, 3, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18, 19, 20, 21)


def pwm_slice(pin: int) -> int:
    """The PWM slice that drives a pin; pins of one slice share a frequency (RP2040 data sheet, section 4.5.2)."""
    return (pin >> 1) & 7
