"""The bench as a picture: each input's truth and reading over the scenario, and the lamp over its knob."""

import math
from itertools import groupby
from pathlib import Path

import numpy as np

from gaugelight.bench import Report
from gaugelight.boxfile import Box
from gaugelight.lightness import duty_of_knob


def bench_plot(box: Box, report: Report, path: Path) -> None:
    """Writes the PNG. Raises OSError."""
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot
    from matplotlib.patches import Patch

    panels = len(box.inputs) + len(box.lamps)
    columns = min(3, panels)
    rows = math.ceil(panels / columns)
    figure, axes = pyplot.subplots(
        rows, columns, figsize=(5.2 * columns, 3.0 * rows), squeeze=False, layout="constrained"
    )
    spare = list(axes.flat)
    for one in box.inputs:
        panel = spare.pop(0)
        trace = report.traces[one.name]
        looks = np.arange(len(trace.truth))
        panel.plot(looks, trace.truth, drawstyle="steps-mid", color="0.6", linewidth=2.5, label="aircraft")
        panel.plot(looks, trace.reading, ".", color="tab:blue", markersize=4, label="box")
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
        axes.flat[len(box.inputs) - 1].set_xlabel("looks at the box, in the order of the scenario")
        handles, _ = axes.flat[0].get_legend_handles_labels()
        handles.append(
            Patch(facecolor="0.9", edgecolor="0.6", hatch="////", label="no reading: the box names a fault")
        )
        figure.legend(handles=handles, loc="outside lower center", ncols=3)
    percent = np.linspace(0, 100, 401)
    for lamp in box.lamps:
        panel = spare.pop(0)
        law = duty_of_knob(lamp.curve, np.rint(percent * 655.35).astype(np.int64))[0] / 655.35
        panel.plot(percent, law, color="0.6", linewidth=2.5, label="law")
        knob = report.knobs[lamp.name]
        panel.plot(
            [p for p, _ in knob], [duty / 655.35 for _, duty in knob], ".", color="tab:blue", label="box"
        )
        panel.set_title(f"{lamp.name} lamp")
        panel.set_xlabel("knob, %")
        panel.set_ylabel("duty, %")
        panel.grid(alpha=0.3)
        panel.legend(fontsize=8)
    for panel in spare:
        panel.set_axis_off()
    figure.suptitle(
        f"{box.name} on the bench: {report.passed} passed, {report.failed} failed (virtual box, model aircraft)"
    )
    figure.savefig(path, dpi=100)
    pyplot.close(figure)
