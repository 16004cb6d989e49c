"""The causes that tracing knows, and what each predicts."""

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from gaugelight.boxfile import read_box
from gaugelight.tracing import narrow
from gaugelight.tracing.causes import NONE, causes
from gaugelight.tracing.expected import meaning
from gaugelight.tracing.measurements import TRUE, Measured, available, measured, measurement_of, tolerance
from gaugelight.tracing.trace_trial import DEMO, SENDERS, _faults
from gaugelight.tracing.traced import (
    FLOAT,
    FLOATS_IN_SERIES,
    KINDS,
    LOOP,
    MILLIVOLTS,
    PLATINUM,
    RAIL,
    THERMISTOR,
    THERMOCOUPLE,
    VOLTAGE,
    VOLTS,
    Traced,
    traced,
)

FILES: dict[str, Path] = {"demo": DEMO, "senders": SENDERS}


@cache
def of(file: str, name: str) -> Traced:
    return traced(read_box(FILES[file]), name)


KIND_OF = {
    ("demo", "left fuel"): FLOAT,
    ("demo", "coolant temperature"): THERMISTOR,
    ("demo", "hydraulic"): LOOP,
    ("demo", "coolant pressure"): VOLTAGE,
    ("demo", "bus"): VOLTS,
    ("demo", "sender rail"): RAIL,
    ("senders", "left fuel"): FLOATS_IN_SERIES,
    ("senders", "right fuel"): FLOAT,  # 240-33: falling
    ("senders", "box temperature"): THERMISTOR,
    ("senders", "oil temperature"): PLATINUM,
    ("senders", "manifold"): VOLTAGE,
    ("senders", "exhaust"): THERMOCOUPLE,
    ("senders", "current"): MILLIVOLTS,
}


@pytest.mark.parametrize("where, kind", KIND_OF.items(), ids=[" ".join(where) for where in KIND_OF])
def test_kind(where: tuple[str, str], kind: str) -> None:
    assert of(*where).kind == kind


def test_every_kind_is_among_them() -> None:
    assert set(KIND_OF.values()) == set(KINDS)


# what the issue names, by the beginning of the cause's name
EVERYWHERE = ["nothing wrong"]
WIRED = ["signal wire open", "corroded contact", "bus voltage on the signal wire", "its converter is silent"]
ASKED_FOR = {
    ("demo", "left fuel"): [
        *WIRED, "signal wire shorted to ground", "resistance in the sender's return", "the sender's ground stands above", "the sender's return is open",
        "float stuck", "worn track", "sender the other way round", "a sender of 240 ohm empty, 33", "a sender of 0 ohm empty, 180",
        "a sender of 10 ohm empty, 180", "a pull-up of another value", "the pull-up is open", "the sender rail is missing",
    ],
    ("senders", "left fuel"): [*WIRED, "first float stuck", "second float stuck", "first float shorted", "second float open"],
    ("senders", "right fuel"): [*WIRED, "a sender of 0 ohm empty, 90", "sender the other way round"],
    ("demo", "hydraulic"): [
        *WIRED, "loop supply too low", "transducer dead", "transducer stuck at its lowest", "transducer stuck at its highest", "the shunt is burnt open",
        "a shunt of another value", "transducer's two wires exchanged", "its supply wire is open",
    ],
    ("demo", "coolant pressure"): ["signal wire open", "sender dead", "the sender's ground stands above", "the divider's lower resistor is open"],
    ("demo", "sender rail"): ["the rail is missing", "the rail is low"],
    ("senders", "exhaust"): ["its two wires exchanged", "a thermocouple of type J", "copper wire", "thermocouple open inside"],
}  # fmt: skip


@pytest.mark.parametrize("where", ASKED_FOR, ids=" ".join)
def test_causes_asked_for(where: tuple[str, str]) -> None:
    names = [cause.name for cause in causes(of(*where))]
    assert len(names) == len(set(names))
    assert names[0] == "nothing wrong"
    missing = [
        one for one in EVERYWHERE + ASKED_FOR[where] if not any(name.startswith(one) for name in names)
    ]
    assert missing == []


def test_its_own_standard_is_no_fault() -> None:
    assert "a sender of 0 ohm empty, 90 ohm full" not in [
        cause.name for cause in causes(of("demo", "left fuel"))
    ]
    assert "a sender of 240 ohm empty, 33 ohm full" not in [
        cause.name for cause in causes(of("senders", "right fuel"))
    ]


def test_a_standard_near_its_own_is_no_fault(tmp_path: Path) -> None:
    """A float that was found to go from 1 to 88 ohm is one of 0 to 90."""
    file = tmp_path / "found.toml"
    file.write_text(
        DEMO.read_text().replace('["0 ohm", 0]', '["1 ohm", 0]').replace('["90 ohm", 18]', '["88 ohm", 18]')
    )
    names = [cause.name for cause in causes(traced(read_box(file), "left fuel"))]
    assert (
        "a sender of 0 ohm empty, 90 ohm full" not in names
        and "a sender of 0 ohm empty, 180 ohm full" in names
    )


@pytest.mark.parametrize("where", KIND_OF, ids=" ".join)
def test_the_trial_puts_in_every_cause(where: tuple[str, str]) -> None:
    faults = _faults(of(*where))
    names = [cause.name for cause in causes(of(*where))]
    assert [name for name in names if not any(name.startswith(fault) for fault in faults)] == []
    assert [fault for fault in faults if not any(name.startswith(fault) for name in names)] == []


@pytest.mark.parametrize(
    "where",
    [("demo", "left fuel"), ("demo", "hydraulic"), ("senders", "manifold"), ("senders", "exhaust")],
    ids=" ".join,
)
def test_a_cause_fits_what_it_predicts(where: tuple[str, str]) -> None:
    """Whatever is unknown of it: what it predicts for three measurements, given as measured, leaves it there."""
    one = of(*where)
    random = np.random.default_rng(3)
    for cause in causes(one):
        state = random.uniform(0.1, 0.9, (1, 1 + len(cause.unknown)))
        found = []
        for measurement in available(one)[:4]:
            low, high = (float(end[0]) for end in narrow.predictions(one, cause, state, measurement))
            value = (low + high) / 2
            off = one.known_level_off if measurement.what == TRUE else tolerance(one, measurement, value)
            found.append(Measured(measurement, value, value, off, ""))
        assert narrow.left(one, [cause], found)[0].fits, (cause.name, [each.value for each in found])


# of its travel, one standard uncertainty: half-widths of 3 % of a fuel sender's span and 4 of 210 degF, over the root of 3; assumed ones
SENDER_OFF = {
    ("demo", "left fuel"): 0.03,
    ("demo", "coolant temperature"): 0.03,
    ("demo", "hydraulic"): 0.01,
    ("senders", "left fuel"): 0.03,
    ("senders", "coolant temperature"): 4 / 210,
    ("demo", "bus"): 0.0,
}


@pytest.mark.parametrize(
    "where, half_width", SENDER_OFF.items(), ids=[" ".join(where) for where in SENDER_OFF]
)
def test_what_a_sender_may_be_off_by(where: tuple[str, str], half_width: float) -> None:
    assert of(*where).sender_off == pytest.approx(half_width / 3**0.5)


# --- against something outside ---

# NAMUR NE 43: a signal is a measurement from 3.8 to 20.5 mA, a failure up to 3.6 and from 21 mA on (as the box's own default)
NE_43 = {
    "3.5": False,
    "3.6": False,
    "3.8": True,
    "4.0": True,
    "12": True,
    "20.0": True,
    "20.5": False,
    "21": False,
    "22": False,
}


@pytest.mark.parametrize("milliamperes, good", NE_43.items())
def test_loops_as_namur_ne_43_has_them(milliamperes: str, good: bool) -> None:
    """20.5 mA is a measurement still, but above a sender's own tolerance: nobody's full scale."""
    one = of("demo", "hydraulic")
    found = [measured(one, measurement_of(one, "mA at the connector"), milliamperes)]
    nothing = narrow.left(one, causes(one)[:1], found)[0]
    assert nothing.cause.repair == NONE and nothing.fits == good


def test_a_pt1000_as_iec_60751_has_it() -> None:
    """1385.1 ohm at 100 degC (IEC 60751:2008, table of a Pt100: 138.51)."""
    one = of("senders", "oil temperature")
    level = meaning(one, measurement_of(one, "ohms at the sender"), 1385.1)
    assert level is not None and one.reading(level) == pytest.approx(100.0, abs=0.05)


def test_a_type_k_as_its_90_has_it() -> None:
    """20.644 mV at 500 degC, 0.798 at 20 (NIST Monograph 175, reference junction at 0 degC)."""
    one = of("senders", "exhaust")
    level = meaning(one, measurement_of(one, "volts at the connector"), 20.644 - 0.798)
    assert one.cold == 20.0 and level is not None and one.reading(level) == pytest.approx(500.0, abs=0.1)
