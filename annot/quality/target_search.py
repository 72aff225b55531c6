"""Bright point targets of an ultrasound phantom, and their rows along and across the beam."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from annot.errors import InputError
from annot.quality.lattice import find_row

FloatArray = NDArray[np.float64]
BRIGHT_TO_NOISE = 8.0
REACH_PX = 5
DOWN, ACROSS = np.array([1.0, 0.0]), np.array([0.0, 1.0])


@dataclass(frozen=True, slots=True, kw_only=True)
class TargetRow:
    """Targets in order along one direction.

    Attributes
    ----------
    places_px : array, shape (n, 2)
        (row, column) of their centres.
    spacing_mm, u_spacing_mm : float
        Slope of their places over their number, as indicated, and what scatter leaves open.
    gaps : int
        How many spacings lie between the outermost targets; one that is not seen counts too.
    """

    places_px: FloatArray
    spacing_mm: float
    u_spacing_mm: float
    gaps: int


def find_targets(frame: NDArray[np.generic]) -> FloatArray:
    """Return the centres (row, column) of bright spots, by their centre of brightness.

    Parameters
    ----------
    frame : array, shape (rows, columns)
        One ultrasound region.
    """
    from scipy.ndimage import gaussian_filter, maximum_filter

    light = np.asarray(frame, dtype=float)
    spot = gaussian_filter(light, 1.5) - gaussian_filter(light, 8.0)
    noise = 1.4826 * float(np.median(np.abs(spot - np.median(spot)))) + 1e-6
    strong = spot[spot > BRIGHT_TO_NOISE * noise]
    if not len(strong):
        return np.empty((0, 2))
    least = max(BRIGHT_TO_NOISE * noise, 0.3 * float(spot.max()))
    peaks = np.argwhere((spot == maximum_filter(spot, 2 * REACH_PX + 1)) & (spot > least))
    inside = np.all((peaks >= REACH_PX) & (peaks < np.array(light.shape) - REACH_PX), axis=1)
    return np.array([_centre(spot, one) for one in peaks[inside]]).reshape(-1, 2)


def _centre(spot: FloatArray, peak: NDArray[np.intp]) -> FloatArray:
    """Return the same point of every echo: the centre of what is over half its height."""
    top, left = peak - REACH_PX
    size = 2 * REACH_PX + 1
    patch = spot[top : top + size, left : left + size]
    weight = np.maximum(patch - 0.5 * spot[tuple(peak)], 0.0)
    row, column = np.indices(patch.shape)
    total = float(weight.sum())
    return np.array([top + (weight * row).sum() / total, left + (weight * column).sum() / total])


def target_row(
    places_px: FloatArray, mm_per_px: tuple[float, float], *, down: bool, expected_mm: float
) -> TargetRow:
    """Return the row of targets along (`down`) or across the beam, measured centre to centre.

    Raises
    ------
    InputError
        If fewer than four targets lie in such a row, or its spacing is not near the expected one.
    """
    size = np.array(mm_per_px)
    row = find_row(places_px * size, way=DOWN if down else ACROSS)
    words = "along the beam" if down else "across the beam"
    if row is None:
        raise InputError(f"no row of four targets or more was found {words}")
    # one place may be empty: the number of steps follows from the distances
    steps = np.round(np.hypot(*np.diff(row.points, axis=0).T) / row.spacing).astype(int)
    number = np.concatenate([[0], np.cumsum(np.maximum(steps, 1))])
    middle = number - number.mean()
    slope = middle @ row.points / (middle @ middle)
    left = row.points - row.points.mean(axis=0) - np.outer(middle, slope)
    scatter = float(np.sum(left**2)) / max(2 * (len(number) - 2), 1)
    spacing = float(np.hypot(*slope))
    if not 0.7 <= spacing / expected_mm <= 1.4:
        raise InputError(
            f"targets {words} are {spacing:.3g} mm apart by the header, not about {expected_mm:g}: "
            "name the spacing of this phantom"
        )
    return TargetRow(
        places_px=row.points / size,
        spacing_mm=spacing,
        u_spacing_mm=float(np.sqrt(scatter / (middle @ middle))),
        gaps=int(number[-1]),
    )
