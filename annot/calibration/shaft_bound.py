"""The least uncertainty that any fit of a shaft can have, and what more looks would bring.

The Cramér–Rao bound of the model that `tube_fit` fits, from its own slopes at the truth: no
unbiased reading of the same picture with the same knowledge scatters less.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from annot.calibration.allowances import PRIMARY_SHARE
from annot.calibration.shadow import TubeShadow
from annot.calibration.shaft_sections import Sections, reach_of
from annot.calibration.tube_fit import OUTER, SHARED, Held, TubeFit, TubeSolution

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class ShaftBound:
    """The bound on a shaft's outer diameter and the part of it that no averaging removes.

    Attributes
    ----------
    u_px : float
        Least standard uncertainty of the outer diameter.
    u_known_px : float
        What would be left with endless sections: what is known of the wall sets it.
    """

    u_px: float
    u_known_px: float


def shaft_bound(
    tube: TubeShadow,
    *,
    noise: float,
    length_px: float,
    lumen_ratio_u: float,
    primary_share: float = PRIMARY_SHARE.value,
    frames: int = 1,
) -> ShaftBound:
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
    ShaftBound

    Notes
    -----
    What the fit knows beside the picture (blur, primary share, wall) counts as information here too
    (van Trees 1968, from memory), so that fit and bound answer the same question.
    """
    looks = length_px * frames
    return ShaftBound(
        u_px=_bound(tube, noise / math.sqrt(looks), lumen_ratio_u, primary_share),
        u_known_px=_bound(tube, 1e-7, lumen_ratio_u, primary_share),
    )


def _bound(tube: TubeShadow, noise: float, lumen_ratio_u: float, share: float) -> float:
    offset = np.arange(-reach_of(tube.outer_px), reach_of(tube.outer_px) + 0.5)
    sections = Sections(
        offset_px=offset,
        profile=1.0 - share * tube.absorbed(offset)[None, :],
        place=np.zeros((1, 2)),
        normal=np.array([tube.across]),
        reading=np.zeros(1, dtype=int),
        width_px=tube.outer_px,
        length_px=1.0,
        noise=noise,
    )
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
        noise=noise,
        rms=noise,
        covariance=np.zeros((SHARED, SHARED)),
        cost=0.0,
    )
    fit = TubeFit(sections=sections, held=held)
    covariance = fit.covariance_at(start, np.array([0]))
    return tube.outer_px * math.sqrt(covariance[OUTER, OUTER])
