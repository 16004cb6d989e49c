"""Random lighting tables: whatever `check` lets through, the box takes, and its lights stay within bounds and within their fades."""

import random
from pathlib import Path

import pytest

from gaugebox.light import FULL, Lighting
from gaugebox.measure import CONVERTER, NONE, OPEN, make_channels
from gaugebox.table import Table
from gaugelight.boxfile import read_box
from gaugelight.build import build
from gaugelight.problems import WrongBoxFile
from test_light_file import HEAD

BOXES = 40
TICKS = 400
PINS = {"a": 15, "b": 8, "c": 10, "d": 12}


class Writer:
    """Writes box files, mostly right ones."""

    def __init__(self, seed: int) -> None:
        self.random = random.Random(seed)

    def per_cent(self, most: float = 100) -> str:
        edge = self.random.choice([0.0, 5.0, most, self.random.uniform(0, most)])
        return f'"{min(edge, most):.3g} %"'

    def points(self, unit: str, most: float, to: str, highest: float) -> str:
        xs = sorted(self.random.sample([most * k / 7 for k in range(8)], self.random.randint(2, 5)))
        if self.random.random() < 0.4:
            xs.insert(1, xs[0])  # a step
        ys = [self.random.choice([0.0, highest, self.random.uniform(0, highest)]) for _ in xs]
        return "[" + ", ".join(f'["{x:.4g} {unit}", "{y:.4g} {to}"]' for x, y in zip(xs, ys)) + "]"

    def sometimes(self, text: str) -> str:
        return text if self.random.random() < 0.4 else ""

    def lamp(self, name: str, others: list[str], by_day: bool) -> str:
        text = f'\n[[lamp]]\nname = "{name}"\npin = {PINS[name]}\nfade = "{self.random.choice([0, 0.04, 0.2, 20])} s"\n'
        way = self.random.choice(["knob", "level", "input"] + ["lamp"] * bool(others))
        if way == "knob":
            text += (
                "knob = 27\n"
                + self.sometimes('off_below = "3 %"\non_above = "9 %"\n')
                + self.sometimes("override = false\n")
            )
        elif way == "level":
            text += f"level = {self.per_cent()}\n"
        elif way == "lamp":
            text += f'follows = "{self.random.choice(others)}"\n' + self.sometimes(
                f'points = {self.points("%", 100, "%", 100)}\n'
            )
        else:
            name, unit, most = self.random.choice([("bus", "V", 16.0), ("sky", "%", 100.0)])
            text += f'follows = "{name}"\npoints = {self.points(unit, most, "%", 100)}\n'
        text += self.sometimes(f"curve = {{ gamma = {self.random.uniform(1, 4):.2f} }}\n")
        text += self.sometimes(f'floor = "{self.random.choice([0, 0.02, 1])} %"\n') + self.sometimes(
            'ceiling = "40 %"\n'
        )
        text += self.sometimes(f"by_day = {self.per_cent()}\n") if by_day else ""
        load = f'load = {{ current = "0.3 A", at = "12 V", drop = "{self.random.uniform(0, 9):.3g} V" }}\n'
        return text + self.sometimes(
            f'compensate = {{ input = "bus", at = "{self.random.uniform(10, 15):.3g} V" }}\n' + load
        )

    def box(self) -> str:
        by_day = self.random.random() < 0.5
        names = list(PINS)[: self.random.randint(1, 4)]
        text = HEAD + "".join(self.lamp(name, names[:k], by_day) for k, name in enumerate(names))
        followed = self.random.choice(names)
        text += self.sometimes(
            f'\n[display]\nfollows = "{followed}"\npoints = {self.points("%", 100, "%", 100)}\n'
        )
        line = f'\n[bus_output]\npin = 13\nfollows = "{followed}"\nfull_scale = "14 V"\nseries = "100 ohm"\nload = "1.5 kohm"\n'
        line += f'points = {self.points("%", 100, "V", 13)}\nfilter = {{ resistor = "10 kohm", capacitor = "470 nF" }}\n'
        text += self.sometimes(line) + self.sometimes(f'\n[dim_request]\npin = 20\nfollows = "{followed}"\n')
        return text + ('\n[daylight]\nsensor = "sky"\nday_above = 60\nnight_below = 30\n' if by_day else "")


@pytest.mark.parametrize("seed", range(4))
def test_any_box_that_is_read_runs(seed: int, tmp_path: Path) -> None:
    writer, ran = Writer(seed), 0
    while ran < BOXES:
        (tmp_path / "box.toml").write_text(text := writer.box())
        try:
            box = read_box(tmp_path / "box.toml")
        except WrongBoxFile:
            continue
        run(Table(build(box).image), writer.random, text)
        ran += 1


def run(table: Table, chance: random.Random, text: str) -> None:
    channels = make_channels(table.inputs, [0])
    lighting = Lighting(table, channels)
    count = 30_000
    for _ in range(TICKS):
        if chance.random() < 0.05:
            count = chance.choice([0, 65_535, 7_000, 12_000, 53_300, chance.randint(0, 65_535)])
            for channel in channels:
                readings = channel.record.reading_curve[1]
                channel.said[0] = chance.choice([NONE, NONE, NONE, OPEN, CONVERTER])
                channel.said[3] = chance.choice(
                    [min(readings), max(readings), chance.randint(min(readings), max(readings))]
                )
        before = [dimmer.level for dimmer in lighting.dimmers]
        for knob in lighting.knobs:
            knob.take(count)
        lighting.step()
        for dimmer, level in zip(lighting.dimmers, before):
            fade = max(1, dimmer.record.fade)
            assert (
                0 <= dimmer.duty <= 65_535 and 0 <= dimmer.level <= FULL and 0 <= dimmer.factor <= 1 << 14
            ), text
            assert abs(dimmer.level - level) <= abs(dimmer.target - level) / fade + 2, (
                dimmer.record.name,
                text,
            )
