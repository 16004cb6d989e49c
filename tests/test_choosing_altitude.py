"""Which pressure sender to buy, against the tables of ISO 2533."""

import re
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelight.choosing.altitude import SERVICES, advise, error, said, shut_in, table

# ISO 2533:1975, Addendum 2:1997, table by geopotential altitude in feet: hPa. A psi is 68.94757 hPa (NIST SP 811, appendix B)
HPA = {0: 1013.25, 5000: 843.073, 8000: 752.624, 10_000: 696.816, 12_000: 644.408, 15_000: 571.819}
PSI = 68.94757

# kind, what is wanted: the sign with which the air that is missing goes into the reading
SIGNS = {
    ("gauge", "gauge"): 0,
    ("sealed", "gauge"): -1,
    ("absolute", "gauge"): -1,
    ("gauge", "absolute"): 1,
    ("sealed", "absolute"): 0,
    ("absolute", "absolute"): 0,
}


@pytest.mark.parametrize("feet", HPA)
@pytest.mark.parametrize("kind, wanted", SIGNS)
def test_error_by_the_table(kind: str, wanted: str, feet: int) -> None:
    missing = (1013.25 - HPA[feet]) / PSI
    assert error(kind, wanted, feet) == pytest.approx(SIGNS[kind, wanted] * missing, abs=1e-4)


@given(st.floats(-6000, 60_000), st.floats(1, 3000))
def test_a_pressure_followed_by_hand(feet: float, gauge_psi: float) -> None:
    """What each kind says of a vessel, from its own definition: its reading less what it stands for at sea level."""
    from gaugelight.atmosphere import pressure_psi_at_feet

    air = pressure_psi_at_feet(feet)
    inside = air + gauge_psi
    says = {"gauge": inside - air, "sealed": inside - 1013.25 / PSI, "absolute": inside}
    for kind, reading in says.items():
        as_gauge = reading - 1013.25 / PSI if kind == "absolute" else reading
        as_absolute = reading if kind == "absolute" else reading + 1013.25 / PSI
        assert error(kind, "gauge", feet) == pytest.approx(as_gauge - gauge_psi, abs=1e-5)
        assert error(kind, "absolute", feet) == pytest.approx(as_absolute - inside, abs=1e-5)


# Gay-Lussac: 1 bar at 15 degC is 1.2950 bar at 100 degC (373.15 K over 288.15 K, by hand)
WARMED = {15.0: 0.0, 100.0: 0.29498 * 1013.25 / PSI, -40.0: -0.190873 * 1013.25 / PSI}


@pytest.mark.parametrize("celsius, psi", WARMED.items())
def test_air_shut_in(celsius: float, psi: float) -> None:
    assert shut_in(celsius) == pytest.approx(psi, abs=1e-4)


# service, range, unit, ceiling: what to buy, what it is off by, what its reasons must say
ADVICE: dict[str, tuple[tuple[Any, ...], str, float, list[str]]] = {
    "coolant": (("coolant", 30, "psi", 8000), "gauge", 0.0, ["3.78 psi less at 8,000 ft", "13 % of its range", "vent must breathe", "boil"]),
    "coolant, wide range": (("coolant", 1000, "psi", 8000), "gauge", 0.0, ["leak"]),
    "fuel": (("fuel", 15, "psi", 12_500), "gauge", 0.0, ["vented", "nothing of a pressure below"]),
    "fuel, wide range": (("fuel", 100, "psi", 12_500), "gauge", 0.0, ["5.53 psi less"]),
    "hydraulic": (("hydraulic", 1500, "psi", 10_000), "sealed", -4.589, ["no vent", "vacuum", "0.31 %", "less than a sender of 1 %"]),
    "hydraulic, low": (("hydraulic", 100, "psi", 10_000), "gauge", 0.0, ["more than a sender of 1 %", "vent must breathe"]),
    "hydraulic, in bar": (("hydraulic", 100, "bar", 10_000), "sealed", -0.31643, ["0.32 %", "another 0.19 bar less at 70 degC"]),
    "hydraulic, in kPa, low": (("hydraulic", 600, "kPa", 10_000), "gauge", 0.0, ["31.6 kPa less"]),
}  # fmt: skip


@pytest.mark.parametrize("given, kind, off, words", ADVICE.values(), ids=ADVICE)
def test_advice(given: tuple[Any, ...], kind: str, off: float, words: list[str]) -> None:
    found = advise(*given)
    assert found.kind == kind and found.error == pytest.approx(off, abs=1e-3)
    assert {kind} | {other for other, _ in found.others} == {"gauge", "sealed", "absolute"}
    text = "\n".join(said(found))
    for part in words:
        assert part in text
    assert f"buy a {kind} sender" in text


def test_an_open_vent_has_an_error_when_it_is_shut() -> None:
    assert any(
        "shut, it reads like a sealed one: 4.59 psi less" in line
        for line in advise("fuel", 15, "psi", 10_000).reasons
    )


@given(
    st.sampled_from(SERVICES), st.floats(1, 1e4), st.sampled_from(["psi", "bar", "kPa"]), st.floats(0, 60_000)
)
def test_the_one_advised_is_off_by_little(service: str, span: float, unit: str, feet: float) -> None:
    found = advise(service, span, unit, feet)
    assert abs(found.error) <= 0.01 * span


def test_table() -> None:
    """In psi and, tenfold finer, in bar."""
    row = re.split(r"\s{2,}", table()[2].strip())
    assert row == ["5,000", "0.0", "-2.5", "-2.5"]
    assert re.split(r"\s{2,}", table("bar")[2].strip()) == ["5,000", "0.000", "-0.170", "-0.170"]


WRONG: dict[str, tuple[tuple[Any, ...], str]] = {
    "service": (("oil", 100), "coolant, fuel, hydraulic"),
    "unit": (("fuel", 15, "hPa"), "psi, bar, kPa"),
    "no range": (("fuel", 0), "range of 0 psi"),
    "not a number": (("fuel", float("nan")), "range of nan psi"),
    "too high": (("fuel", 15, "psi", 70_000), "65,616 ft"),
}


@pytest.mark.parametrize("given, words", WRONG.values(), ids=WRONG)
def test_wrong(given: tuple[Any, ...], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        advise(*given)


def test_no_such_kind() -> None:
    with pytest.raises(ValueError, match='"vacuum" is no kind'):
        error("vacuum", "gauge", 0)
