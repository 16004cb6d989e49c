"""The face's fonts as they were drawn for it: small letters dot by dot, large digits from strokes of a round pen.

    python -m gaugelight.digits_drawn

writes firmware/gaugebox/digits.py. Each column of a glyph is a byte for eight rows, the uppermost in its lowest bit, as the
display's memory wants it.
"""

import math
import sys
from pathlib import Path

import gaugebox

TARGET = Path(gaugebox.__file__).parent / "digits.py"

# five columns and eight rows each, from the space on; after the tilde the sign for degrees
SMALL = """
..... ..X.. .X.X. .X.X. ..X.. XX... .X... ..X.. ...X. .X... ..... .....
..... ..X.. .X.X. .X.X. .XXXX XX..X X.X.. ..X.. ..X.. ..X.. ..X.. ..X..
..... ..X.. ..... XXXXX X.X.. ...X. X.X.. ..... .X... ...X. X.X.X ..X..
..... ..X.. ..... .X.X. .XXX. ..X.. .X... ..... .X... ...X. .XXX. XXXXX
..... ..X.. ..... XXXXX ..X.X .X... X.X.X ..... .X... ...X. X.X.X ..X..
..... ..... ..... .X.X. XXXX. X..XX X..X. ..... ..X.. ..X.. ..X.. ..X..
..... ..X.. ..... .X.X. ..X.. ...XX .XX.X ..... ...X. .X... ..... .....
..... ..... ..... ..... ..... ..... ..... ..... ..... ..... ..... .....

..... ..... ..... ....X .XXX. ..X.. .XXX. XXXX. ...X. XXXXX ..XX. XXXXX
..... ..... ..... ....X X...X .XX.. X...X ....X ..XX. X.... .X... ....X
..... ..... ..... ...X. X...X ..X.. ....X ....X .X.X. X.... X.... ...X.
..... XXXXX ..... ..X.. X...X ..X.. ..XX. .XXX. X..X. XXXX. XXXX. ...X.
..... ..... ..... .X... X...X ..X.. .X... ....X XXXXX ....X X...X ..X..
.XX.. ..... .XX.. X.... X...X ..X.. X.... ....X ...X. ....X X...X ..X..
.XX.. ..... .XX.. X.... .XXX. .XXX. XXXXX XXXX. ...X. XXXX. .XXX. ..X..
.X... ..... ..... ..... ..... ..... ..... ..... ..... ..... ..... .....

.XXX. .XXX. ..... ..... ...X. ..... .X... .XXX. .XXX. ..X.. XXXX. .XXXX
X...X X...X .XX.. .XX.. ..X.. ..... ..X.. X...X X...X .X.X. X...X X....
X...X X...X .XX.. .XX.. .X... XXXXX ...X. ....X X.XXX X...X X...X X....
.XXX. .XXXX ..... ..... X.... ..... ....X ..XX. X.X.X X...X XXXX. X....
X...X ....X .XX.. .XX.. .X... XXXXX ...X. ..X.. X.XXX XXXXX X...X X....
X...X ...X. .XX.. .XX.. ..X.. ..... ..X.. ..... X.... X...X X...X X....
.XXX. .XX.. ..... ..X.. ...X. ..... .X... ..X.. .XXXX X...X XXXX. .XXXX
..... ..... ..... .X... ..... ..... ..... ..... ..... ..... ..... .....

XXXX. XXXXX XXXXX .XXXX X...X .XXX. ....X X...X X.... X...X X...X .XXX.
X...X X.... X.... X.... X...X ..X.. ....X X..X. X.... XX.XX XX..X X...X
X...X X.... X.... X.... X...X ..X.. ....X X.X.. X.... X.X.X X.X.X X...X
X...X XXXX. XXXX. X..XX XXXXX ..X.. ....X XX... X.... X.X.X X..XX X...X
X...X X.... X.... X...X X...X ..X.. ....X X.X.. X.... X...X X...X X...X
X...X X.... X.... X...X X...X ..X.. X...X X..X. X.... X...X X...X X...X
XXXX. XXXXX X.... .XXX. X...X .XXX. .XXX. X...X XXXXX X...X X...X .XXX.
..... ..... ..... ..... ..... ..... ..... ..... ..... ..... ..... .....

XXXX. .XXX. XXXX. .XXXX XXXXX X...X X...X X...X X...X X...X XXXXX .XXX.
X...X X...X X...X X.... ..X.. X...X X...X X...X X...X X...X ....X .X...
X...X X...X X...X X.... ..X.. X...X X...X X...X .X.X. .X.X. ...X. .X...
XXXX. X...X XXXX. .XXX. ..X.. X...X X...X X.X.X ..X.. ..X.. ..X.. .X...
X.... X.X.X X.X.. ....X ..X.. X...X .X.X. X.X.X .X.X. ..X.. .X... .X...
X.... X..X. X..X. ....X ..X.. X...X .X.X. XX.XX X...X ..X.. X.... .X...
X.... .XX.X X...X XXXX. ..X.. .XXX. ..X.. X...X X...X ..X.. XXXXX .XXX.
..... ..... ..... ..... ..... ..... ..... ..... ..... ..... ..... .....

X.... .XXX. ..X.. ..... .X... ..... X.... ..... ....X ..... ..XX. .....
X.... ...X. .X.X. ..... ..X.. ..... X.... ..... ....X ..... .X... .....
.X... ...X. X...X ..... ..... .XXX. XXXX. .XXXX .XXXX .XXX. XXXX. .XXXX
..X.. ...X. ..... ..... ..... ....X X...X X.... X...X X...X .X... X...X
...X. ...X. ..... ..... ..... .XXXX X...X X.... X...X XXXXX .X... X...X
....X ...X. ..... ..... ..... X...X X...X X.... X...X X.... .X... .XXXX
....X .XXX. ..... ..... ..... .XXXX XXXX. .XXXX .XXXX .XXXX .X... ....X
..... ..... ..... XXXXX ..... ..... ..... ..... ..... ..... ..... .XXX.

X.... ..X.. ...X. X.... .X... ..... ..... ..... ..... ..... ..... .....
X.... ..... ..... X.... .X... ..... ..... ..... ..... ..... ..... .....
XXXX. .XX.. ..XX. X..X. .X... XX.X. XXXX. .XXX. XXXX. .XXXX X.XXX .XXXX
X...X ..X.. ...X. X.X.. .X... X.X.X X...X X...X X...X X...X XX... X....
X...X ..X.. ...X. XX... .X... X.X.X X...X X...X X...X X...X X.... .XXX.
X...X ..X.. ...X. X.X.. .X... X.X.X X...X X...X XXXX. .XXXX X.... ....X
X...X ..XX. ...X. X..XX ..XX. X.X.X X...X .XXX. X.... ....X X.... XXXX.
..... ..... .XX.. ..... ..... ..... ..... ..... X.... ....X ..... .....

.X... ..... ..... ..... ..... ..... ..... ...XX ..X.. XX... ..... .XX..
.X... ..... ..... ..... ..... ..... ..... ..X.. ..X.. ..X.. ..... X..X.
XXXX. X...X X...X X...X X...X X...X XXXXX ..X.. ..X.. ..X.. .X..X X..X.
.X... X...X X...X X.X.X .X.X. X...X ...X. .X... ..X.. ...X. X.XX. .XX..
.X... X...X X...X X.X.X ..X.. X...X ..X.. ..X.. ..X.. ..X.. ..... .....
.X... X...X .X.X. X.X.X .X.X. .XXXX .X... ..X.. ..X.. ..X.. ..... .....
..XX. .XXXX ..X.. .X.X. X...X ....X XXXXX ...XX ..X.. XX... ..... .....
..... ..... ..... ..... ..... .XXX. ..... ..... ..... ..... ..... .....
"""

# Of a digit: lines from point to point, x and y from 0 to 1, y downwards; an arc by its middle, radii and angles in degrees. All
# digits are equally wide.
Line = tuple[float, ...]
STROKES: dict[str, list[Line]] = {
    "0": [
        (0.5, 0.33, 0.5, 0.33, 180, 360),
        (0, 0.33, 0, 0.67),
        (1, 0.33, 1, 0.67),
        (0.5, 0.67, 0.5, 0.33, 0, 180),
    ],
    "1": [(0.15, 0.22, 0.55, 0), (0.55, 0, 0.55, 1)],
    "2": [(0.5, 0.29, 0.5, 0.29, 170, 395), (0.93, 0.44, 0, 1), (0, 1, 1, 1)],
    "3": [(0.45, 0.25, 0.5, 0.25, 200, 450), (0.45, 0.74, 0.55, 0.26, 270, 520)],
    "4": [(0.62, 0, 0, 0.7), (0, 0.7, 1, 0.7), (0.74, 0.35, 0.74, 1)],
    "5": [(0.92, 0, 0.1, 0), (0.1, 0, 0.06, 0.45), (0.06, 0.45, 0.48, 0.4), (0.45, 0.7, 0.55, 0.3, 270, 510)],
    "6": [(0.8, 0, 0.25, 0.3), (0.25, 0.3, 0, 0.68), (0.5, 0.69, 0.5, 0.31, 0, 360)],
    "7": [(0, 0, 1, 0), (1, 0, 0.35, 1)],
    "8": [(0.5, 0.24, 0.42, 0.24, 0, 360), (0.5, 0.74, 0.5, 0.26, 0, 360)],
    "9": [(0.5, 0.31, 0.5, 0.31, 0, 360), (1, 0.32, 0.75, 0.7), (0.75, 0.7, 0.2, 1)],
    "-": [(0.15, 0.52, 0.85, 0.52)],
    ".": [(0.02, 1, 0.02, 1)],
}
LARGE = "0123456789-."
SIZES = {"MEDIUM": (10, 16, 2.2), "TALL": (14, 24, 3.2)}  # columns, rows, width of the pen


def small() -> bytes:
    """Five bytes a glyph."""
    columns = b""
    for band in SMALL.strip().split("\n\n"):
        rows = [row.split() for row in band.split("\n")]
        for glyph in zip(*rows, strict=True):
            columns += bytes(sum((row[x] == "X") << y for y, row in enumerate(glyph)) for x in range(5))
    return columns


def points(line: Line) -> list[tuple[float, float]]:
    if len(line) == 4:
        x0, y0, x1, y1 = line
        return [(x0 + (x1 - x0) * t / 64, y0 + (y1 - y0) * t / 64) for t in range(65)]
    x, y, across, down, begins, ends = line
    angles = [math.radians(begins + (ends - begins) * t / 64) for t in range(65)]
    return [(x + across * math.cos(angle), y + down * math.sin(angle)) for angle in angles]


def large(size: str) -> bytes:
    """Of each glyph, top to bottom, the columns of eight rows."""
    columns, rows, pen = SIZES[size]
    made = b""
    for character in LARGE:
        touched = [
            (pen / 2 + x * (columns - pen), pen / 2 + y * (rows - pen))
            for line in STROKES[character]
            for x, y in points(line)
        ]

        def lit(column: int, row: int) -> bool:
            return any(math.hypot(column + 0.5 - x, row + 0.5 - y) <= pen / 2 for x, y in touched)

        for page in range(rows // 8):
            made += bytes(sum(lit(column, 8 * page + k) << k for k in range(8)) for column in range(columns))
    return made


def module() -> str:
    """The text of gaugebox/digits.py."""
    text = (
        '"""The face\'s fonts. Made by gaugelight.digits_drawn, where they are drawn; not to be edited."""\n'
    )
    fonts = {"SMALL": (small(), 5, 8)} | {name: (large(name), *SIZES[name][:2]) for name in SIZES}
    for name, (columns, wide, high) in fonts.items():
        what = "from the space on" if name == "SMALL" else LARGE
        text += f"\n{name}_WIDTH = {wide}  # {high} rows; {what}\n{name} = (\n"
        for at in range(0, len(columns), 25):
            text += '    b"' + "".join(f"\\x{octet:02x}" for octet in columns[at : at + 25]) + '"\n'
        text += ")\n"
    return text


def main() -> int:
    TARGET.write_text(module(), newline="\n")
    print(f"written: {TARGET}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
