"""Piecewise-linear curves over integers: the one conversion the box knows.

A curve is a tuple (x, y, (x0, shift, starts)), made once at start and then only read:
x, y       its breakpoints, x strictly increasing, y never turning back (but where a light follows a line)
x0, shift  the walk to n's segment starts in span (n - x0) >> shift
starts     for each span the segment in which it begins: (end, the next segment, x, y, dx, dy)
Every product stays below 2**30, the small integers of a 32-bit MicroPython, so a lookup takes no heap.
"""

from array import array

LIMIT = 1 << 30
SPANS = 32

TYPE_CHECKING = False  # the box has no typing module
if TYPE_CHECKING:
    from typing import Any

    Curve = tuple[array[int], array[int], tuple[int, int, Any]]


def make_curve(xs: "array[int]", ys: "array[int]", turns: bool = False) -> "Curve":
    """The curve through breakpoints (xs[k], ys[k]), two to 255 of them.

    Raises ValueError when the xs do not rise, the ys turn back (unless `turns`) or a product could leave 31 bits.
    """
    n = len(xs)
    if n < 2 or n > 255 or len(ys) != n:
        raise ValueError("a curve needs 2 to 255 breakpoints, not %d" % n)
    rising = ys[n - 1] >= ys[0]
    for k in range(n - 1):
        dx = xs[k + 1] - xs[k]
        dy = ys[k + 1] - ys[k]
        if dx <= 0:
            raise ValueError("breakpoint %d does not lie right of the one before" % (k + 1))
        if not turns and (dy < 0 if rising else dy > 0):
            raise ValueError("breakpoint %d turns back" % (k + 1))
        if dx * (abs(dy) + 1) >= LIMIT or abs(ys[k]) >= LIMIT or abs(ys[k + 1]) >= LIMIT:
            raise ValueError("segment %d does not fit 31 bits" % k)
    x0 = xs[0]
    span = xs[n - 1] - x0
    if x0 <= -LIMIT or xs[n - 1] >= LIMIT - 1 or span >= LIMIT:
        raise ValueError("the breakpoints do not fit 31 bits")
    shift = 0
    while span >> shift >= SPANS:
        shift += 1
    starts: "list[Any]" = [None] * ((span >> shift) + 1)
    at = len(starts)
    segment: "Any" = None
    end = LIMIT - 1  # the last segment goes on, so that the walk ends at the last breakpoint
    for k in range(n - 2, -1, -1):
        segment = (end, segment, xs[k], ys[k], xs[k + 1] - xs[k], ys[k + 1] - ys[k])
        end = xs[k]
        while at and x0 + ((at - 1) << shift) >= end:
            at -= 1
            starts[at] = segment
    return array("i", xs), array("i", ys), (x0, shift, starts)


def lookup(curve: "Curve", n: int) -> int:
    """The curve's value at n, rounded to nearest; n must lie within its breakpoints."""
    # few names, used twice: a larger frame would be taken from the heap at every call
    x, dx, at = curve[2]  # x0, shift, starts
    at = at[(n - x) >> dx]
    while n >= at[0]:
        at = at[1]
    dx = at[4]
    return at[3] + ((n - at[2]) * at[5] + (dx >> 1)) // dx  # type: ignore[no-any-return]
