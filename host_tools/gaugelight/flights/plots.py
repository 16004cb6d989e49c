"""Flights as pictures: readings over time with their marks behind them and the alerts below; what `trend` has found."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gaugebox.alerts import WARNING
from gaugebox.readouts import GREEN, RED, YELLOW
from gaugelight.flights.compare import beside
from gaugelight.flights.findings import Finding, stands_still
from gaugelight.flights.recording import Recording
from gaugelight.flights.replay import Replay, Trace
from gaugelight.flights.trend import DAMPINGS, Flow, Hydraulics, Slosh

Floats = NDArray[np.float64]

BANDS = {GREEN: "#dff0d8", YELLOW: "#fbeebc", RED: "#f6cfcf"}
ONE, OTHER = "0.45", "tab:blue"
URGENT = {False: "#d9a300", True: "#c22"}
POINTS = 2000  # of a line: more find no room on the page
MOST_ALERTS = 24
WIDTH, PANEL, BAR = 7.2, 1.7, 0.24  # inches


def thinned(seconds: Floats, values: Floats, points: int = POINTS) -> tuple[Floats, Floats]:
    """Least and greatest of each stretch, in the order in which they come, so that no spike is lost."""
    if len(values) <= 2 * points:
        return seconds, values
    stretch = -(-len(values) // points)
    padded = np.full(points * stretch, np.nan)
    padded[: len(values)] = values
    rows = padded.reshape(points, stretch)
    empty = np.all(np.isnan(rows), axis=1)
    least = np.argmin(np.where(np.isnan(rows), np.inf, rows), axis=1)
    most = np.argmax(np.where(np.isnan(rows), -np.inf, rows), axis=1)
    base = np.arange(points) * stretch
    at = np.sort(np.stack([base + least, base + most]), axis=0).T.ravel()
    at = np.minimum(at, len(values) - 1)
    kept = values[at]
    kept[np.repeat(empty, 2)] = np.nan
    return seconds[at], kept


def replay_picture(recording: Recording, replays: Sequence[Replay], path: Path) -> None:
    """Every readout over the flight, of one table or of two, and the alerts of both. Raises OSError, ImportError."""
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot

    times, unit = _times(recording)
    names = list(dict.fromkeys(trace.name for one in replays for trace in one.traces))
    columns = 2 if len(names) > 5 else 1
    rows = math.ceil(len(names) / columns)
    pairs = beside(replays[0].told, replays[-1].told if len(replays) == 2 else (), recording)
    lines = list(dict.fromkeys(pair.either.words for pair in pairs))
    bars = 0.7 + BAR * max(1, min(len(lines), MOST_ALERTS))
    figure = pyplot.figure(figsize=(WIDTH * columns, PANEL * rows + bars + 0.8), layout="constrained")
    grid = figure.add_gridspec(rows + 1, columns, height_ratios=[PANEL] * rows + [bars])
    first = None
    for number, name in enumerate(names):
        # down the first column, then down the second
        panel = figure.add_subplot(grid[number % rows, number // rows], sharex=first)
        first = first or panel
        traces = [one.trace(name) for one in replays]
        _readout_panel(panel, times, traces, name)
    below = figure.add_subplot(grid[rows, :], sharex=first)
    _alert_panel(below, times, replays, lines)
    below.set_xlabel(_since(recording, unit))
    figure.legend(handles=_legend(replays), loc="outside upper center", ncols=5, fontsize=8, frameon=False)
    figure.savefig(path, dpi=100)
    pyplot.close(figure)


def _times(recording: Recording) -> tuple[Floats, str]:
    """Of each row, in the unit that suits the flight, and that."""
    seconds = recording.seconds()
    for unit, length in (("hours", 3600.0), ("minutes", 60.0)):
        if seconds[-1] >= 3 * length:
            return seconds / length, unit
    return seconds, "seconds"


def _since(recording: Recording, unit: str) -> str:
    return f"{unit} since {'the first row' if recording.first_moment is None else f'{recording.first_moment:%Y-%m-%d %H:%M:%S} UTC'}"


def _legend(replays: Sequence[Replay]) -> list[Any]:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    handles: list[Any] = [Line2D([], [], color=ONE if len(replays) == 2 else OTHER, label=replays[0].label)]
    if len(replays) == 2:
        handles.append(Line2D([], [], color=OTHER, linewidth=1, label=replays[1].label))
        handles.append(
            Line2D([], [], color="0.3", linestyle=":", label=f"marks of {replays[1].label}, where others")
        )
    handles.append(Patch(facecolor="0.9", edgecolor="0.6", hatch="////", label="fault"))
    handles += [
        Patch(facecolor=BANDS[colour], label=word)
        for colour, word in ((GREEN, "green"), (YELLOW, "yellow"), (RED, "red"))
    ]
    handles += [
        Patch(facecolor=URGENT[urgent], label=("caution", "warning")[urgent]) for urgent in (False, True)
    ]
    return handles


def _readout_panel(panel: Any, times: Floats, traces: Sequence[Trace | None], name: str) -> None:
    there = [trace for trace in traces if trace is not None]
    for number, trace in enumerate(traces):
        if trace is None:
            continue
        alone = len(traces) == 1 or number == 1
        panel.plot(
            *thinned(times, trace.readings),
            color=OTHER if alone else ONE,
            linewidth=0.9 if alone else 2.2,
        )
    low, high = panel.get_ylim()
    room = max((high - low) * 0.12, 2 * there[0].step)
    low, high = low - room, high + room
    _bands(panel, there[0], low, high)
    if len(there) == 2 and _edges(there[1]) != _edges(there[0]):
        for edge in _edges(there[1]):
            panel.axhline(edge, color="0.3", linestyle=":", linewidth=1)
    panel.set_ylim(low, high)
    faulty = there[-1].faults != 0
    for begin, end in _runs(faulty):
        panel.axvspan(
            times[begin],
            times[min(end, len(times) - 1)],
            facecolor="0.9",
            edgecolor="0.6",
            hatch="////",
            linewidth=0,
            alpha=0.8,
        )
    panel.set_title(f"{name}, {there[0].unit}", fontsize=9, loc="left", pad=2)
    panel.tick_params(labelsize=8)
    panel.grid(alpha=0.3)


def _edges(trace: Trace) -> list[float]:
    return [] if trace.record is None else [edge / 10**trace.decimals for edge in trace.record.edges]


def _bands(panel: Any, trace: Trace, low: float, high: float) -> None:
    if trace.record is None:
        return
    edges = [-math.inf, *_edges(trace), math.inf]
    for colour, bottom, top in zip(trace.record.colours, edges, edges[1:]):
        bottom, top = max(low, bottom), min(high, top)
        if colour in BANDS and bottom < top:
            panel.axhspan(bottom, top, color=BANDS[colour], linewidth=0, zorder=0)


def _runs(there: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Where it is so: from a row, up to another."""
    edges = np.flatnonzero(np.diff(there.astype(np.int8), prepend=0, append=0))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2])]


def _alert_panel(panel: Any, times: Floats, replays: Sequence[Replay], lines: list[str]) -> None:
    """A line for each alert; where there are two tables the first one's bar lies above the other's."""
    left_out = len(lines) - MOST_ALERTS
    shown = lines[:MOST_ALERTS]
    two = len(replays) == 2
    last = float(times[-1])
    for number, one in enumerate(replays):
        for told in one.told:
            if told.words not in shown:
                continue
            row = shown.index(told.words)
            begin = float(times[told.began])
            end = last if told.ended is None else float(times[min(told.ended, len(times) - 1)])
            panel.barh(
                row + (0.2 * (2 * number - 1) if two else 0),
                max(end - begin, last / 500),
                left=begin,
                height=0.32 if two else 0.7,
                color=URGENT[told.urgency == WARNING],
                edgecolor=(ONE, OTHER)[number] if two else "none",
                linewidth=1.2,
            )
    panel.set_yticks(range(len(shown)), shown, fontsize=8)
    panel.set_ylim(max(0.6, len(shown) - 0.4), -0.6)
    panel.tick_params(labelsize=8)
    panel.grid(alpha=0.3, axis="x")
    title = "alerts" if shown else "alerts: none"
    if two and shown:
        title += f": above {replays[0].label}, below {replays[1].label}"
    panel.set_title(
        title + (f"; {left_out} more not shown" if left_out > 0 else ""), fontsize=9, loc="left", pad=2
    )


# -- what changes slowly

FIT, PUMP = "tab:red", "tab:green"
TALL = 2.5  # inches


def trend_picture(recording: Recording, found: Sequence[Finding], path: Path) -> None:
    """Each finding: the undamped readings with what was fitted to them, and beside them what damping would leave, or how the pump's
    intervals and the leak-down go. Raises OSError, ImportError."""
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot

    times, unit = _times(recording)
    figure = pyplot.figure(figsize=(12.5, TALL * len(found) + 0.6), layout="constrained")
    grid = figure.add_gridspec(len(found), 2, width_ratios=[2, 1])
    for number, one in enumerate(found):
        panel, beside_it = (figure.add_subplot(grid[number, column]) for column in (0, 1))
        trace = one.trace
        panel.plot(*thinned(times, trace.readings), color="0.6", linewidth=0.7, label="undamped")
        panel.set_title(f"{trace.name}, {trace.unit}", fontsize=9, loc="left", pad=2)
        if one.hydraulics is not None:
            _rests(panel, times, recording, one.hydraulics, trace.readings)
            _pump(beside_it, times, unit, one.hydraulics)
        else:
            if one.tank is not None:
                _flows(panel, times, recording, one.tank.falls, FIT, "falls")
                _flows(panel, times, recording, one.tank.rises, PUMP, "rises")
            if one.slosh is not None and not stands_still(one.slosh, one):
                _damping(beside_it, one.slosh, one)
            else:
                beside_it.set_axis_off()
        _finish(panel)
        panel.set_xlabel(_since(recording, unit) if number == len(found) - 1 else "", fontsize=8)
    figure.savefig(path, dpi=100)
    pyplot.close(figure)


def _finish(panel: Any) -> None:
    panel.tick_params(labelsize=8)
    panel.grid(alpha=0.3)
    if panel.get_legend_handles_labels()[0]:
        panel.legend(fontsize=7, loc="best", frameon=False)


def _flows(
    panel: Any, times: Floats, recording: Recording, flows: Sequence[Flow], colour: str, word: str
) -> None:
    seconds = recording.seconds()
    for number, one in enumerate(flows):
        rows = slice(one.first, one.end)
        label = f"{word} by {abs(one.per_hour):.3g} an hour" if number < 3 else None
        panel.plot(times[rows], one.slope.at(seconds[rows]), color=colour, linewidth=1.6, label=label)


def _rests(panel: Any, times: Floats, recording: Recording, found: Hydraulics, readings: Floats) -> None:
    seconds = recording.seconds()
    for number, rest in enumerate(found.telling):
        assert rest.slope is not None
        rows = np.linspace(rest.first, rest.end, 20).astype(int)
        middle = float(np.nanmedian(readings[rest.first : rest.end]))
        fitted = middle + rest.slope * (seconds[rows] - seconds[rows].mean())
        panel.plot(times[rows], fitted, color=FIT, linewidth=1.4, label=None if number else "leak-down")
    starts = list(found.starts)
    panel.plot(times[starts], readings[starts], "^", color=PUMP, markersize=5, label="the pump comes on")


def _pump(panel: Any, times: Floats, unit: str, found: Hydraulics) -> None:
    rows = [row for row, _ in found.intervals]
    panel.plot(times[rows], [seconds for _, seconds in found.intervals], "o", color=PUMP, markersize=4)
    panel.set_title("seconds from one start of the pump to the next", fontsize=9, loc="left", pad=2)
    panel.set_ylim(0, 1.15 * max([seconds for _, seconds in found.intervals], default=1.0))
    panel.set_xlabel(unit, fontsize=8)
    _finish(panel)
    if not rows:
        panel.text(0.5, 0.5, "no two starts to compare", ha="center", transform=panel.transAxes, fontsize=8)


def _damping(panel: Any, found: Slosh, one: Finding) -> None:
    dampings = np.geomspace(0.1, DAMPINGS[-1], 60)
    panel.loglog(dampings, [2 * found.left(float(damping)) for damping in dampings], color="tab:blue")
    panel.axhline(one.trace.step / 2, color="0.3", linestyle=":", label="half a displayed step")
    if one.damping_s:
        left = 2 * found.left(one.damping_s)
        panel.plot([one.damping_s], [left], "o", color=FIT, label=f"{one.damping_s:g} s, as in the box file")
    panel.set_title(
        f"slosh left, +- {one.trace.unit}, over damping in s",
        fontsize=9,
        loc="left",
        pad=2,
    )
    _finish(panel)
