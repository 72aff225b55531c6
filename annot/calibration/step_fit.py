"""The spacing of straight parallel edges in pixels: a plate of steps or of strips and gaps."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from annot.calibration.allowances import MARK_CENTRE_PX
from annot.calibration.regular_row import FloatArray, Spacing, find_row, spacing_of
from annot.calibration.scale import NoScale
from annot.geometry import PixelPoint, along, length_px, normals_of, profiles

HALF_WIDTH_PX = 6.0  # on either side of the trace
LANES = 3  # pieces across that width, whose edges show how they lie to the trace
LEAST_EDGES = 3
STEP_TO_NOISE = 6.0


@dataclass(frozen=True, slots=True, kw_only=True)
class StepFit:
    """What was found; `slant_deg` is how far the trace runs from square to the edges."""

    spacing: Spacing
    middles: tuple[PixelPoint, ...]
    slant_deg: float
    path: tuple[PixelPoint, ...]


def fit_steps(
    frame: NDArray[np.generic],
    trace: tuple[PixelPoint, ...],
    *,
    edges: int | None,
    u_gap_rel: float,
    aspect: float = 1.0,
) -> StepFit | NoScale:
    """Find edges at one spacing along a straight trace.

    Parameters
    ----------
    frame : array, shape (rows, columns)
        Stored pixels, larger where more of the beam arrives.
    trace : two PixelPoint
        From beyond the first edge to beyond the last, roughly square to them.
    edges : int or None
        How many a person counts.
    u_gap_rel : float
        Relative standard uncertainty of one gap, independent of the others.
    aspect : float
        Width of a pixel over its height; the spacing is in pixels of the row pitch.

    Returns
    -------
    StepFit, or NoScale with the reason: `edges` differ, fewer than 3, no straight trace.
    """
    if len(trace) != 2 or length_px(trace) < 30:
        return NoScale(reason="edges need a straight trace of two points at least 30 px apart")
    lanes = _lanes(frame, trace)
    if lanes is None:
        return NoScale(reason="the trace or the strip beside it leaves the image")
    rough = _rough(lanes.mean(axis=0))
    row = find_row(rough)
    found = 0 if row is None else len(row.chosen)
    if row is None or found < LEAST_EDGES or row.length > found or edges not in {None, found}:
        wanted = f"{edges} are stated" if edges else f"at least {LEAST_EDGES} in a row are needed"
        return NoScale(
            reason=(
                f"{found} edges at one spacing were found where {wanted}: trace from just beyond "
                "the first edge to just beyond the last, square to them"
            )
        )
    place, u_px = _refined(lanes, rough[row.chosen])
    slant = _slant(place)
    return _report(trace, place.mean(axis=0), u_px, slant=slant, u_gap_rel=u_gap_rel, aspect=aspect)


def _lanes(frame: NDArray[np.generic], trace: tuple[PixelPoint, ...]) -> FloatArray | None:
    """Return the intensity along the trace, one row for each lane, 1 in the middle.

    Not its logarithm: blur acts on the intensity, and there a blurred edge is symmetric.
    """
    spine, tangents = along(trace, np.arange(0.0, length_px(trace), 1.0))
    offset = np.arange(-HALF_WIDTH_PX, HALF_WIDTH_PX + 0.5)
    raw = profiles(frame, spine, normals_of(tangents), offset)
    if np.isnan(raw).any():
        return None
    middle = max(float(np.median(raw)), 1e-9)
    return np.stack([part.mean(axis=1) / middle for part in np.array_split(raw, LANES, axis=1)])


def _rough(profile: FloatArray) -> FloatArray:
    """Return where the profile is steepest, either way."""
    from scipy.ndimage import gaussian_filter1d
    from scipy.signal import find_peaks

    steep = np.abs(gaussian_filter1d(profile, 1.5, order=1))
    noise = 1.4826 * float(np.median(np.abs(steep - np.median(steep)))) + 1e-9
    peaks, facts = find_peaks(np.pad(steep, 1), prominence=STEP_TO_NOISE * noise, distance=4)
    strength = facts["prominences"]
    return np.asarray(peaks[strength >= 0.4 * np.median(strength)] - 1.0 if len(peaks) else [])


def _refined(lanes: FloatArray, rough: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return each edge's place in each lane, shape (lanes, edges), and the mean's uncertainty."""
    reach = max(3.0, 0.45 * float(np.median(np.diff(rough))))
    place, spread = np.empty((len(lanes), len(rough))), np.empty((len(lanes), len(rough)))
    for lane, profile in enumerate(lanes):
        for edge, start in enumerate(rough):
            place[lane, edge], spread[lane, edge] = _edge(profile, float(start), reach)
    own = np.sqrt((spread**2).sum(axis=0)) / len(lanes)
    return place, np.hypot(own, MARK_CENTRE_PX.value / np.sqrt(3))


def _edge(profile: FloatArray, start: float, reach: float) -> tuple[float, float]:
    """Fit one blurred step between two levels; return its place and standard uncertainty."""
    from scipy.optimize import least_squares
    from scipy.special import ndtr

    low = max(0, int(np.ceil(start - reach)))
    station = np.arange(low, min(len(profile), int(start + reach) + 1), dtype=float)
    value = profile[low : low + len(station)]

    def misfit(vector: FloatArray) -> FloatArray:
        step = ndtr((station - vector[0]) / np.exp(vector[1]))
        basis = np.stack([np.ones_like(step), step], axis=1)
        return np.asarray(basis @ np.linalg.lstsq(basis, value, rcond=None)[0] - value)

    answer = least_squares(
        misfit,
        np.array([start, np.log(1.2)]),
        bounds=([start - 3.0, np.log(0.3)], [start + 3.0, np.log(4.0)]),
        diff_step=1e-4,
    )
    variance = float(np.sum(answer.fun**2)) / max(len(station) - 4, 1)
    covariance = variance * np.linalg.pinv(answer.jac.T @ answer.jac)
    return float(answer.x[0]), float(np.sqrt(covariance[0, 0]))


def _slant(place: FloatArray) -> float:
    """Return the common slope of the edges against the normal of the trace."""
    lanes = (np.arange(len(place)) - 0.5 * (len(place) - 1)) * (2 * HALF_WIDTH_PX + 1) / LANES
    return float(np.mean(lanes @ (place - place.mean(axis=0)) / (lanes @ lanes)))


def _report(
    trace: tuple[PixelPoint, ...],
    place: FloatArray,
    u_px: FloatArray,
    *,
    slant: float,
    u_gap_rel: float,
    aspect: float,
) -> StepFit:
    """Take the spacing square to the edges, in pixels of the row pitch."""
    spots, tangents = along(trace, place)
    forward = tangents[0]
    # the edge runs along (normal + slant · forward); stretched to square pixels before its normal
    edge = (np.array([-forward[1], forward[0]]) + slant * forward) * np.array([1.0, aspect])
    edge /= np.hypot(*edge)
    across = np.array([edge[1], -edge[0]])
    position = (spots * np.array([1.0, aspect])) @ across
    turned = np.sign(position[-1] - position[0])
    shrink = abs(float(forward * np.array([1.0, aspect]) @ across))
    return StepFit(
        spacing=spacing_of(
            turned * position,
            u_px * shrink,
            np.arange(len(place)),
            u_gap_rel=u_gap_rel,
            alternating=True,
        ),
        middles=tuple(PixelPoint(float(row), float(column)) for row, column in spots),
        slant_deg=float(np.rad2deg(np.arctan(slant))),
        path=tuple(trace),
    )
