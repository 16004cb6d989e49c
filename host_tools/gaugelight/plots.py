"""The bench as a picture: each input's truth and reading over the scenario, and the lamp over its knob."""

import math
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
        bottom = float(min(one.points[0][1], one.points[-1][1]))
        named = [k for k, fault in enumerate(trace.fault) if fault]
        panel.plot(named, [bottom] * len(named), "x", color="black", markersize=4, label="box names a fault")
        for k in named:
            if k == 0 or trace.fault[k] != trace.fault[k - 1]:
                panel.annotate(
                    trace.fault[k], (k, bottom), (2, 6), textcoords="offset points", fontsize=8, rotation=60
                )
        panel.set_title(one.name)
        panel.set_ylabel(one.unit)
        panel.grid(alpha=0.3)
    if box.inputs:
        axes.flat[len(box.inputs) - 1].set_xlabel("looks at the box, in the order of the scenario")
        figure.legend(*axes.flat[0].get_legend_handles_labels(), loc="outside lower center", ncols=3)
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
