"""What changes slowly: held to scipy, to the box's own damper, and to flights of our own invention whose leak, slosh and burn are known."""

import json
import warnings
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal, stats

from gaugelight.boxfile import read_box
from gaugelight.build import Build, build
from gaugelight.cli import DEMO, main
from gaugelight.flights.findings import Finding, findings, in_lines, of_json, plus_minus, stated_burn
from gaugelight.flights.plots import trend_picture
from gaugelight.flights.recording import Recording, joined
from gaugelight.flights.replay import Job, Replay, replay
from gaugelight.flights.tried import tried
from gaugelight.flights.trend import (
    blocks,
    enough_damping,
    gain,
    hydraulics,
    rising,
    slope_of,
    slosh,
    steady_slope,
    stretches,
    turning_points,
)
from gaugelight.problems import Misuse
from flight_model import Flight, Floats, a_flight, leaking, swinging, written

HOUR = np.arange(36_000) / 10


def chance() -> np.random.Generator:
    return np.random.default_rng(11)


# -- slopes


def test_a_slope_is_that_of_least_squares() -> None:
    """Referee: scipy.stats.linregress, of the same block means. Where these have nothing in common the plus or minus is its own, or somewhat
    more, for what the line takes along."""
    values = 5 - HOUR / 1000 + chance().normal(0, 0.5, len(HOUR))
    found = slope_of(HOUR, values)
    assert found is not None
    judge = stats.linregress(*blocks(HOUR, values, 30))
    assert found.value == pytest.approx(judge.slope, rel=1e-9)
    its_own = stats.t.ppf(0.975, found.count - 2) * judge.stderr
    assert its_own <= found.plus_minus < 1.3 * its_own
    assert found.at(np.array([0.0]))[0] == pytest.approx(judge.intercept, rel=1e-9)


# seconds over which the noise is alike (an AR(1) process), minutes
ALIKE = {"hardly": (2, 20), "two minutes": (120, 40)}


@pytest.mark.parametrize("alike_s, minutes", ALIKE.values(), ids=ALIKE)
def test_what_is_stated_holds_in_95_of_100(alike_s: float, minutes: int) -> None:
    """Noise that is alike from one reading to the next: of 80 slopes 71 at least lie within their plus or minus (fewer would be chance in
    one of 50, by the binomial distribution). Without the allowance for it half of them would not.
    """
    rng, seconds = chance(), np.arange(minutes * 60.0)
    kept = np.exp(-1 / alike_s)
    held = naive = 0
    for _ in range(80):
        noise = signal.lfilter([1], [1, -kept], rng.normal(0, 1, len(seconds) + 600))[600:]
        found = slope_of(seconds, noise - seconds / 100)
        assert found is not None
        held += abs(found.value + 0.01) <= found.plus_minus
        plain = stats.linregress(seconds, noise - seconds / 100)
        naive += abs(plain.slope + 0.01) <= 2 * plain.stderr
    assert held >= 71 and (naive < 55 or alike_s < 10)


def test_a_step_or_two_do_not_move_a_steady_slope() -> None:
    t = np.arange(60.0)
    values = 100 - 2 * t
    assert steady_slope(values, t) == pytest.approx(-2)
    values[20:] -= 300
    values[41:] += 100
    assert steady_slope(values, t) == pytest.approx(-2)


def test_blocks_leave_out_what_is_missing() -> None:
    values = np.where(HOUR < 300, np.nan, HOUR)
    t, v = blocks(HOUR, values, 30)
    assert t[0] == pytest.approx(315, abs=0.1) and np.allclose(t, v) and len(t) == 110
    assert slope_of(HOUR, np.full(len(HOUR), np.nan)) is None and slope_of(HOUR[:50], HOUR[:50]) is None


# -- hydraulics


def wave(growing: float = 0.0, noise: float = 2.0, leak: float = 0.5) -> tuple[Floats, list[int]]:
    pressure, starts = leaking(HOUR, 1100, 900, leak, 40, growing)
    return pressure + chance().normal(0, noise, len(HOUR)), starts


@pytest.mark.parametrize("noise", [0.0, 2.0, 8.0])
@pytest.mark.parametrize("leak", [0.2, 0.5, 2.0])
def test_each_pump_cycle_is_found_and_the_leak(leak: float, noise: float) -> None:
    pressure, starts = wave(leak=leak, noise=noise)
    found = hydraulics(HOUR, pressure)
    assert found is not None and found.leak is not None and found.interval is not None
    assert len(found.starts) == len(starts)
    early = 10 * 4 * noise / leak + 20  # rows: the low may lie wherever noise outweighs the leak
    assert np.abs(np.array(found.starts) - starts).max() <= early
    value, band = found.leak
    assert abs(value + leak) <= band + 0.002 * leak and band < 0.03 * leak
    assert found.interval == pytest.approx(200 / leak + 5, rel=0.03)


def test_a_pump_that_ran_when_the_recording_began_tells_no_interval() -> None:
    t = np.arange(1500.0)
    pressure = np.interp((t + 245) % 300, [0, 240, 300], [1200, 900, 1200]) + chance().normal(0, 2, len(t))
    found = hydraulics(t, pressure)
    assert found is not None and len(found.starts) == 4
    assert [seconds for _, seconds in found.intervals] == pytest.approx([300] * 3, abs=8)


@pytest.mark.parametrize("off_s", [None, 1])
def test_nothing_is_told_across_a_hole(off_s: int | None) -> None:
    """Cycles of 300 s; from 1000 to 2900 s nobody listened, and in one case nobody knows for how long."""
    t = np.arange(6000.0)
    pressure = np.interp(t % 300, [0, 295, 300], [1200, 900, 1200]) + chance().normal(0, 2, len(t))
    there = (t < 1000) | (t >= 2900)
    seconds = t[there] - (np.where(t[there] < 1000, 0, 1900 - off_s) if off_s else 0)
    found = hydraulics(seconds, pressure[there], 0.0, [0, 1000])
    assert found is not None and found.leak is not None
    assert [seconds for _, seconds in found.intervals] == pytest.approx([300] * 12, abs=8)
    assert abs(found.leak[0] + 300 / 295) <= found.leak[1] + 0.002


def test_a_leak_that_grows_shortens_the_intervals() -> None:
    steady, worse = hydraulics(HOUR, wave()[0]), hydraulics(HOUR, wave(growing=0.5)[0])
    assert steady is not None and worse is not None and steady.drift is not None and worse.drift is not None
    assert abs(steady.drift[0]) <= steady.drift[1] + 1
    # 400 s at first, 400 / 1.5 after an hour
    assert worse.drift[0] + worse.drift[1] < -90 and worse.drift[0] > -170


def test_what_uses_the_pressure_is_no_leak() -> None:
    """The gear takes 350 psi in four seconds, three times; the pump tops it up, and what it then does tells as before."""
    uses = (2000, 10_000, 27_000)
    pressure, starts = leaking(HOUR, 1100, 900, 0.5, 40, uses=uses)
    found = hydraulics(HOUR, pressure)
    assert found is not None and found.leak is not None and found.drift is not None
    assert len(found.starts) == len(starts) and found.leak[0] == pytest.approx(-0.5, rel=0.01)
    assert [seconds for _, seconds in found.intervals] == pytest.approx(
        [405] * len(found.intervals), rel=0.04
    )
    # the first use comes before any start that it could follow
    assert len(found.intervals) == len(starts) - 1 - 2
    assert abs(found.drift[0]) <= found.drift[1] + 10
    assert sum(rest.used for rest in found.rests) == 3


# what is no accumulator's pressure
NOTHING = {
    "still": np.full(36_000, 800.0),
    "noise": 800 + chance().normal(0, 3, 36_000),
    "a count more or less": 800 + 0.1 * chance().integers(0, 2, 36_000),
    "slow waves": 800 + 50 * np.sin(HOUR / 60),
    "slow rise": 800 + HOUR / 100 + chance().normal(0, 1, 36_000),
    "no reading": np.full(36_000, np.nan),
    "two rows": np.where(HOUR < 0.2, HOUR, np.nan),
}


@pytest.mark.parametrize("pressure", NOTHING.values(), ids=NOTHING)
def test_where_there_is_no_pump_none_is_found(pressure: Floats) -> None:
    assert hydraulics(HOUR, pressure, 2.0) is None


def test_a_leak_down_without_any_pump() -> None:
    """On the ground, its breaker pulled."""
    found = hydraulics(HOUR, 1100 - 0.1 * HOUR + chance().normal(0, 2, len(HOUR)))
    assert found is not None and found.leak is not None and found.starts == () and found.interval is None
    assert found.leak[0] == pytest.approx(-0.1, rel=0.02)


@settings(deadline=None, max_examples=20)
@given(st.floats(0.01, 1000), st.floats(-500, 500), st.integers(0, 3))
def test_the_unit_does_not_matter(scale: float, offset: float, missing: int) -> None:
    """Nor what is missing here and there."""
    pressure, _ = leaking(HOUR[:12_000], 1100, 900, 2.0, 40)
    found = hydraulics(HOUR[:12_000], pressure)
    other = pressure * scale + offset
    other[[100, 5000, 11_000][:missing]] = np.nan
    again = hydraulics(HOUR[:12_000], other)
    assert found is not None and again is not None and found.leak is not None and again.leak is not None
    assert np.abs(np.array(again.starts) - found.starts).max() <= 1
    assert again.leak[0] == pytest.approx(found.leak[0] * scale, rel=1e-3)


def test_turning_points_alternate() -> None:
    values = chance().normal(0, 1, 500).cumsum()
    lows, highs = turning_points(values, 3.0)
    assert len(lows) > 3 and abs(len(lows) - len(highs)) <= 1
    every = sorted(lows + highs)
    assert all((a in lows) != (b in lows) for a, b in zip(every, every[1:]))
    assert all(abs(values[a] - values[b]) > 3 for a, b in zip(every, every[1:]))


# -- slosh


@pytest.mark.parametrize("damping", [0.1, 0.5, 2.0, 12.0, 60.0])
def test_the_damper_s_response(damping: float) -> None:
    """Referee: scipy.signal.freqz of y += a (x - y)."""
    frequencies = np.geomspace(0.01, 5, 50)
    a = 0.1 / damping
    _, wanted = signal.freqz([a], [1, a - 1], frequencies, fs=10)
    assert gain(frequencies, damping) == pytest.approx(np.abs(wanted), rel=1e-9)
    # well below its corner and well above it: 1, and 1 / (2 pi f damping) of a first-order filter
    assert gain(np.array([0.001 / damping]), damping)[0] == pytest.approx(1, abs=1e-3)
    if damping >= 2:
        assert gain(np.array([0.5]), damping)[0] == pytest.approx(1 / (np.pi * damping), rel=0.02)


def test_no_damping_leaves_all() -> None:
    assert np.array_equal(gain(HOUR[:50], 0.0), np.ones(50))


def test_the_spectrum_is_welch_s() -> None:
    values = swinging(HOUR, 0.3, chance())
    found = slosh(HOUR, values)
    assert found is not None
    frequencies, density = signal.welch(values, 10, "hann", 1024, detrend="linear")
    assert found.frequencies == pytest.approx(frequencies[1:])
    assert found.density[1:-1] == pytest.approx(density[2:-1], rel=0.02, abs=1e-9)
    assert found.spread == pytest.approx(0.3, rel=0.1) and found.period == pytest.approx(2.0, rel=0.06)


@cache
def demo() -> Build:
    return build(read_box(DEMO))


def recorded(flight: Flight) -> Recording:
    times = np.round(flight.seconds * 1000).astype(int).tolist()
    return joined(times, flight.counts(demo().box), switches=flight.switches)  # type: ignore[arg-type]


@cache
def an_hour() -> Recording:
    """Less than the half of one."""
    return recorded(a_flight(25.0, growing=0.5))


def undamped(recording: Recording) -> Replay:
    return replay(Job("x", demo().image, undamped=True), recording)


@cache
def undamped_hour() -> Replay:
    return undamped(an_hour())


def test_what_is_left_is_what_the_box_s_own_damper_leaves() -> None:
    """Predicted from the undamped reading's spectrum; then that flight through the box's channels with that damping."""
    recording = an_hour()
    built = build(tried(DEMO, ["left fuel.damping=1 s", "right fuel.damping=5 s"]))
    damped = replay(Job("x", built.image), recording)
    for name, damping in (("left fuel", 1.0), ("right fuel", 5.0)):
        before, after = undamped_hour().trace(name), damped.trace(name)
        assert before is not None and after is not None
        found, really = (slosh(recording.seconds(), one.readings) for one in (before, after))
        assert found is not None and really is not None
        assert found.left(damping) == pytest.approx(really.spread, rel=0.12)
        assert found.left(0) == pytest.approx(found.spread)


def test_enough_damping_is_the_least_that_does() -> None:
    found = slosh(HOUR, swinging(HOUR, 0.3, chance()))
    assert found is not None
    enough = enough_damping(found, 0.5)
    assert enough == 1.0 and 2 * found.left(1.0) <= 0.25 < 2 * found.left(0.5)
    assert enough_damping(found, 100) == 0 and enough_damping(found, 1e-6) is None


def test_holes_are_no_slosh() -> None:
    values = swinging(HOUR, 0.3, chance())
    whole = slosh(HOUR, values)
    values[5000:5060] = np.nan
    values[20_000:22_000] = np.nan
    gap = HOUR + np.where(HOUR > 1000, 500, 0)
    found = slosh(gap, values)
    assert whole is not None and found is not None
    assert found.spread == pytest.approx(whole.spread, rel=0.05) and found.windows < whole.windows
    assert slosh(HOUR[:100], values[:100]) is None and slosh(HOUR, np.full(len(HOUR), np.nan)) is None


def test_no_window_of_slosh_spans_a_restart() -> None:
    """A tank that was filled while nobody was listening, or had another offset before: the step is no slosh."""
    seconds = HOUR[:6000]  # no gap in it: the box was off for next to nothing
    still = np.where(np.arange(6000) < 3000, 4.0, 12.0)
    spans, cut = slosh(seconds, still), slosh(seconds, still, anew=[0, 3000])
    assert spans is not None and cut is not None
    assert spans.roughest > 1 and cut.roughest == pytest.approx(0, abs=1e-9)
    size = round(cut.window_s / cut.step_s)
    assert cut.windows == 2 * len(range(0, 3000 - size + 1, size // 2))
    assert slosh(seconds, still, anew=range(0, 6000, 100)) is None  # no span is as long as a window


def test_a_flight_with_a_restart_has_fewer_windows() -> None:
    whole = an_hour()
    cut = replace(whole, spans=((0, 1500), (1500, len(whole))))
    windows = []
    for recording in (whole, cut):
        (found,) = findings(demo().box, undamped_hour(), recording, ("left fuel",), None)
        assert found.slosh is not None
        windows.append(found.slosh.windows)
    assert windows[1] < windows[0]


# -- tanks


def test_stretches() -> None:
    there = np.array([0, 1, 1, 1, 1, 0, 1, 0, 1, 1, 1], bool)
    t = np.arange(11.0)
    assert stretches(there, t, 2.0) == [(1, 5), (8, 11)]
    assert stretches(there, t, 2.0, 1.0) == [(2, 5)]
    assert stretches(~there, t, 5.0) == []


def found_in(recording: Recording, *names: str, burn: str | None = None) -> dict[str, Finding]:
    said = undamped_hour() if recording is an_hour() else undamped(recording)
    some = findings(demo().box, said, recording, names, None if burn is None else stated_burn(burn))
    return {one.trace.name: one for one in some}


def test_a_flight() -> None:
    """Its burn and transfer are found and agree with what the demo states; so are its leaks, and nothing is made of the coolant's pressure."""
    found = found_in(an_hour())
    assert list(found) == ["left fuel", "right fuel", "hydraulic", "coolant pressure", "usable fuel"]
    for name, burn, rate in (("left fuel", 4, 8), ("right fuel", 4, 8), ("usable fuel", 8, 16)):
        tank = found[name].tank
        assert tank is not None and tank.burn is not None and tank.rise is not None and tank.by_switch
        assert tank.burn[0] == pytest.approx(burn, rel=0.06) and tank.rise[0] == pytest.approx(rate, rel=0.06)
        assert tank.burns is not None and tank.burns.holds and tank.pumps is not None and tank.pumps.holds
        assert tank.pumped is not None and tank.pumped[0] == pytest.approx(burn + rate, rel=0.06)
        assert len(tank.falls) == 2 and len(tank.rises) == 1
    assert found["hydraulic"].hydraulics is not None and found["hydraulic"].slosh is None
    assert found["coolant pressure"].hydraulics is None and found["coolant pressure"].slosh is not None
    assert found["usable fuel"].slosh is None  # it has no damping of its own
    tank = found["usable fuel"].tank
    # a gauge's scale may be 5 % off
    assert tank is not None and tank.burn is not None and tank.burns is not None
    assert tank.burns.plus_minus == pytest.approx(np.hypot(tank.burn[1], 0.05 * tank.burn[0]))
    lines = dict(in_lines(found["usable fuel"], an_hour()))
    assert "agrees with the burn stated, 7 to 9 US gal an hour" in lines["falls by"]
    assert "NOT" not in lines["falls by"] and "with the pump on" in lines["rises by"]
    lines = dict(in_lines(found["hydraulic"], an_hour()))
    assert "came on" in lines["pump"] and "psi a minute" in lines["leak-down"]
    lines = dict(in_lines(found["left fuel"], an_hour()))
    assert "2 s keep it within half a step of 0.5 US gal; the box file has 12 s" in lines["enough"]


def test_a_burn_that_is_not_the_stated_one() -> None:
    """It burns 8 an hour."""
    for burn, holds in (("11 US gal", False), ("41.6 l", False), ("8.1 US gal", True), ("30.5 l", True)):
        found = found_in(an_hour(), burn=burn)
        tank = found["usable fuel"].tank
        assert tank is not None and tank.burns is not None and tank.burns.holds == holds, burn
        left = found["left fuel"].tank  # a half of it: held against its own
        assert left is not None and left.burns is not None and left.burns.stated == (3.2, 4.8)
        told = dict(in_lines(found["usable fuel"], an_hour()))["falls by"]
        assert ("DOES NOT AGREE" in told) != holds
    for burn in ("8", "8 psi", "-3 US gal", "much"):
        with pytest.raises(Misuse, match="burn"):
            found_in(an_hour(), burn=burn)


def test_a_transfer_without_switches_is_seen_by_the_reading() -> None:
    found = found_in(replace(an_hour(), switches={}))["usable fuel"]
    tank = found.tank
    assert tank is not None and not tank.by_switch and tank.rise is not None and tank.burn is not None
    assert tank.rise[0] == pytest.approx(16, rel=0.08) and tank.burn[0] == pytest.approx(8, rel=0.08)
    assert "the log has no switches" in dict(in_lines(found, an_hour()))["rises by"]


def test_rising() -> None:
    tank = np.where(
        HOUR < 1200,
        20 - HOUR / 450,
        np.where(HOUR < 2400, 17.3 + (HOUR - 1200) / 225, 22.7 - (HOUR - 2400) / 450),
    )
    there = rising(HOUR, tank + swinging(HOUR, 0.4, chance()))
    assert HOUR[there].min() == pytest.approx(1200, abs=90) and HOUR[there].max() == pytest.approx(
        2400, abs=90
    )
    assert not rising(HOUR, 20 - HOUR / 450 + swinging(HOUR, 0.4, chance())).any()


def test_on_the_ground_nothing_is_burnt() -> None:
    """The demo's burn is that while the alternator charges."""
    flight = a_flight(20.0, 2)
    flight.readings["bus"] = np.full(len(flight.seconds), 12.5)
    recording = recorded(flight)
    finding = found_in(recording)["usable fuel"]
    assert finding.tank is not None and finding.tank.burn is None and finding.tank.rise is not None
    assert ("falls by", "not told: nowhere in the log is bus above 13.2 V, so it does not fly") in in_lines(
        finding, recording
    )
    assert not of_json(finding, recording)["flew"]


def test_names() -> None:
    assert list(found_in(an_hour(), "coolant temperature", "hydraulic")) == [
        "coolant temperature",
        "hydraulic",
    ]
    still = found_in(an_hour(), "coolant temperature")["coolant temperature"]
    assert in_lines(still, an_hour()) == [("slosh", "none: the reading stands still")]
    with pytest.raises(Misuse, match='did you mean "hydraulic"'):
        found_in(an_hour(), "hydraulics")


@pytest.mark.parametrize(
    "value, band, shown",
    [
        (38.1234, 2.96, "38.1 +-3.0"),
        (0.5, 0.0123, "0.500 +-0.012"),
        (2289, 182, "2289 +-182"),
        (3.14159, 0, "3.14"),
    ],
)
def test_digits_of_a_result(value: float, band: float, shown: str) -> None:
    """JCGM 100, 7.2.6: two digits of the uncertainty, and the result to the same place."""
    assert plus_minus(value, band) == shown


def test_what_stands_still_is_drawn_without_a_warning(tmp_path: Path) -> None:
    """Nothing to draw on a logarithmic scale."""
    still = found_in(an_hour(), "coolant temperature")["coolant temperature"]
    assert still.slosh is not None
    still = replace(still, slosh=replace(still.slosh, spread=0.0, density=0 * still.slosh.density))
    with warnings.catch_warnings():
        warnings.simplefilter("error", UserWarning)
        trend_picture(an_hour(), [still], tmp_path / "still.png")
    assert (tmp_path / "still.png").exists()


# -- the command


def test_a_log_that_is_too_short_says_so(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("gaugelight.flights.command.build", lambda box: demo())
    (tmp_path / "f.csv").write_text(written(demo().box, a_flight(0.5, 1), f"{demo().crc32:08x}"))
    assert main(["trend", str(DEMO), "f.csv"]) == 0
    assert "nothing can be told of left fuel, right fuel," in capsys.readouterr().out


def test_the_command(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("gaugelight.flights.command.build", lambda box: demo())
    (tmp_path / "f.csv").write_text(written(demo().box, a_flight(16.0, 1), f"{demo().crc32:08x}"))
    assert main(["trend", str(DEMO), "f.csv", "hydraulic", "left fuel"]) == 0
    out = capsys.readouterr().out
    for words in (
        "f.csv: hull console: 960 rows",
        "leak-down",
        "falls by",
        "Rows are 1 s apart",
        "plot: f_trend.png",
        "advisory",
    ):
        assert words in out
    assert (tmp_path / "f_trend.png").read_bytes()[:4] == b"\x89PNG"
    monkeypatch.setattr("gaugelight.flights.plots.trend_picture", lambda recording, found, path: None)
    assert main(["trend", str(DEMO), "f.csv", "hydraulic", "--json"]) == 0
    (said,) = json.loads(capsys.readouterr().out)["inputs"]
    assert said["hydraulics"]["leak_a_minute"][0] == pytest.approx(-30, rel=0.02)
    assert main(["trend", str(DEMO), "f.csv", "--burn", "eight"]) == 2
    assert "such as" in capsys.readouterr().err
