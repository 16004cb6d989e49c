"""A calibration as a picture: points with bars, the curve with its band, dead zones shaded, residuals below."""

from __future__ import annotations

from pathlib import Path

from gaugelight.calibration.results import Result


def figure(result: Result) -> str:
    """The picture as SVG text. Raises ImportError without matplotlib."""
    raise NotImplementedError


def draw(result: Result, path: Path) -> None:
    """Writes a .png, .svg or .pdf. Raises OSError, ImportError."""
    raise NotImplementedError
