"""Monotone piecewise-linear curves over integers: the one conversion the box knows.

A curve is a tuple (x, y, dx, dy, first, shift), made once at start and then only read:
x, y     breakpoints, x strictly increasing, y never turning back
dx, dy   the steps between them, stored so that a lookup need not subtract
first    for each span of 2**shift above x[0], the segment in which it begins
Every product stays below 2**30, the small integers of a 32-bit MicroPython, so a lookup takes no heap.
"""

from array import array

LIMIT = 1 << 30
BINS = 64

TYPE_CHECKING = False  # the box has no typing module
if TYPE_CHECKING:
    Curve = tuple[array[int], array[int], array[int], array[int], bytearray, int]


def make_curve(xs: "array[int]", ys: "array[int]") -> "Curve":
    """The curve through breakpoints (xs[k], ys[k]), two to 255 of them.

    Raises ValueError when they are not monotone or a product could leave 31 bits.
    """
    n = len(xs)
    if n < 2 or n > 255 or len(ys) != n:
        raise ValueError("a curve needs 2 to 255 breakpoints, not %d" % n)
    dx = array("i", [1] * n)
    dy = array("i", [0] * n)
    rising = ys[n - 1] >= ys[0]
    for k in range(n - 1):
        dx[k] = xs[k + 1] - xs[k]
        dy[k] = ys[k + 1] - ys[k]
        if dx[k] <= 0:
            raise ValueError("breakpoint %d does not lie right of the one before" % (k + 1))
        if dy[k] < 0 if rising else dy[k] > 0:
            raise ValueError("breakpoint %d turns back" % (k + 1))
        if dx[k] * (abs(dy[k]) + 1) >= LIMIT or abs(ys[k]) >= LIMIT or abs(ys[k + 1]) >= LIMIT:
            raise ValueError("segment %d does not fit 31 bits" % k)
    span = xs[n - 1] - xs[0]
    shift = 0
    while span >> shift >= BINS:
        shift += 1
    first = bytearray((span >> shift) + 1)
    k = 0
    for i in range(len(first)):
        while k < n - 2 and xs[k + 1] - xs[0] <= i << shift:
            k += 1
        first[i] = k
    x = array("i", xs)
    x.append(LIMIT - 1)  # stops the walk at the last breakpoint
    return x, array("i", ys), dx, dy, first, shift


def lookup(curve: "Curve", n: int) -> int:
    """The curve's value at n, rounded to nearest; n must lie within its breakpoints."""
    x, y, dx, dy, first, shift = curve
    k = first[(n - x[0]) >> shift]
    while n >= x[k + 1]:
        k += 1
    d = dx[k]
    return y[k] + ((n - x[k]) * dy[k] + (d >> 1)) // d
