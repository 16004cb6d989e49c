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
from gaugelight.flights.recording import Recording
from gaugelight.flights.replay import Replay, Trace

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

    seconds = recording.seconds()
    minutes = seconds / 60
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
        _readout_panel(panel, minutes, traces, name)
    below = figure.add_subplot(grid[rows, :], sharex=first)
    _alert_panel(below, minutes, replays, lines)
    below.set_xlabel(_time_words(recording))
    figure.legend(handles=_legend(replays), loc="outside upper center", ncols=5, fontsize=8, frameon=False)
    figure.savefig(path, dpi=100)
    pyplot.close(figure)


def _time_words(recording: Recording) -> str:
    since = (
        "since the first row" if recording.began is None else f"since {recording.began:%Y-%m-%d %H:%M:%S} UTC"
    )
    return f"minutes {since}"


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


def _readout_panel(panel: Any, minutes: Floats, traces: Sequence[Trace | None], name: str) -> None:
    there = [trace for trace in traces if trace is not None]
    for number, trace in enumerate(traces):
        if trace is None:
            continue
        alone = len(traces) == 1 or number == 1
        panel.plot(
            *thinned(minutes, trace.readings),
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
            minutes[begin],
            minutes[min(end, len(minutes) - 1)],
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


def _alert_panel(panel: Any, minutes: Floats, replays: Sequence[Replay], lines: list[str]) -> None:
    """A line for each alert; where there are two tables the first one's bar lies above the other's."""
    left_out = len(lines) - MOST_ALERTS
    shown = lines[:MOST_ALERTS]
    two = len(replays) == 2
    last = float(minutes[-1])
    for number, one in enumerate(replays):
        for told in one.told:
            if told.words not in shown:
                continue
            row = shown.index(told.words)
            begin = float(minutes[told.began])
            end = last if told.ended is None else float(minutes[min(told.ended, len(minutes) - 1)])
            panel.barh(
                row + (0.2 * (2 * number - 1) if two else 0),
                max(end - begin, last / 500),
                left=begin,
                height=0.36 if two else 0.7,
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
