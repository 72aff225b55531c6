"""The least scatter that any unbiased fit of a shaft's diameter could have: Cramér and Rao's bound.

From the generator's own formulas, so that neither the fit's model nor its derivatives judge
themselves.
"""

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from synthetic_dicom.shaft_profile import ShaftProfile

FloatArray = NDArray[np.float64]
REACH_WIDTHS, REACH_PX = 1.5, 5.0  # background that a reader's fit may use on either side
SAMPLE_PX = 0.25


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownBefore:
    """What whoever fits knows already, as standard deviations; None for nothing at all.

    Attributes
    ----------
    lumen_ratio : float
        Of inner over outer diameter.
    primary_share : float
        Of the beam's unscattered share.
    lumen_is_empty : bool
        Whether the lumen is known to attenuate as its surroundings do.
    """

    lumen_ratio: float
    primary_share: float
    lumen_is_empty: bool


def shaft_bound_rel(
    profile: "ShaftProfile", *, length_px: float, noise: float, before: KnownBefore
) -> float:
    """Return the bound on the relative standard deviation of the outer diameter.

    Unknown together: outer diameter, wall, its depth and the lumen's, blur, place, depth of the
    shadow, and a background of second degree. For one shaft of equal sections it makes no
    difference whether place, depth and background are one for all or each section's own.

    Parameters
    ----------
    profile : ShaftProfile
        The truth.
    length_px : float
        Length of shaft that is used.
    noise : float
        Standard deviation of one background pixel over its mean; the variance goes with the
        intensity.
    """
    offset = np.arange(0.0, REACH_WIDTHS * profile.outer_px + REACH_PX, SAMPLE_PX)
    offset = np.concatenate([-offset[:0:-1], offset])
    share = 1.0 - profile.veil
    bare = replace(profile, veil=0.0)
    variance = noise**2 * (1.0 - share * bare.absorbed(offset))
    slopes = np.stack(_slopes(bare, offset, share, before.lumen_is_empty))
    information = (slopes / variance) @ slopes.T * SAMPLE_PX * length_px
    information[1, 1] += 1.0 / before.lumen_ratio**2
    information[2, 2] += 1.0 / before.primary_share**2
    size = np.sqrt(np.diag(information))
    covariance = np.linalg.pinv(information / np.outer(size, size), rcond=1e-13)
    return float(np.sqrt(covariance[0, 0]) / size[0])


def _slopes(
    bare: "ShaftProfile", offset: FloatArray, share: float, lumen_is_empty: bool
) -> list[FloatArray]:
    """Return the derivatives of the intensity: log diameter, lumen ratio and share come first."""

    def central(step: float, low: "ShaftProfile", high: "ShaftProfile") -> FloatArray:
        return share * (low.absorbed(offset) - high.absorbed(offset)) / (2.0 * step)

    def by(step: float, **change: float) -> FloatArray:
        low = {name: getattr(bare, name) - value * step for name, value in change.items()}
        high = {name: getattr(bare, name) + value * step for name, value in change.items()}
        return central(step, replace(bare, **low), replace(bare, **high))

    outer = bare.outer_px
    scaled = offset / offset[-1]
    lumen = [] if lumen_is_empty else [by(1e-3, lumen_per_px=1.0 / outer)]
    return [
        # ratio and optical depths stay while the diameter grows
        by(
            1e-3,
            outer_px=outer,
            inner_px=bare.inner_px,
            wall_per_px=-bare.wall_per_px,
            lumen_per_px=-bare.lumen_per_px,
        ),
        by(1e-3, inner_px=outer),
        -bare.absorbed(offset),
        by(1e-3, wall_per_px=1.0 / outer),
        by(1e-3, blur_px=bare.blur_px),
        share * (bare.absorbed(offset - 1e-2) - bare.absorbed(offset + 1e-2)) / 2e-2,
        *lumen,
        np.ones_like(offset),
        scaled,
        scaled**2,
    ]
