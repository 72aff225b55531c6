"""The inner edge of a bright wall in an echo profile: where the wall's power has fallen by half.

A wall blurred by pulse and beam keeps half of its power at its edge. Grey values are a logarithm
of power, so that half is 3 dB, a small step below the brightest and nowhere near half the grey
value, which lies one blur's width inside the cavity.
"""

import numpy as np
from numpy.typing import NDArray

from annot.measurement.edge_fit import Edge, NoEdge, Profile, edge_of_fit

FloatArray = NDArray[np.float64]

# Echo levels shown between black and white (common practice, no source: 50 to 70 dB).
RANGE_DB = 60.0
SEARCH_PX = 8.0
INWARD_PX = 6.0
LEAST_RISE = 0.08  # of the grey scale


def echo_edge(profile: Profile, *, full_scale: float) -> Edge | NoEdge:
    """Fit the rise from blood to wall in a log-compressed profile.

    Model: grey = L + K·log10(p + Φ((x − x0)/s)): L the wall's level, K grey values for ten times
    the power, p the blood's power, s the blur.

    Parameters
    ----------
    full_scale : float
        Grey value of white.
    """
    along, grey = profile.along_px, profile.grey
    window = _rise(along, grey)
    if window is None:
        return NoEdge(reason="the picture does not rise from a dark cavity to a bright wall here")
    along, grey, top = window
    decade = full_scale * 10.0 / RANGE_DB
    rise = float(grey.max() - grey.min())
    if rise < LEAST_RISE * full_scale:
        return NoEdge(reason="the wall is hardly brighter than the cavity beside it")

    def model(parameters: FloatArray) -> FloatArray:
        from scipy.special import ndtr

        edge, log_blur, level, floor = parameters
        blood = 10.0 ** ((floor - level) / decade)
        return np.asarray(
            level + decade * np.log10(blood + ndtr((along - edge) / np.exp(log_blur)))
        )

    floor = float(grey.min())
    return edge_of_fit(
        model,
        grey,
        [[top - 3.0, float(np.log(blur)), float(grey.max()), floor] for blur in (1.5, 3.0)],
        bounds=(
            [float(along[0]), float(np.log(0.5)), floor, -np.inf],
            [float(along[-1]), float(np.log(8.0)), 1.5 * full_scale, float(grey.max())],
        ),
        height=lambda p: float(p[2] - p[3]),
    )


def _rise(along: FloatArray, grey: FloatArray) -> tuple[FloatArray, FloatArray, float] | None:
    """Cut the profile to the rise: from inside the cavity to where the wall is brightest."""
    from scipy.ndimage import gaussian_filter1d

    smooth = gaussian_filter1d(grey, 2.0)
    slope = np.where(np.abs(along) <= SEARCH_PX, np.gradient(smooth, along), -np.inf)
    steepest = int(np.argmax(slope))
    if not slope[steepest] > 0:
        return None
    top = steepest
    while top + 1 < smooth.size and smooth[top + 1] > smooth[top]:
        top += 1
    last = min(top + 2, along.size - 1)
    kept = (along >= along[steepest] - INWARD_PX) & (along <= along[last])
    if kept.sum() < 8:
        return None
    return along[kept], grey[kept], float(along[top])
