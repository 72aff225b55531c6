"""The diameter of a shaft in pixels, with its scatter: a tube fitted to all its sections."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from annot.calibration.scale import NoScale
from annot.calibration.shaft_sections import MIN_BLOCKS, Reading, cut_sections
from annot.calibration.tube_fit import (
    LUMEN_RATIO_PRIOR,
    IndexArray,
    TubeFit,
    TubeSolution,
    with_thread,
)
from annot.geometry import PixelPoint

FloatArray = NDArray[np.float64]
Filling = Literal["empty", "contrast", "unknown"]
MIN_CONTRAST_TO_NOISE = 2.0
MAX_SATURATED_SHARE = 0.02
JACKKNIFE_GROUPS = 16
REJECTION_ROUNDS = 3
MISFIT_OF_CLEAN = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ShaftFit:
    """What was found: diameters in pixels, their scatter, and where the shaft lies.

    Attributes
    ----------
    outer_px, inner_px : float
        Outer and inner diameter.
    u_outer_px, u_inner_px : float
        Standard uncertainty from the sections' scatter (delete-a-group jackknife) or from the
        fit's own covariance, whichever is larger.
    dof : float
        Groups of sections less one.
    centreline : tuple of PixelPoint
        Middle of each section of the first reading, used or not, for drawing.
    """

    outer_px: float
    inner_px: float
    u_outer_px: float
    u_inner_px: float
    dof: float
    sections_used: int
    sections_rejected: int
    blur_px: float
    contrast_to_noise: float
    centreline: tuple[PixelPoint, ...]


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
        `empty` fixes the lumen to the surroundings' attenuation.
    lumen_ratio : (mean, standard deviation), optional
        What is known of inner over outer diameter; weak knowledge of the trade otherwise.
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
        lumen_is_empty=filling == "empty",
        lumen_ratio=lumen_ratio or LUMEN_RATIO_PRIOR,
    )
    kept, solution = _agreeing(fit)
    if len(kept) < MIN_BLOCKS:
        return NoScale(
            reason=f"only {len(kept)} of {len(sections.profile)} sections look like one shaft"
        )
    fit, solution = with_thread(fit, solution, kept)
    fault = _fault(fit, solution, kept, readings=readings, full_scale=full_scale)
    return NoScale(reason=fault) if fault else _report(fit, solution, kept)


def _agreeing(fit: TubeFit) -> tuple[IndexArray, TubeSolution]:
    """Return the sections that look like one shaft, and the fit to them alone.

    Sections that something crosses bend the first fit towards themselves, so the rejection is
    repeated until none leaves.
    """
    kept = np.arange(len(fit.sections.profile))
    solution = fit.solve(kept)
    for _ in range(REJECTION_ROUNDS):
        alike = _alike(fit, solution, kept)
        if np.all(alike):
            break
        kept = kept[alike]
        if len(kept) < MIN_BLOCKS:
            break
        solution = fit.solve(kept, start=solution)
    return kept, solution


def _alike(fit: TubeFit, solution: TubeSolution, kept: IndexArray) -> NDArray[np.bool_]:
    """Return whose misfit is like that of the clean quarter and whose shadow is as deep as usual.

    A quarter stands for the clean ones because something that crosses obliquely can spoil more
    than half of the sections.
    """
    model, amplitude = fit.fitted(solution.shared, solution.centre[kept], kept)
    misfit = np.sqrt(np.mean((model - fit.sections.profile[kept]) ** 2, axis=1))
    usual = float(np.median(amplitude))
    good = misfit <= MISFIT_OF_CLEAN * np.quantile(misfit, 0.25)
    return np.asarray(good & (np.abs(amplitude - usual) <= 0.5 * abs(usual)))


def _fault(
    fit: TubeFit,
    solution: TubeSolution,
    kept: IndexArray,
    *,
    readings: Sequence[Reading],
    full_scale: float | None,
) -> str:
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
    if full_scale is not None and _saturated_share(fit, readings, full_scale) > (
        MAX_SATURATED_SHARE
    ):
        return "the picture is saturated on or beside the shaft; choose another frame"
    return ""


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
    _, amplitude = fit.fitted(solution.shared, solution.centre[kept], kept)
    peak = float(np.max(fit.tube(solution.shared).absorbed(fit.sections.offset_px)))
    return abs(float(np.median(amplitude))) * peak / solution.noise


def _spread(fit: TubeFit, solution: TubeSolution, kept: IndexArray) -> FloatArray:
    """Return standard uncertainties of outer and inner diameter in pixels."""
    groups = np.array_split(kept, min(len(kept), JACKKNIFE_GROUPS))
    found = []
    for group in groups:
        rest = np.setdiff1d(kept, group)
        tube = fit.tube(fit.reshaped(rest, solution).shared)
        found.append((tube.outer_px, tube.outer_px * tube.lumen_ratio))
    jackknife = np.sqrt((len(groups) - 1) * np.var(np.asarray(found), axis=0))
    tube = fit.tube(solution.shared)
    slopes = np.zeros((2, len(solution.shared)))
    slopes[0, 0] = tube.outer_px
    slopes[1, [0, 2]] = tube.outer_px * tube.lumen_ratio, tube.outer_px
    # Wall and diameter trade places along a curved valley: a fit that strayed towards a thick wall
    # states too little, so what it would state at the usual wall counts as well.
    usual = fit.covariance_at(fit.lumen_ratio[0], solution, kept)
    own = [np.sqrt(np.diag(slopes @ one @ slopes.T)) for one in (solution.covariance, usual)]
    return np.asarray(np.maximum.reduce([jackknife, *own]))


def _report(fit: TubeFit, solution: TubeSolution, kept: IndexArray) -> ShaftFit:
    sections, tube = fit.sections, fit.tube(solution.shared)
    spread = _spread(fit, solution, kept)
    first = sections.reading == 0
    off = np.where(np.isin(np.arange(len(first)), kept), solution.centre, 0.0)
    centre = (sections.place + off[:, None] * sections.normal)[first]
    return ShaftFit(
        outer_px=tube.outer_px,
        inner_px=tube.outer_px * tube.lumen_ratio,
        u_outer_px=float(spread[0]),
        u_inner_px=float(spread[1]),
        dof=min(len(kept), JACKKNIFE_GROUPS) - 1.0,
        sections_used=len(kept),
        sections_rejected=len(sections.profile) - len(kept),
        blur_px=tube.blur_px,
        contrast_to_noise=_contrast_to_noise(fit, solution, kept),
        centreline=tuple(PixelPoint(float(row), float(column)) for row, column in centre),
    )
