"""How long a day of log takes: `python -m gaugelight.flights.benchmark_replay [HOURS]`, at ten rows a second, with the demo's inputs."""

from __future__ import annotations

import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from gaugebox.measure import SILENT
from gaugelight.boxfile import Box, read_box
from gaugelight.build import build
from gaugelight.cli import DEMO
from gaugelight.flights.recording import read_recording
from gaugelight.flights.replay import Job, replay, replay_both
from gaugelight.said import resting_count

ROWS_A_SECOND = 10
NOISE = 40  # counts, 1 sigma
SILENT_SHARE = 1e-4
ROWS_AT_ONCE = 10_000


def write_day(box: Box, path: Path, hours: float) -> int:
    """A log as `gaugelight log` writes it, but ten rows a second: inputs at rest, with noise, now and then silent; the rows."""
    rows = round(hours * 3600 * ROWS_A_SECOND)
    chance = np.random.default_rng(7)
    rest = np.array([resting_count(box, one) for one in box.inputs])
    names = [f"{one.name} count" for one in box.inputs]
    with path.open("w", encoding="utf-8") as file:
        file.write(
            f"# gaugelight log, box {box.name}, table none\nstart,seconds,time UTC,{','.join(names)},event\n"
        )
        for first in range(0, rows, ROWS_AT_ONCE):
            many = min(ROWS_AT_ONCE, rows - first)
            counts = np.clip(rest + chance.normal(0, NOISE, (many, len(rest))), 0, 65535).astype(int)
            counts[chance.random(counts.shape) < SILENT_SHARE] = SILENT
            for k, row in enumerate(counts.tolist()):
                cells = ",".join("" if count == SILENT else str(count) for count in row)
                file.write(f"1,{(first + k) / ROWS_A_SECOND:.1f},,{cells},\n")
    return rows


def main(words: list[str]) -> int:
    hours = float(words[0]) if words else 24.0
    box = read_box(DEMO)
    built = build(box)
    with TemporaryDirectory() as folder:
        path = Path(folder) / "day.csv"
        rows = write_day(box, path, hours)
        print(f"{rows:,} rows of {len(box.inputs)} inputs, {path.stat().st_size / 1e6:.0f} MB")
        began = time.monotonic()
        recording = read_recording(path)
        print(f"read in {time.monotonic() - began:.1f} s")
    one, other = Job("one", built.image), Job("other", built.image)
    began, busy = time.monotonic(), time.process_time()
    replay(one, recording)
    took, computed = time.monotonic() - began, time.process_time() - busy
    rate = f"{rows / took:,.0f} rows, {rows * len(box.inputs) / took:,.0f} counts a second"
    print(f"replayed in {took:.1f} s: {rate}; {computed:.1f} s of the processor")
    began = time.monotonic()
    replay_both(one, other, recording)
    print(f"two tables beside each other in {time.monotonic() - began:.1f} s")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
