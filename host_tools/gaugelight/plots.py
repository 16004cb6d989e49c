"""The bench as a picture: each input's truth and reading over the scenario, and the lights."""

import math
from itertools import groupby
from pathlib import Path
from typing import Any

import numpy as np

from gaugelight.bench import Report
from gaugelight.boxfile import Box
from gaugelight.lights import BusOutput, Display


def bench_plot(box: Box, report: Report, path: Path) -> None:
    """Writes the PNG. Raises OSError."""
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    columns = min(3, len(box.inputs)) or 3
    rows = math.ceil(len(box.inputs) / columns)
    dimmed = bool(box.lights.dimmed)
    figure = pyplot.figure(figsize=(5.2 * columns, 3.0 * rows + 4.6 * dimmed), layout="constrained")
    grid = figure.add_gridspec(rows + dimmed, columns, height_ratios=[3.0] * rows + [4.6] * dimmed)
    spare = [figure.add_subplot(grid[k // columns, k % columns]) for k in range(rows * columns)]
    axes = list(spare)
    called_out = False
    for one in box.inputs:
        panel = spare.pop(0)
        trace = report.traces[one.name]
        looks = np.arange(len(trace.truth))
        panel.plot(looks, trace.truth, drawstyle="steps-mid", color="0.6", linewidth=2.5, label="aircraft")
        panel.plot(looks, trace.reading, ".", color="tab:blue", markersize=4, label="box")
        called = np.flatnonzero(trace.called_out)
        called_out |= bool(called.size)
        panel.plot(called, np.array(trace.reading)[called], "x", color="tab:red", markersize=5)
        first = 0
        for fault, run in groupby(trace.fault):
            last = first + len(list(run))
            if fault:
                panel.axvspan(
                    first - 0.5, last - 0.5, facecolor="0.9", edgecolor="0.6", hatch="////", linewidth=0
                )
                where = panel.get_xaxis_transform()
                panel.text(
                    (first + last - 1) / 2, 0.5, fault, rotation=90, ha="center", va="center", transform=where
                )
            first = last
        panel.set_title(one.name)
        panel.set_ylabel(one.unit)
        panel.grid(alpha=0.3)
    if box.inputs:
        axes[len(box.inputs) - 1].set_xlabel("looks at the box, in the order of the scenario")
        handles, _ = axes[0].get_legend_handles_labels()
        handles.append(
            Patch(facecolor="0.9", edgecolor="0.6", hatch="////", label="no reading: the box names a fault")
        )
        if called_out:
            words = "called out: it disagrees with burn and transfer"
            handles.append(Line2D([], [], marker="x", color="tab:red", linestyle="", label=words))
        figure.legend(handles=handles, loc="outside lower center", ncols=4)
    if dimmed:
        _light_panel(box, report, figure.add_subplot(grid[rows, :]))
    for panel in spare:
        panel.set_axis_off()
    figure.suptitle(
        f"{box.name} on the bench: {report.passed} passed, {report.failed} failed (virtual box, model aircraft)"
    )
    figure.savefig(path, dpi=100)
    pyplot.close(figure)


def _light_panel(box: Box, report: Report, panel: Any) -> None:
    """Knob, lamps, display and bus output over the scenario, the dim request and daylight under them."""
    trace = report.light
    looks = np.arange(len(trace.knob))
    panel.plot(
        looks, trace.knob, drawstyle="steps-mid", color="0.6", linewidth=2.5, label="knob, % of its travel"
    )
    for one in box.lights.dimmed:
        seen, marker = "L*", "."
        if isinstance(one, Display):
            seen, marker = "%", "x"
        elif isinstance(one, BusOutput):
            seen, marker = "% of its highest voltage", "+"
        label = f"{one.name}, {seen}"
        panel.plot(
            looks,
            trace.lights[one.name],
            marker,
            drawstyle="steps-mid",
            linestyle="-",
            linewidth=0.7,
            label=label,
        )
    for base, name, states in ((-14, "dim request", trace.dim_request), (-28, "day", trace.day)):
        panel.fill_between(looks, base, base + 10 * np.array(states), step="mid", color="0.3", linewidth=0)
        panel.text(-1, base + 1, name, ha="right", fontsize=8)
    for at, what in trace.actions:
        panel.text(at, 104, what, rotation=60, fontsize=6, ha="left", va="bottom")
    panel.set_ylim(-30, 102)
    panel.set_xlim(-0.5, len(looks) - 0.5)
    panel.set_yticks(range(0, 101, 20))
    panel.grid(alpha=0.3)
    panel.set_xlabel("looks at the lights, in the order of the scenario")
    panel.legend(fontsize=8, loc="upper center", bbox_to_anchor=(0.5, -0.13), ncols=6)
