"""Where a frame shows anything: outside lie collimator blades and the file's own shutter."""

import numpy as np
from numpy.typing import NDArray

from annot.calibration.allowances import BLACK_SHARE

FloatArray = NDArray[np.float64]
Mask = NDArray[np.bool_]
LEAST_SHARE = 0.01  # of the frame: a smaller dark patch at the border is anatomy or an object
EDGE_PX = 3  # the blades' own blur


def hidden_field(frame: NDArray[np.generic], shutter: Mask | None = None) -> Mask | None:
    """Return what blades or a shutter hide, with the blur of their edges; None if nothing.

    Parameters
    ----------
    frame : array, shape (rows, columns)
        Pixels proportional to intensity.
    shutter : array of bool, optional
        What the file's own shutter covers.

    Notes
    -----
    Blades are dark patches that reach the border and take more than a hundredth of the frame; dark
    is below a share of the brightest twentieth of the frame (see `allowances`).
    """
    from scipy.ndimage import binary_dilation, label, uniform_filter

    values = np.asarray(frame, dtype=float)
    bright = float(np.quantile(values[::4, ::4], 0.95))
    hidden = np.zeros(values.shape, dtype=bool) if shutter is None else shutter.copy()
    border = np.concatenate([values[0], values[-1], values[:, 0], values[:, -1]])
    if np.min(border) <= BLACK_SHARE.value * bright:
        dark = uniform_filter(values, 3, mode="nearest") <= BLACK_SHARE.value * bright
        patches, _ = label(dark)
        edge = np.concatenate([patches[0], patches[-1], patches[:, 0], patches[:, -1]])
        sizes = np.bincount(patches.ravel())
        named = [one for one in np.unique(edge[edge > 0]) if sizes[one] >= LEAST_SHARE * dark.size]
        hidden |= np.isin(patches, named)
    if not hidden.any() or bright <= 0:
        return None
    return np.asarray(binary_dilation(hidden, iterations=EDGE_PX))


def first_hidden(hidden: Mask | None, spots: FloatArray) -> tuple[int, int] | None:
    """Return the first of some places (..., 2) that is hidden: (row, column), None if none is."""
    if hidden is None:
        return None
    flat = spots.reshape(-1, 2)
    covered = np.flatnonzero(is_hidden(hidden, flat))
    if not len(covered):
        return None
    row, column = np.round(flat[covered[0]])
    return int(row), int(column)


def is_hidden(hidden: Mask, spots: FloatArray) -> Mask:
    """Tell for places (..., 2) whether their nearest pixel is hidden."""
    nearest = np.clip(np.round(spots).astype(int), 0, np.array(hidden.shape) - 1)
    return np.asarray(hidden[nearest[..., 0], nearest[..., 1]])
