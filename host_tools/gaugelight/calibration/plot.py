"""A calibration as a picture: points with bars, the curve with its band, dead zones shaded, residuals below."""

from __future__ import annotations

import io
import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from gaugelight.calibration.results import K, Result
from gaugelight.calibration.session import PARKED, TANK

if TYPE_CHECKING:
    from matplotlib.figure import Figure

INK, CURVE, UP, DOWN = "0.15", "tab:blue", "tab:blue", "tab:orange"


def figure(result: Result) -> str:
    """The picture as SVG text, which stands in a page as it is. Raises ImportError without matplotlib."""
    made = io.StringIO()
    _drawn(result).savefig(made, format="svg", metadata={"Date": None})
    text = made.getvalue()
    return text[text.index("<svg") :]


def draw(result: Result, path: Path) -> None:
    """Writes a .png, .svg or .pdf. Raises OSError, ImportError."""
    _drawn(result).savefig(path, dpi=110)


def _drawn(result: Result) -> Figure:
    import matplotlib
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    matplotlib.rcParams["svg.hashsalt"] = "gaugelight"  # the same picture is the same text
    one, unit = result.input, result.input.unit
    drawn = Figure(figsize=(8.2, 7.2), layout="constrained")
    FigureCanvasAgg(drawn)
    above, below = drawn.subplots(2, 1, sharex=True, height_ratios=[3, 1.2])
    _curve(above, below, result)
    signals = np.array([point.signal for point in result.points])
    true = np.array([point.true for point in result.points])
    true_bars = K * np.array([point.true_u for point in result.points])
    signal_bars = K * np.array([point.signal_u for point in result.points])
    residuals = np.array([point.residual for point in result.points])
    for name, chosen, colour, marker in _ways(result, true):
        style: dict[str, Any] = {
            "fmt": marker,
            "color": colour,
            "markersize": 5,
            "elinewidth": 1,
            "capsize": 2,
        }
        above.errorbar(
            signals[chosen], true[chosen], true_bars[chosen], signal_bars[chosen], label=name, **style
        )
        below.errorbar(signals[chosen], residuals[chosen], true_bars[chosen], **style)
    for words, zone in (("float on the bottom", result.bottom), ("float under the top", result.top)):
        if zone is not None:
            above.axhspan(*zone, facecolor="0.9", edgecolor="0.6", hatch="////", linewidth=0, zorder=0)
            above.text(
                0.4, sum(zone) / 2, f"{words}: not seen", transform=above.get_yaxis_transform(), va="center", fontsize=8,
                bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 1},
            )  # fmt: skip
    step = float(one.step)
    below.axhspan(-step / 2, step / 2, facecolor="0.93", zorder=0)
    most = max(step / 2, float(np.max(np.abs(residuals) + true_bars)))
    below.set_ylim(-1.15 * most, 1.15 * most)  # the band of a dead zone is the height of that
    below.axhline(0, color=INK, linewidth=0.8)
    below.set_ylabel(f"point less curve, {unit}")
    below.set_xlabel(f"signal at the connector, {one.circuit.unit} (grey: half a displayed step either way)")
    above.set_ylabel(f"{'in the tank' if result.session.kind == TANK else 'the reference'}, {unit}")
    above.legend(fontsize=8)
    for panel in (above, below):
        panel.grid(alpha=0.3)
    attitude = f", {result.session.attitude}{'' if result.session.attitude == PARKED else ' flight'} attitude"
    kind = attitude if result.session.kind == TANK else ""
    drawn.suptitle(
        f"{one.name}{kind}, {result.session.started}: bars and band are plus or minus at 95 %", fontsize=11
    )
    return drawn


def _curve(panel: Any, below: Any, result: Result) -> None:
    if result.listed:
        signals, readings, offs = (np.array(column) for column in zip(*result.listed))
    else:
        fit = result.fit
        signals, readings, offs = np.array(fit.signals), np.array(fit.readings), np.array(fit.plus_minus)
    panel.fill_between(
        signals, readings - offs, readings + offs, color=CURVE, alpha=0.2, linewidth=0, label="plus or minus"
    )
    below.fill_between(signals, -offs, offs, color=CURVE, alpha=0.2, linewidth=0)
    panel.plot(
        signals,
        readings,
        "-",
        color=CURVE,
        linewidth=1.2,
        marker="|",
        markersize=9,
        label="curve, its breakpoints",
    )


def _ways(result: Result, true: Any) -> list[tuple[str, Any, str, str]]:
    """Points that were come to from below, and from above."""
    rises = np.diff(true, prepend=true[:1]) >= 0
    words = ("poured in", "drained") if result.session.kind == TANK else ("going up", "going down")
    ways = [(words[0], rises, UP, "o"), (words[1], ~rises, DOWN, "v")]
    return [way for way in ways if np.any(way[1])]


def name_of_picture(session_file: str) -> str:
    """Beside the session, where none is named."""
    return re.sub(r"\.toml$", "", session_file) + ".png"
