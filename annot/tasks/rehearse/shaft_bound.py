"""The least scatter that any unbiased fit of a shaft's diameter could have: Cramér and Rao's bound.

From the generator's own formulas, so that neither the fit's model nor its derivatives judge
themselves.
"""

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from annot.calibration.allowances import (
    BLUR_LOG,
    GLARE_SHARE_U,
    GLARE_WIDTH,
    LUMEN_DEPTH_LOG,
    PRIMARY_SHARE_U,
    WALL_DEPTH_LOG,
)

if TYPE_CHECKING:
    from synthetic_dicom.shaft_profile import ShaftProfile

FloatArray = NDArray[np.float64]
REACH_WIDTHS, REACH_PX = 1.5, 5.0  # background that a reader's fit may use on either side
SAMPLE_PX = 0.25


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownBefore:
    """What whoever fits knows already, as standard deviations: the instrument's own unless stated.

    Attributes
    ----------
    lumen_ratio : float
        Of inner over outer diameter.
    lumen_is_empty : bool
        Whether the lumen is known to attenuate as its surroundings do.
    primary_share : float
        Of the beam's unscattered share.
    wall_log, lumen_log, blur_log : float
        Of the logarithms of wall's and lumen's optical depth and of the blur.
    glare : float
        Of the share of the blur that is glare.
    """

    lumen_ratio: float
    lumen_is_empty: bool
    primary_share: float = PRIMARY_SHARE_U.value
    wall_log: float = WALL_DEPTH_LOG.value
    lumen_log: float = LUMEN_DEPTH_LOG.value
    blur_log: float = BLUR_LOG.value
    glare: float = GLARE_SHARE_U.value


def shaft_bound_rel(
    profile: "ShaftProfile", *, length_px: float, noise: float, before: KnownBefore
) -> float:
    """Return the bound on the relative standard deviation of the outer diameter.

    Unknown together, as the instrument holds them open: outer diameter, wall, its depth and the
    lumen's, blur, glare, place, depth of the shadow, and a background of second degree; what is
    known before counts as information (van Trees 1968, from memory). For one shaft of equal
    sections it makes no difference whether place, depth and background are one for all or each
    section's own.

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
    known = [before.lumen_ratio, before.primary_share, before.wall_log, before.blur_log]
    known += [before.glare] + [before.lumen_log] * (not before.lumen_is_empty)
    for place, u in enumerate(known, start=1):
        information[place, place] += 1.0 / u**2
    size = np.sqrt(np.diag(information))
    covariance = np.linalg.pinv(information / np.outer(size, size), rcond=1e-13)
    return float(np.sqrt(covariance[0, 0]) / size[0])


def _slopes(
    bare: "ShaftProfile", offset: FloatArray, share: float, lumen_is_empty: bool
) -> list[FloatArray]:
    """Return the derivatives of the intensity; first log diameter, then what is known before."""

    def central(step: float, low: "ShaftProfile", high: "ShaftProfile") -> FloatArray:
        return share * (low.absorbed(offset) - high.absorbed(offset)) / (2.0 * step)

    def by(step: float, **change: float) -> FloatArray:
        low = {name: getattr(bare, name) - value * step for name, value in change.items()}
        high = {name: getattr(bare, name) + value * step for name, value in change.items()}
        return central(step, replace(bare, **low), replace(bare, **high))

    outer = bare.outer_px
    scaled = offset / offset[-1]
    # an empty lumen's depth counts from where a filled one is usual
    lumen = [] if lumen_is_empty else [by(1e-3, lumen_per_px=max(bare.lumen_per_px, 0.1 / outer))]
    wide = replace(bare, blur_px=GLARE_WIDTH.value * bare.blur_px)
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
        by(1e-3, wall_per_px=bare.wall_per_px),
        by(1e-3, blur_px=bare.blur_px),
        share * (bare.absorbed(offset) - wide.absorbed(offset)),
        *lumen,
        share * (bare.absorbed(offset - 1e-2) - bare.absorbed(offset + 1e-2)) / 2e-2,
        np.ones_like(offset),
        scaled,
        scaled**2,
    ]
