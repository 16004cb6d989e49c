"""What the eye and the radio make of each lamp, as a picture."""

from pathlib import Path
from typing import Any

import numpy as np

from gaugelight import pwm
from gaugelight.build import Build
from gaugelight.curves import values
from gaugelight.driver import GATE_DRIVER, SLOW
from gaugelight.lightness import light_of_level, lightness
from gaugelight.lights import Lamp
from gaugelight.loads import amperes
from gaugelight.spectrum import AIRBAND, VOICE, decibel_microamperes, envelope


def lamps_plot(built: Build, names: list[str], chip: pwm.Chip, path: Path) -> None:
    """Writes the picture, a row for each lamp (of those named, if any). Raises OSError."""
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot

    pairs = zip(built.box.lights.dimmed, built.lights.duty_curves)
    lamps = [
        (one, values(curve))
        for one, curve in pairs
        if isinstance(one, Lamp) and (not names or one.name in names)
    ]
    figure, axes = pyplot.subplots(
        max(1, len(lamps)), 3, figsize=(16, 3.6 * max(1, len(lamps))), squeeze=False, layout="constrained"
    )
    for (lamp, duties), row in zip(lamps, axes):
        steps = pwm.compare(setting := pwm.setting(chip, lamp.frequency), duties) / setting.steps
        levels = np.arange(len(duties)) / 100
        _lightness(row[0], lamp, levels, lightness(steps))
        _steps(row[1], levels, lightness(steps))
        _spectrum(row[2], lamp, float(built.box.supply))
        row[0].set_ylabel(f"{lamp.name}: lightness L*")
    for panel in axes[len(lamps) :].flat:
        panel.set_axis_off()
    figure.suptitle(f"{built.box.name}: lamps on the {chip.name}")
    figure.savefig(path, dpi=100)
    pyplot.close(figure)


def _lightness(panel: Any, lamp: Lamp, levels: Any, seen: Any) -> None:
    panel.plot(levels, lightness(light_of_level(lamp, levels)), color="0.6", linewidth=3, label="law")
    panel.plot(levels, seen, color="tab:blue", linewidth=1, label="pulses of the box")
    panel.set_xlabel("level, % of the knob's travel")
    panel.grid(alpha=0.3)
    panel.legend(fontsize=8)


def _steps(panel: Any, levels: Any, seen: Any) -> None:
    lit = seen > 0
    panel.plot(levels[lit][1:], np.diff(seen[lit]), ".", markersize=2, color="tab:blue")
    panel.axhline(0.2, color="tab:red", linewidth=1)
    panel.text(100, 0.2, "not seen below", color="tab:red", fontsize=8, ha="right", va="bottom")
    panel.set_ylim(0, 0.25)
    panel.set_xlabel("level, % of the knob's travel")
    panel.set_ylabel("step of L* to the next level")
    panel.grid(alpha=0.3)


def _spectrum(panel: Any, lamp: Lamp, supply: float) -> None:
    known = lamp.load is not None and not lamp.load.dim_wire
    current = amperes(lamp.load, supply) if lamp.load is not None and known else 1.0
    n = np.unique(np.geomspace(1, 200e6 / lamp.frequency, 400).astype(np.int64))
    for name, driver in (("this driver", lamp.driver), ("slow edges", SLOW), ("gate driver", GATE_DRIVER)):
        peaks = current * envelope(lamp.frequency, n, driver.rise, driver.fall)
        panel.semilogx(
            n * lamp.frequency, [decibel_microamperes(peak) for peak in peaks.tolist()], label=name
        )
    for low, high, what in ((300.0, VOICE, "voice"), (*AIRBAND, "airband")):
        panel.axvspan(low, high, color="0.85")
        panel.text(
            np.sqrt(low * high),
            0.98,
            what,
            rotation=90,
            ha="center",
            va="top",
            fontsize=8,
            transform=panel.get_xaxis_transform(),
        )
    panel.set_xlim(200, 300e6)
    panel.set_xlabel("Hz")
    panel.set_ylabel("largest line, dBuA" + ("" if known else " of 1 A"))
    panel.grid(alpha=0.3)
    panel.legend(fontsize=8, loc="lower left")
