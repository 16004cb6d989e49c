"""The options of `gaugelight choose`. No more is imported here than the words need."""

from __future__ import annotations

import argparse

PLAIN: tuple[tuple[str, str, str], ...] = (
    ("--sender", "SENDER", '"240-33 ohm", "4-20 mA", "0.5-4.5 V" (at the lowest, at the highest reading), "Pt1000", a thermistor\'s { ... } as in the box file'),
    ("--unit", "UNIT", 'of the reading: "US gal", l, psi, bar, degC, V, ...'),
    ("--pressure", "KIND", "gauge (default), sealed or absolute"),
    ("--service", "WHAT", "what a pressure is of: coolant, fuel or hydraulic: which kind of sender to buy"),
    ("--name", "NAME", "of the input"),
    ("--matters", "WHERE", "where it must be right: low, middle, high, or a reading (default: low for fuel, else high)"),
    ("--converter", "WHICH", "ads1115 (default), on-chip, either; with --into the name of one of BOX"),
    ("--step", "STEP", "the smallest change shown (default: about a hundredth of the range)"),
    ("--damping", "TIME", 'default for fuel: "12 s"'),
    ("--sender-tolerance", "TOLERANCE", 'of the sender: "2 %%" of its span, or in its unit'),
    ("--rail", "VOLTS", 'that a pull-up hangs on (default: "3.3 V", measured)'),
    ("--feed", "VOLTS", 'before the rail\'s regulator, which it passes when it fails (default: "5 V")'),
    ("--tolerance", "TOLERANCE", 'of the resistors (default: "1 %%")'),
    ("--series-of", "SERIES", "of their values: E3 to E96 (default: E24)"),
    ("--protection", "OHM", 'before the pin (default: "9.4 kohm", on-chip "4.4 kohm", of a divider "4.7 kohm")'),
    ("--wire", "LENGTH", 'of the run to the sender (assumed: "5 m", left out of the box file)'),
    ("--transmitter", "VOLTS", 'that a loop\'s transmitter needs at least (assumed: "9 V")'),
    ("--loop-drop", "VOLTS", 'lost in diode and fuse of the loop (assumed: "0.7 V")'),
    ("--bus", "VOLTS", '"14 V" or "28 V" (default: as BOX and --feed say, else 14)'),
    ("--battery", "VOLTS", 'of the bus with the alternator dead (default: "10.5 V"; of a 28 V bus 21)'),
    ("--crank", "VOLTS", 'of the bus in a starter\'s dip (default: "6 V"; of a 28 V bus 12)'),
    ("--altitude", "FEET", 'for sealed and absolute senders (default: "8000 ft")'),
    ("--dissipation", "MW", "mW that warm a temperature sender by a degree (assumed: 2, in still air)"),
)  # fmt: skip


def add(one: argparse.ArgumentParser) -> None:
    for option, metavar, text in PLAIN:
        one.add_argument(option, metavar=metavar, help=text)
    one.add_argument("--range", nargs=2, metavar=("LOW", "HIGH"), help="lowest and highest reading")
    one.add_argument(
        "--points",
        nargs="+",
        metavar="SIGNAL=READING",
        help='in the place of sender and range: "0 ohm=0" "21 ohm=4" ...',
    )
    one.add_argument(
        "--tank",
        action=argparse.BooleanOptionalAction,
        default=None,
        help="the sender sits in a fuel tank (default: where the unit is one of fuel)",
    )
    one.add_argument("--gauge", type=int, metavar="AWG", help="of the run (default: 22)")
    one.add_argument(
        "--airframe",
        metavar="VOLTS",
        nargs="?",
        const="50 mV",
        help="the sender returns through the airframe, whose ground is off by so much (without VOLTS: 50 mV)",
    )
    one.add_argument(
        "--ratiometric",
        metavar="VOLTS",
        nargs="?",
        const="5 V",
        help="a voltage that is a share of the sender's supply (without VOLTS: 5 V)",
    )
    one.add_argument("--loop-wires", type=int, choices=(2, 3), help="of a 4-20 mA transmitter (default: 2)")
    one.add_argument(
        "--two-floats", metavar="FILE", help="a tank's shape and two floats in it, wired in series"
    )
    one.add_argument("--stand-in", action="store_true", help="resistors that imitate the sender on the bench")
    one.add_argument("--bench", metavar="VOLTS", help='the bench supply for these (default: "12 V")')
    one.add_argument("--best", type=int, default=4, metavar="N", help="how many are shown (default: 4)")
    one.add_argument("-o", dest="output", metavar="FILE", help="a drawing of the first, .svg")
    one.add_argument("--into", metavar="BOX", help="a box file to which the first is added, on a free pin")
    one.add_argument("--yes", action="store_true", help="add it without being asked")
