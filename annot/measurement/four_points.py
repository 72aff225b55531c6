"""Numbers of four points in a stated order: offset from a line, angle of two lines, share covered.

Own definitions by plane geometry; every function takes one array a point and draws element by
element, so that estimates and samples go through the same lines.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from annot.geometry import PixelPoint
from annot.vocabulary.measurands import Form

FloatArray = NDArray[np.float64]
Places = Sequence[FloatArray]


def side_of_line(form: Form, places: Sequence[PixelPoint]) -> float:
    """Return the sign that a drawing keeps while its points scatter: +1 or −1.

    Of an offset: on which side of the line lies the point that is inside. Of two lines: to which
    side the second turns away from the first.
    """
    (r0, c0), (r1, c1), (r2, c2), (r3, c3) = places
    if form == "offset":
        cross = (r1 - r0) * (c2 - c0) - (c1 - c0) * (r2 - r0)
    else:
        cross = (r1 - r0) * (c3 - c2) - (c1 - c0) * (r3 - r2)
    return -1.0 if cross < 0 else 1.0


def offset(rows: Places, columns: Places, inside: float) -> FloatArray:
    """Return how far the last point lies from the line of the first two, away from inside."""
    down, across = rows[1] - rows[0], columns[1] - columns[0]
    cross = down * (columns[3] - columns[0]) - across * (rows[3] - rows[0])
    return np.asarray(-inside * cross / np.sqrt(down**2 + across**2))


def tilt_between(rows: Places, columns: Places, turn: float) -> FloatArray:
    """Return the angle in degrees between the lines of the first two and the last two points.

    It is smooth at 0, so samples of a drawing near 0 also fall below it.
    """
    down, across = ((one[1] - one[0], one[3] - one[2]) for one in (rows, columns))
    cross = down[0] * across[1] - across[0] * down[1]
    dot = down[0] * down[1] + across[0] * across[1]
    return np.asarray(np.degrees(np.arctan2(turn * cross, dot)))


def cover(rows: Places, columns: Places) -> FloatArray:
    """Return the share of the line of the first two points between the feet of the last two."""
    down, across = rows[1] - rows[0], columns[1] - columns[0]
    square = down**2 + across**2
    feet = [
        ((rows[k] - rows[0]) * down + (columns[k] - columns[0]) * across) / square for k in (2, 3)
    ]
    return np.asarray(_within(np.maximum(*feet)) - _within(np.minimum(*feet)))


def _within(share: FloatArray) -> FloatArray:
    return np.asarray(np.clip(share, 0.0, 1.0))
