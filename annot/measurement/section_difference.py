"""X-ray minus ultrasound: how much of the difference the geometry alone predicts."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from annot.geometry.chords import Sightings, slopes_of, widths_of
from annot.measurement.cross_section import CrossSection, sightings_of
from annot.measurement.estimate import StatedValue, normal_estimate
from annot.measurement.section_consensus import normalised_error
from annot.measurement.section_views import SeenLength, covariance_of, cross_covariance

FloatArray = NDArray[np.float64]
# mean ± 1.96 SD of the source below
BAND_MM = (-4.7, 8.8)
BAND_SOURCE = "185 patients, X-ray minus 2-D ultrasound 2.04 ± 3.43 mm (PMID 31728875)"
ROUND_DIRECTIONS = np.arange(0.0, 180.0, 1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class ModalityDifference:
    """Mean X-ray width minus mean ultrasound width of one quantity.

    Attributes
    ----------
    observed : StatedValue
    predicted : StatedValue
        Mean silhouette minus mean chord of the ultrasound's own ellipse: a shadow is never
        narrower than the chord in its direction, and every direction is seen by one only.
    remaining : StatedValue
        Observed minus predicted, with what both rest on taken into account.
    directions_known : bool
        Whether the X-ray directions count from the ultrasound's zero; if not, the mean over all
        directions stands in, with their scatter in the uncertainty.
    within_band : bool
        Whether the observed difference lies in the published band.
    """

    xray: str
    ultrasound: str
    observed: StatedValue
    predicted: StatedValue
    remaining: StatedValue
    e_n: float
    directions_known: bool
    within_band: bool

    @property
    def words(self) -> str:
        """Say what the comparison gives."""
        rest = (
            "what is left lies within its uncertainty"
            if abs(self.e_n) <= 1
            else "what is left is more than its uncertainty allows: check scales, frames, landmarks"
        )
        band = "inside" if self.within_band else "outside"
        seen, told = self.observed, self.predicted
        return (
            f"X-ray minus ultrasound is {seen.value:+.2f} ± {seen.u:.2f} mm (u), of which geometry "
            f"alone predicts {told.value:+.2f} ± {told.u:.2f}; {rest} (E_n {self.e_n:+.2f}). It "
            f"lies {band} the published band of {BAND_MM[0]:g} to {BAND_MM[1]:+g} mm "
            f"({BAND_SOURCE})."
        )


def modality_difference(
    xray: CrossSection, ultrasound: CrossSection, *, common_zero: bool = False
) -> ModalityDifference | None:
    """Compare X-ray widths with what the ultrasound's ellipse would show there.

    None where the ultrasound has no ellipse or the X-ray no width.

    Parameters
    ----------
    xray, ultrasound : CrossSection
    common_zero : bool
        Whether the directions of both count from one zero in one sense. Without it the X-ray
        directions are taken as any: the mean shadow over all of them, and their scatter.
    """
    seen = xray.everything_seen
    if ultrasound.fit is None or not seen:
        return None
    fit, chords = ultrasound.fit, ultrasound.views
    known = common_zero and not xray.unplaced
    shown, slope, scatter = _shadow(ultrasound, xray if known else None)
    own = np.full(len(seen), 1 / len(seen))
    theirs = np.full(len(chords), 1 / len(chords))
    xray_mean = float(own @ [one.value for one in seen])
    chord_mean = float(theirs @ [one.value for one in chords])
    follows = slope @ fit.gain
    scatter = scatter / np.sqrt(len(seen))
    nothing = np.zeros(len(seen))
    remaining = normal_estimate(
        xray_mean - shown, _u((seen, own), (chords, -follows), scatter), "mm"
    )
    observed = xray_mean - chord_mean
    return ModalityDifference(
        xray=xray.name.short,
        ultrasound=ultrasound.name.short,
        observed=normal_estimate(observed, _u((seen, own), (chords, -theirs), 0.0), "mm"),
        predicted=normal_estimate(
            shown - chord_mean, _u((seen, nothing), (chords, follows - theirs), scatter), "mm"
        ),
        remaining=remaining,
        e_n=normalised_error(remaining),
        directions_known=known,
        within_band=BAND_MM[0] <= observed <= BAND_MM[1],
    )


def _shadow(ultrasound: CrossSection, xray: CrossSection | None) -> tuple[float, FloatArray, float]:
    """Return the mean shadow of the ultrasound's ellipse, its slopes, its scatter by direction."""
    if ultrasound.fit is None:
        raise ValueError("A cross-section without an ellipse throws no shadow.")
    turns = ROUND_DIRECTIONS if xray is None else sightings_of(xray.views).directions_deg
    shadows = Sightings(directions_deg=turns, silhouette=np.ones(len(turns), dtype=bool))
    widths = widths_of(ultrasound.fit.parameters, shadows)
    slope = np.mean(slopes_of(ultrasound.fit.parameters, shadows), axis=0)
    return float(np.mean(widths)), slope, float(np.std(widths)) if xray is None else 0.0


def _u(
    first: tuple[Sequence[SeenLength], FloatArray],
    second: tuple[Sequence[SeenLength], FloatArray],
    scatter: float,
) -> float:
    """Return the standard uncertainty of a sum over two sets of lengths that share errors."""
    (seen, near), (others, far) = first, second
    variance = (
        near @ covariance_of(seen) @ near
        + far @ covariance_of(others) @ far
        + 2 * near @ cross_covariance(seen, others) @ far
    )
    return float(np.sqrt(max(float(variance), 0.0) + scatter**2))
