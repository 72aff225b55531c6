"""Which sections of a trace show one and the same shaft, and nothing else on top of it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from annot.calibration.allowances import SHAFT_SAMPLING_REL
from annot.calibration.shaft_location import MIN_BLOCKS
from annot.calibration.tube_fit import BLUR, IndexArray, TubeFit, TubeSolution

FloatArray = NDArray[np.float64]
ROUNDS = 4
WINDOW = 5  # sections fitted alone when something lies over many of them
MISFIT_OF_CLEAN = 1.6  # times the misfit of the clean ones
CLEAN_OVER_NOISE = 1.35  # above: more than quantum noise lies in the picture
DEPTH_APART = 0.35  # relative difference in depth of shadow
WIDTH_APART = 4.0  # standard uncertainties of one section's own width


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreement:
    """Sections kept, the fit to them, and how far the model misses them beyond their noise."""

    kept: IndexArray
    solution: TubeSolution
    over_noise: float


def agreeing_sections(fit: TubeFit) -> Agreement:
    """Return the sections that look like one shaft, and the fit to them alone.

    Sections that something crosses bend the first fit towards themselves, and may outnumber the
    clean ones. So where the fit to all misses them by more than the picture's own noise, short
    windows are fitted alone as well, and the one that the model explains best is grown from.
    """
    every = np.arange(len(fit.sections.profile))
    best = _grown(fit, fit.solve(every), every)
    if best.over_noise <= CLEAN_OVER_NOISE and len(best.kept) >= 0.7 * len(every):
        return best
    for window in _windows(fit):
        alone = fit.solve(window)
        grown = _grown(fit, alone, window)
        if _rank(grown) < _rank(best):
            best = grown
    return best


def _rank(found: Agreement) -> tuple[float, int]:
    """Return what to prefer: a model that fits, then more sections."""
    if len(found.kept) < MIN_BLOCKS:
        return np.inf, 0
    return max(found.over_noise, CLEAN_OVER_NOISE), -len(found.kept)


def _windows(fit: TubeFit) -> list[IndexArray]:
    """Return runs of neighbouring sections of one reading each."""
    runs = []
    for reading in np.unique(fit.sections.reading):
        own = np.flatnonzero(fit.sections.reading == reading)
        size = min(WINDOW, len(own))
        runs += [own[first : first + size] for first in range(0, len(own) - size + 1, size - 2)]
    return runs


def _grown(fit: TubeFit, solution: TubeSolution, kept: IndexArray) -> Agreement:
    """Drop sections unlike the rest and take in those that are like them, until none moves."""
    every = np.arange(len(fit.sections.profile))
    for _ in range(ROUNDS):
        solution = fit.centred(solution, every, turns=2)
        alike = every[_alike(fit, solution, every, among=kept)]
        if len(alike) < MIN_BLOCKS:
            return Agreement(kept=alike, solution=solution, over_noise=np.inf)
        settled = np.array_equal(alike, kept)
        kept = alike
        solution = fit.solve(kept, start=solution, turns=1 if settled else 2)
        if settled:
            break
    return Agreement(kept=kept, solution=solution, over_noise=_over_noise(fit, solution, kept))


def misfit_of_sections(fit: TubeFit, solution: TubeSolution, kept: IndexArray) -> FloatArray:
    """Return the root mean square misfit of every kept section in units of the noise, (k,)."""
    left = fit.misfit(solution, kept)
    own = left.shape[1] - 5.0  # depth, background of three terms and centre are each section's own
    noise = np.hypot(fit.sections.noise, sampling_error(fit, solution, kept))
    return np.asarray(np.sqrt(np.sum(left**2, axis=1) / own) / noise)


def peak_of(fit: TubeFit, solution: TubeSolution, kept: IndexArray) -> float:
    """Depth of the usual shadow in units of the background."""
    depth = fit.fitted(solution, kept)[1]
    peak = float(np.max(fit.tube(solution.shared).absorbed(fit.sections.offset_px)))
    return abs(float(np.median(depth))) * peak


def sampling_error(fit: TubeFit, solution: TubeSolution, kept: IndexArray) -> float:
    """Return what a sharp shadow's values between pixels miss, in units of the background.

    An edge sharper than the pixels leaves more than they can tell: it comes back as waves that all
    sections of a shaft along the rows or columns have in common.
    """
    blur = float(np.exp(solution.shared[BLUR]))
    left = SHAFT_SAMPLING_REL.value * np.exp(-0.5 * (np.pi * blur) ** 2)
    return float(left) * peak_of(fit, solution, kept)


def _over_noise(fit: TubeFit, solution: TubeSolution, kept: IndexArray) -> float:
    return float(np.sqrt(np.mean(misfit_of_sections(fit, solution, kept) ** 2)))


def _alike(
    fit: TubeFit, solution: TubeSolution, sections: IndexArray, *, among: IndexArray
) -> NDArray[np.bool_]:
    """Return whose misfit, depth and own width are like those of the clean ones among others.

    A quarter stands for the clean ones because something that crosses obliquely can spoil more
    than half of the sections.
    """
    usual = misfit_of_sections(fit, solution, among)
    limit = MISFIT_OF_CLEAN * max(float(np.quantile(usual, 0.25)), 1.0)
    misfit = misfit_of_sections(fit, solution, sections)
    depth = fit.fitted(solution, sections)[1]
    middle = float(np.median(fit.fitted(solution, among)[1]))
    near = np.abs(depth - middle) <= DEPTH_APART * abs(middle)
    return np.asarray((misfit <= limit) & near & (depth > 0))
