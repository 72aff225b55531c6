"""The least uncertainty that any fit of a shaft can have, and what more looks would bring.

The Cramér–Rao bound of the model that `tube_fit` fits, from its own slopes at the truth: no
unbiased reading of the same picture with the same knowledge scatters less.
"""

import math

import numpy as np
from numpy.typing import NDArray

from annot.calibration.allowances import PRIMARY_SHARE
from annot.calibration.shadow import TubeShadow
from annot.calibration.shaft_sections import Sections, reach_of
from annot.calibration.tube_fit import OUTER, SHARED, Held, TubeFit, TubeSolution

FloatArray = NDArray[np.float64]


def shaft_bound_px(
    tube: TubeShadow,
    *,
    noise: float,
    length_px: float,
    lumen_ratio_u: float,
    primary_share: float = PRIMARY_SHARE.value,
    frames: int = 1,
) -> float:
    """Return the joint bound of a shaft's outer diameter.

    Parameters
    ----------
    tube : TubeShadow
        The truth. A lumen depth of zero is taken as known to be empty.
    noise : float
        Standard deviation of one pixel's noise over the background beside the shaft.
    length_px : float
        Length of the shaft that is read, in one frame.
    lumen_ratio_u : float
        Standard uncertainty of inner over outer diameter; 0 takes the wall as known exactly.
    primary_share : float
        Share of primary beam in the light beside the shaft.
    frames : int
        Frames with noise of their own.

    Returns
    -------
    float
        Least standard uncertainty of the outer diameter in pixels.

    Notes
    -----
    What the fit knows beside the picture (blur, primary share, wall) counts as information here too
    (van Trees 1968, from memory), so that fit and bound answer the same question.
    """
    # what is seen once with the noise of the mean of all sections
    least = noise / math.sqrt(length_px * frames)
    sections = _seen_once(tube, least, primary_share)
    held = Held(lumen_is_empty=tube.lumen_depth == 0, lumen_ratio=(tube.lumen_ratio, lumen_ratio_u))
    truth = np.zeros(SHARED)
    truth[:5] = (
        math.log(tube.outer_px),
        math.log(tube.blur_px),
        tube.lumen_ratio,
        math.log(tube.wall_depth),
        math.log(tube.lumen_depth or 1.0),
    )
    start = TubeSolution(
        shared=truth,
        centre=np.zeros(1),
        noise=least,
        rms=least,
        covariance=np.zeros((SHARED, SHARED)),
        cost=0.0,
    )
    covariance = TubeFit(sections=sections, held=held).covariance_at(start, np.array([0]))
    return tube.outer_px * math.sqrt(covariance[OUTER, OUTER])


def _seen_once(tube: TubeShadow, noise: float, share: float) -> Sections:
    """Return one noiseless section of the truth, as wide as a fit would look at it."""
    offset = np.arange(-reach_of(tube.outer_px), reach_of(tube.outer_px) + 0.5)
    return Sections(
        offset_px=offset,
        profile=1.0 - share * tube.absorbed(offset)[None, :],
        place=np.zeros((1, 2)),
        normal=np.array([tube.across]),
        reading=np.zeros(1, dtype=int),
        width_px=tube.outer_px,
        length_px=1.0,
        noise=noise,
    )
