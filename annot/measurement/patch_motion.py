"""How far a small piece of a picture has moved: least squares on grey values, own solution.

Source of the method: Lucas and Kanade (1981), with gain and offset of the brightness free, since
contrast washes in and out, and with a weak prior on the step: along a straight wall nothing in
the picture says how far a point has moved, and without a prior noise would answer.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

ITERATIONS = 12
SETTLED_PX = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class PatchFit:
    """Where a patch was found.

    Attributes
    ----------
    place : (float, float)
        Row and column of its centre.
    correlation : float
        Of the grey values of patch and picture there, −1 to 1.
    """

    place: tuple[float, float]
    correlation: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Patch:
    """Grey values about a point of a smoothed frame, with their slopes and weights.

    Attributes
    ----------
    grey, down, across : arrays, shape (n,)
        Values and their derivatives along rows and columns.
    offsets : array, shape (n, 2)
    weights : array, shape (n,)
        Gaussian, so that what lies at the rim counts little.
    """

    grey: FloatArray
    down: FloatArray
    across: FloatArray
    offsets: FloatArray
    weights: FloatArray


def smoothed(frame: NDArray[np.generic], sigma_px: float) -> FloatArray:
    """Return a frame with its noise smoothed away; colour is averaged."""
    from scipy.ndimage import gaussian_filter

    grey = np.asarray(frame, dtype=float)
    return np.asarray(gaussian_filter(grey.mean(axis=2) if grey.ndim == 3 else grey, sigma_px))


def patch_at(frame: FloatArray, place: tuple[float, float], *, radius_px: int) -> Patch:
    """Cut a patch of (2·radius + 1)² samples; beyond the border the border's value repeats."""
    steps = np.arange(-radius_px, radius_px + 1.0)
    offsets = np.stack([one.ravel() for one in np.meshgrid(steps, steps, indexing="ij")], axis=1)
    half = 0.5
    low, high = (_sampled(frame, place, offsets + np.array([s, 0.0])) for s in (-half, half))
    left, right = (_sampled(frame, place, offsets + np.array([0.0, s])) for s in (-half, half))
    spread = radius_px / 1.5
    return Patch(
        grey=_sampled(frame, place, offsets),
        down=high - low,
        across=right - left,
        offsets=offsets,
        weights=np.exp(-0.5 * (offsets**2).sum(axis=1) / spread**2),
    )


def find_patch(
    frame: FloatArray, patch: Patch, start: tuple[float, float], *, prior_px: float
) -> PatchFit:
    """Find a patch in a frame near a start.

    Parameters
    ----------
    frame : array, shape (rows, columns), smoothed as the patch's was
    prior_px : float
        How far from the start it may be expected to lie, standard deviation along each axis.
    """
    design = np.stack([patch.down, patch.across, patch.grey, np.ones_like(patch.grey)], axis=1)
    weighted = design * patch.weights[:, None]
    normal = weighted.T @ design
    place = np.array(start, dtype=float)
    for _ in range(ITERATIONS):
        seen = _sampled(frame, place, patch.offsets)
        # seen(x) = gain·patch(x + shift) + offset, linear in (gain·shift, gain, offset)
        solved = np.linalg.lstsq(normal, weighted.T @ seen, rcond=1e-10)[0]
        gain = max(0.1, solved[2])
        noise = float(np.average((seen - design @ solved) ** 2, weights=patch.weights))
        step = _with_prior(patch, seen, gain, noise, (place - start, prior_px))
        place = place + np.clip(step, -3.0, 3.0)
        if np.hypot(*step) < SETTLED_PX:
            break
    seen = _sampled(frame, place, patch.offsets)
    return PatchFit(place=(float(place[0]), float(place[1])), correlation=_correlation(patch, seen))


def _with_prior(
    patch: Patch,
    seen: FloatArray,
    gain: float,
    noise: float,
    moved: tuple[FloatArray, float],
) -> FloatArray:
    """Return the step to where the patch lies, weighed against how far it was expected to go."""
    away, prior_px = moved
    slopes = np.stack([patch.down, patch.across], axis=1)
    weights = patch.weights
    shape = patch.grey - np.average(patch.grey, weights=weights)
    rest = seen - np.average(seen, weights=weights) - gain * shape
    centred = slopes - np.average(slopes, axis=0, weights=weights)
    # the smoothed patch's neighbours repeat each other: a twentieth of them counts
    information = (centred * weights[:, None]).T @ centred * gain**2 / (20.0 * noise + 1e-12)
    pull = -(centred * weights[:, None]).T @ rest * gain / (20.0 * noise + 1e-12)
    prior = np.eye(2) / prior_px**2
    return np.asarray(np.linalg.solve(information + prior, pull - prior @ away))


def _sampled(frame: FloatArray, place: object, offsets: FloatArray) -> FloatArray:
    from scipy.ndimage import map_coordinates

    spots = np.asarray(place, dtype=float) + offsets
    return np.asarray(
        map_coordinates(frame, [spots[:, 0], spots[:, 1]], order=1, mode="nearest"), dtype=float
    )


def _correlation(patch: Patch, seen: FloatArray) -> float:
    first, second = (one - np.average(one, weights=patch.weights) for one in (patch.grey, seen))
    power = float((patch.weights * first**2).sum() * (patch.weights * second**2).sum())
    return float((patch.weights * first * second).sum()) / power**0.5 if power > 0 else 0.0
