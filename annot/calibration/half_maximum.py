"""The naive width of a shadow, where it is half as deep as at its deepest: shown, never used.

A round object's profile falls to half inside its edge: a faint one reads 13 to 18 % small up to a
blur of a fifth of its diameter, so a scale from it is as much too large. Seen beside the fitted
diameter it says how much of the number is the model's doing.
"""

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


def half_maximum_px(offset_px: FloatArray, absorbed: FloatArray) -> float | None:
    """Return the full width at half maximum of one profile, crossings by straight lines.

    Parameters
    ----------
    offset_px : array, shape (m,)
        Ascending.
    absorbed : array, shape (m,)
        Depth of the shadow, zero beside it.

    Returns
    -------
    float, or None where the profile does not fall below half on both sides.
    """
    deepest = int(np.argmax(absorbed))
    half = absorbed[deepest] / 2.0
    below = absorbed < half
    left = np.flatnonzero(below[:deepest])
    right = np.flatnonzero(below[deepest:]) + deepest
    if half <= 0 or not len(left) or not len(right):
        return None
    inner, outer = int(left[-1]), int(right[0])
    ends = [
        np.interp(half, absorbed[[inner, inner + 1]], offset_px[[inner, inner + 1]]),
        np.interp(half, absorbed[[outer, outer - 1]], offset_px[[outer, outer - 1]]),
    ]
    return float(ends[1] - ends[0])
