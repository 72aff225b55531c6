"""The diameter of a shaft in pixels, with its scatter: a tube fitted to all its sections."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from annot.calibration.half_maximum import half_maximum_px
from annot.calibration.scale import NoScale
from annot.calibration.shaft_agreement import (
    Agreement,
    agreeing_sections,
    peak_of,
    sampling_error,
)
from annot.calibration.shaft_location import MIN_BLOCKS, Reading
from annot.calibration.shaft_sections import Sections, cut_sections, flank_of
from annot.calibration.tube_fit import OUTER, Held, IndexArray, TubeFit, TubeSolution
from annot.calibration.tube_spread import (
    TubeSpread,
    any_wall,
    possible_fits,
    spread_over_walls,
)
from annot.calibration.wall_disagreeing import wall_disagreeing
from annot.calibration.wall_thread import with_thread
from annot.geometry import PixelPoint

FloatArray = NDArray[np.float64]
Filling = Literal["empty", "contrast", "unknown"]
MIN_CONTRAST_TO_NOISE = 2.0
MAX_SATURATED_SHARE = 0.02
LARGEST_U_REL = 0.10  # a looser diameter is no reference
# Of primary beam, two and a quarter standard deviations below the usual share: clean test pictures
# gave 0.39 and more, logarithms taken for intensity at most 0.35.
LEAST_SHARE = 0.35
ALONG_THE_EDGE = (
    "something dense runs along the shaft and the picture does not tell it from the wall; trace "
    "another piece or choose another frame"
)
WORST_MISFIT = 0.06  # of the shadow's depth, shared by all sections: not a tube


@dataclass(frozen=True, slots=True, kw_only=True)
class ShaftFit:
    """What was found: diameters in pixels, their scatter, and where the shaft lies.

    Attributes
    ----------
    outer_px, inner_px : float
        Outer and inner diameter.
    u_outer_px, u_inner_px : float
        Standard uncertainty from the sections' scatter or the fit's own covariance, whichever is
        larger, together with what an unstated wall or filling leaves open.
    u_wall_px, u_inner_wall_px : float
        That last part of either alone.
    u_noise_px : float
        The part of `u_outer_px` that more sections or frames make smaller.
    half_maximum_px : float or None
        Naive width of the mean shadow at half its depth, to be shown beside and never used.
    low_px, high_px : float
        Interval of 95 % for the outer diameter, skew where the wall is unknown.
    dof : float
        Degrees of freedom of the other part.
    filled : float
        Probability that the lumen holds contrast: 0 or 1 where the filling is stated.
    chi2 : float
        Squared misfit over the picture's own noise, summed over `samples`.
    centreline : tuple of PixelPoint
        Middle of each section of the first reading, used or not, for drawing.
    used : tuple of bool
        Whether each of them counts.
    """

    outer_px: float
    inner_px: float
    u_outer_px: float
    u_inner_px: float
    u_wall_px: float
    u_inner_wall_px: float
    u_noise_px: float
    half_maximum_px: float | None
    low_px: float
    high_px: float
    dof: float
    filled: float
    sections_used: int
    sections_rejected: int
    blur_px: float
    contrast_to_noise: float
    chi2: float
    samples: int
    centreline: tuple[PixelPoint, ...]
    used: tuple[bool, ...]


def fit_shaft(
    readings: Sequence[Reading],
    *,
    filling: Filling = "unknown",
    lumen_ratio: tuple[float, float] | None = None,
    full_scale: float | None = None,
) -> ShaftFit | NoScale:
    """Fit one tube to a shaft seen in one or more frames.

    Parameters
    ----------
    readings : sequence of Reading
        Frames proportional to X-ray intensity, each with a rough trace along the axis.
    filling : {"empty", "contrast", "unknown"}
        `empty` fixes the lumen to the surroundings' attenuation; `unknown` weighs both.
    lumen_ratio : (mean, standard deviation), optional
        What is known of inner over outer diameter; without it every ratio of the stated range
        (see `allowances`) is as likely as any other.
    full_scale : float, optional
        Largest value a pixel can store; values at either end count as saturated.

    Returns
    -------
    ShaftFit, or NoScale with the reason.
    """
    sections = cut_sections(readings)
    if isinstance(sections, NoScale):
        return sections
    fit = TubeFit(
        sections=sections,
        held=Held(
            lumen_is_empty=filling == "empty",
            lumen_ratio=lumen_ratio or any_wall(),
            with_glare=True,
        ),
    )
    found = agreeing_sections(fit)
    if len(found.kept) < MIN_BLOCKS:
        return NoScale(
            reason=(
                f"only {len(found.kept)} of {len(sections.profile)} sections look like one shaft; "
                "trace a piece that nothing crosses"
            )
        )
    # what values between pixels miss, all sections have in common: it does not average out
    missed = np.sqrt(len(found.kept)) * sampling_error(fit, found.solution, found.kept)
    noise = float(np.hypot(sections.noise * max(found.over_noise, 1.0), missed))
    answer = with_thread(fit, replace(found.solution, noise=noise), found.kept)
    fit, solution = answer.fit, answer.solution
    fault = (
        _saturated(fit, readings, full_scale)
        or _fault(fit, solution, found.kept)
        or (ALONG_THE_EDGE if answer.is_ambiguous else "")
        or (lumen_ratio and wall_disagreeing(fit, solution, found.kept))
    )
    if fault:
        return NoScale(reason=fault)
    spread = spread_over_walls(
        possible_fits(fit, filling=filling, lumen_ratio=lumen_ratio),
        solution,
        found.kept,
        widen=_shared_misfit(fit, solution, found.kept),
    )
    spread = _doubted(spread, answer.apart)
    fault = _loose(spread)
    if fault:
        return NoScale(reason=fault)
    return _report(fit, replace(found, solution=solution), spread)


def _doubted(spread: TubeSpread, apart: float) -> TubeSpread:
    """Widen by how far off, relatively, other explanations of a thread in the wall lie."""
    doubt = apart * spread.outer_px
    return replace(
        spread,
        u_outer_px=float(np.hypot(spread.u_outer_px, doubt / np.sqrt(3.0))),
        u_wall_px=float(np.hypot(spread.u_wall_px, doubt / np.sqrt(3.0))),
        low_px=spread.low_px - doubt,
        high_px=spread.high_px + doubt,
    )


def _loose(spread: TubeSpread) -> str:
    """Return why neither diameter is known well enough, empty when one is."""
    if spread.rivals[-1] > (1.0 + LARGEST_U_REL) * spread.rivals[0]:
        words = " and ".join(f"{one:.1f}" for one in spread.rivals)
        return (
            f"the picture does not tell which of the tubes {words} px wide it shows, one with a "
            "dense wall, one with dense contrast inside; read more frames together, or choose one "
            "where the shaft is empty"
        )
    loosest = min(spread.u_outer_px / spread.outer_px, spread.u_inner_px / spread.inner_px)
    if loosest <= LARGEST_U_REL:
        return ""
    return (
        f"the shaft's diameter is uncertain by {100 * loosest:.0f} %: trace a longer piece, read "
        "more frames, or state filling and other diameter"
    )


def _fault(fit: TubeFit, solution: TubeSolution, kept: IndexArray) -> str:
    """Return why a fit must not be used, empty when it may."""
    outer = fit.tube(solution.shared).outer_px
    if fit.sections.length_px < 5 * outer:
        return (
            f"the trace is {fit.sections.length_px:.0f} px long, less than five times the fitted "
            f"diameter of {outer:.1f} px; trace a longer piece"
        )
    contrast = _contrast_to_noise(fit, solution, kept)
    if contrast < MIN_CONTRAST_TO_NOISE:
        return f"the shaft's contrast is {contrast:.1f} times the noise; at least 2 is needed"
    return _no_tube(fit, solution, kept)


def _no_tube(fit: TubeFit, solution: TubeSolution, kept: IndexArray) -> str:
    """Return why what was fitted cannot be a tube's shadow, empty when it can."""
    low, high = (bound[OUTER] for bound in fit.bounds)
    if not low + 0.01 < solution.shared[OUTER] < high - 0.01:
        return (
            f"no diameter between {np.exp(low):.0f} and {np.exp(high):.0f} px explains the picture "
            "along the trace; trace a piece that nothing else lies over"
        )
    share = float(np.median(fit.fitted(solution, kept)[1]))
    if share < LEAST_SHARE:
        return (
            f"the shadow would be a tube's only if {100 * (1 - share):.0f} % of the light were "
            "scatter; trace another piece or use another object"
        )
    left = np.mean(fit.misfit(solution, kept), axis=0)
    excess = float(np.mean(left**2)) - solution.noise**2 / len(kept)
    missed = np.sqrt(max(excess, 0.0)) / peak_of(fit, solution, kept)
    if missed > WORST_MISFIT:
        return (
            f"the picture along the trace is not a tube's shadow: the best fit misses it by "
            f"{100 * missed:.0f} % of its depth; trace another piece or use another object"
        )
    return ""


def _shared_misfit(fit: TubeFit, solution: TubeSolution, kept: IndexArray) -> float:
    """Return by how much misfit that all sections share exceeds what their noise leaves.

    The mean misfit over the sections has the noise of one section over √k if the model is right;
    what exceeds that by more than chance widens the interval as if it were noise.
    """
    left = np.mean(fit.misfit(solution, kept), axis=0)
    freedom = len(left) - 6.0
    ratio = float(np.sum(left**2)) / freedom * len(kept) / solution.noise**2
    return float(np.sqrt(ratio)) if ratio > 1.0 + 3.0 * np.sqrt(2.0 / freedom) else 1.0


def _saturated(fit: TubeFit, readings: Sequence[Reading], full_scale: float | None) -> str:
    if full_scale is None or _saturated_share(fit, readings, full_scale) <= MAX_SATURATED_SHARE:
        return ""
    return "the picture is saturated on or beside the shaft; choose another frame"


def _saturated_share(fit: TubeFit, readings: Sequence[Reading], full_scale: float) -> float:
    """Return which share of the pixels on and beside the shaft stands at an end of the range.

    A background cut off at the top takes the outer part of the blurred edges with it.
    """
    sections = fit.sections
    offset = np.arange(sections.offset_px[0], sections.offset_px[-1] + 0.5)
    spots = sections.place[:, None, :] + offset[None, :, None] * sections.normal[:, None, :]
    share = []
    for index, reading in enumerate(readings):
        spot = np.round(spots[sections.reading == index]).astype(int)
        spot = np.clip(spot, 0, np.array(reading.frame.shape) - 1)
        values = np.asarray(reading.frame)[spot[..., 0], spot[..., 1]]
        share.append(float(np.mean((values <= 0) | (values >= full_scale))))
    return max(share)


def _contrast_to_noise(fit: TubeFit, solution: TubeSolution, kept: IndexArray) -> float:
    """Peak depth of the usual shadow over the noise of one section's sample."""
    return peak_of(fit, solution, kept) / max(solution.rms, 1e-6)


def _report(fit: TubeFit, found: Agreement, spread: TubeSpread) -> ShaftFit:
    sections, kept, solution = fit.sections, found.kept, found.solution
    first = sections.reading == 0
    used = np.isin(np.arange(len(first)), kept)
    return ShaftFit(
        outer_px=spread.outer_px,
        inner_px=spread.inner_px,
        u_outer_px=spread.u_outer_px,
        u_inner_px=spread.u_inner_px,
        u_wall_px=spread.u_wall_px,
        u_inner_wall_px=spread.u_inner_wall_px,
        u_noise_px=spread.u_noise_px,
        half_maximum_px=_half_maximum(fit, solution, kept),
        low_px=spread.low_px,
        high_px=spread.high_px,
        dof=spread.dof,
        filled=spread.filled,
        sections_used=len(kept),
        sections_rejected=len(sections.profile) - len(kept),
        blur_px=fit.tube(solution.shared).blur_px,
        contrast_to_noise=_contrast_to_noise(fit, solution, kept),
        chi2=float(np.sum(fit.misfit(solution, kept) ** 2)) / sections.noise**2,
        samples=len(kept) * len(sections.offset_px),
        centreline=_centreline(sections, np.where(used, solution.centre, 0.0)),
        used=tuple(bool(one) for one in used[first]),
    )


def _half_maximum(fit: TubeFit, solution: TubeSolution, kept: IndexArray) -> float | None:
    """Return the naive width of the mean of all kept shadows, each on its own centre."""
    sections = fit.sections
    offset = sections.offset_px
    flank = flank_of(offset, fit.tube(solution.shared).outer_px)
    aligned = np.mean(
        [
            np.interp(offset + shift, offset, profile)
            for shift, profile in zip(solution.centre[kept], sections.profile[kept], strict=True)
        ],
        axis=0,
    )
    if flank.sum() < 4:
        return None
    line = np.polynomial.polynomial.polyfit(offset[flank], aligned[flank], 1)
    return half_maximum_px(offset, np.polynomial.polynomial.polyval(offset, line) - aligned)


def averaged_u_px(fit: ShaftFit, *, frames: float = 1.0, length: float = 1.0) -> float:
    """Return the standard uncertainty to expect from more frames or a longer reading.

    Parameters
    ----------
    fit : ShaftFit
        What was found.
    frames, length : float
        How many times as many frames, and how many times the length of shaft; above 0.

    Returns
    -------
    float
        In pixels: noise falls with the root of what is read, what rests on knowledge stays.
    """
    if not (frames > 0 and length > 0):
        raise ValueError(f"frames ({frames:g}) and length ({length:g}) must be above 0")
    stays = max(fit.u_outer_px**2 - fit.u_noise_px**2, 0.0)
    return float(np.sqrt(stays + fit.u_noise_px**2 / (frames * length)))


def _centreline(sections: Sections, off: FloatArray) -> tuple[PixelPoint, ...]:
    centre = (sections.place + off[:, None] * sections.normal)[sections.reading == 0]
    return tuple(PixelPoint(float(row), float(column)) for row, column in centre)
