"""How well a fitted tube is known: its sections' scatter, and what nobody stated about its wall.

What is unstated (wall, filling) is not fitted away but drawn from a stated distribution: one fit
per possible wall and filling, weighted by how well it explains the picture (Laplace's approximation
of each one's evidence, from memory). The diameter is the mean of that mixture. Its variance has two
parts: the mean of the fits' own, and how far the fits lie apart.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from annot.calibration.allowances import (
    LUMEN_DEPTH_LOG,
    LUMEN_RATIO_HIGHEST,
    LUMEN_RATIO_LOWEST,
)
from annot.calibration.tube_fit import (
    BLUR,
    OUTER,
    RATIO,
    SHARED,
    THREAD_AT,
    THREAD_LOG,
    IndexArray,
    TubeFit,
    TubeSolution,
)

FloatArray = NDArray[np.float64]
WALLS = 8  # walls that are fitted; between them everything is smooth enough for a spline
FINE_WALLS = 200
LEAST_FRAMES = 3
WIDE_BLUR = 0.12  # over the width seen
SAME = 0.005  # relative difference in diameter below which two explanations are one
SAME_BY_U = 0.5  # the same in standard uncertainties: their distributions are hardly two
LEAST_SHARE = 1.0 / 40.0
GAP, GAP_BY_U = 0.03, 2.0  # between explanations, relative and in standard uncertainties
QUANTILES = (0.025, 0.975)


@dataclass(frozen=True, slots=True, kw_only=True)
class TubeSpread:
    """Diameters with their uncertainty over everything left open.

    Attributes
    ----------
    outer_px, inner_px : float
    u_outer_px, u_inner_px : float
        Standard uncertainties, both parts together.
    u_wall_px, u_inner_wall_px : float
        The part of either that comes from what nobody stated and the picture does not tell: how
        far explanations by other walls and fillings lie apart. It has no degrees of freedom.
    u_noise_px : float
        The part that more sections or frames make smaller: the rest comes from what is known.
    low_px, high_px : float
        2.5 % and 97.5 % quantile of the outer diameter.
    dof : float
        Of the other part, the fit's own under one wall and filling.
    filled : float
        Probability that the lumen holds contrast.
    rivals : tuple of float
        Diameters of explanations with nothing between them, each too likely to be left out,
        ascending; one alone where the picture tells.
    """

    outer_px: float
    inner_px: float
    u_outer_px: float
    u_inner_px: float
    u_wall_px: float
    u_inner_wall_px: float
    u_noise_px: float
    low_px: float
    high_px: float
    dof: float
    filled: float
    rivals: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Possible:
    """One wall and filling with the fit under it."""

    log_weight: float
    outer: float
    inner: float
    u_outer: float
    u_inner: float
    u_noise: float
    filled: bool
    start: int = 0


def spread_over_walls(
    fits: Sequence[TubeFit], solution: TubeSolution, kept: IndexArray, *, widen: float
) -> TubeSpread:
    """Return diameters over every filling that may be, and every wall where none is stated.

    Parameters
    ----------
    fits : sequence of TubeFit
        One per possible filling. A lumen ratio of unknown wall is marked by an infinite standard
        uncertainty.
    solution : TubeSolution
        Where to start from.
    widen : float
        Factor of every standard uncertainty for misfit that sections share.
    """
    beyond, frames_dof = spread_of_frames(fits[0], solution, kept)
    possible = [
        one for fit in fits for one in _explanations(fit, solution, kept, widen=widen * beyond)
    ]
    return _mixed(possible, dof=min(len(kept) - 1.0, frames_dof))


def _explanations(
    fit: TubeFit, solution: TubeSolution, kept: IndexArray, *, widen: float
) -> list[_Possible]:
    """Return the fit under each wall, from every start, each explanation once."""
    walls = _walls(fit)
    families: list[list[_Possible]] = []
    for guess in [solution] if fit.held.lumen_is_empty else _starts(fit, solution):
        now = guess
        own: list[_Possible] = []
        for one in walls:
            now = one.shaped(one.centred(_begun(now, one), kept), kept)
            own.append(_weighed(one, now, kept, widen=widen))
            # from where it meets another start's fit it would go on as that one does
            met = [family for family in families if _is_same(family[len(own) - 1], own[-1])]
            if met:
                own += met[0][len(own) :]
                break
        families.append(own)
    found = [_between(own) if len(own) > 1 else own for own in families]
    every = []
    for index in range(len(found[0])):
        apart: list[_Possible] = []
        for start, family in enumerate(found):
            found_here = replace(family[index], start=start)
            if not any(_is_same(other, found_here) for other in apart):
                apart.append(found_here)
        every += apart
    return every


def _is_same(one: _Possible, other: _Possible) -> bool:
    """Tell whether two fits are one explanation: close, or closer than either is known."""
    close = max(SAME * one.outer, SAME_BY_U * min(one.u_outer, other.u_outer))
    return abs(one.outer - other.outer) <= close


def _starts(fit: TubeFit, solution: TubeSolution) -> list[TubeSolution]:
    """Return where to start with contrast inside: every mix, and a dense wall under a wide blur.

    A wide blur and a sharp picture of a wider tube are explanations of one shadow that no search
    finds from each other.
    """
    starts = [_guessed(solution, guess) for guess in fit.guesses()]
    shared = starts[0].shared.copy()
    shared[BLUR] = math.log(WIDE_BLUR * fit.sections.width_px)
    return [*starts, replace(starts[0], shared=shared)]


def _guessed(solution: TubeSolution, guess: TubeSolution) -> TubeSolution:
    """Return a start with the shape of a guess where the solution has found centres and blur."""
    shared = guess.shared.copy()
    shared[[BLUR, THREAD_AT, THREAD_LOG]] = solution.shared[[BLUR, THREAD_AT, THREAD_LOG]]
    return replace(solution, shared=shared)


def _walls(fit: TubeFit) -> list[TubeFit]:
    """Return a fit per wall to look at: as stated, or evenly over those that may be."""
    if math.isfinite(fit.held.lumen_ratio[1]):
        return [fit]
    ratios = np.linspace(LUMEN_RATIO_LOWEST.value, LUMEN_RATIO_HIGHEST.value, WALLS)
    return [replace(fit, held=replace(fit.held, lumen_ratio=(float(one), 0.0))) for one in ratios]


def _between(fitted: Sequence[_Possible]) -> list[_Possible]:
    """Return walls between the fitted ones: each figure follows the wall smoothly."""
    from scipy.interpolate import CubicSpline, PchipInterpolator

    names = ("log_weight", "outer", "inner", "u_outer", "u_inner", "u_noise")
    table = np.array([[getattr(one, name) for name in names] for one in fitted])
    place = np.linspace(0.0, len(fitted) - 1.0, FINE_WALLS)
    # with contrast inside, a start may change its explanation from one wall to the next
    through = PchipInterpolator if fitted[0].filled else CubicSpline
    fine = through(np.arange(len(fitted)), table)(place)
    fine[:, 3:] = np.maximum(fine[:, 3:], table[:, 3:].min(axis=0))
    return [
        _Possible(
            log_weight=float(row[0]) - math.log(FINE_WALLS),
            outer=float(row[1]),
            inner=float(row[2]),
            u_outer=float(row[3]),
            u_inner=float(row[4]),
            u_noise=float(row[5]),
            filled=fitted[0].filled,
        )
        for row in fine
    ]


def _begun(now: TubeSolution, fit: TubeFit) -> TubeSolution:
    """Return the start of a fit under another wall: the last one's end, with that wall."""
    shared = now.shared.copy()
    if RATIO not in fit.held.active:
        shared[RATIO] = fit.held.lumen_ratio[0]
    return replace(now, shared=shared)


def _weighed(fit: TubeFit, found: TubeSolution, kept: IndexArray, *, widen: float) -> _Possible:
    spread = spread_of_sections(fit, found, kept)
    covariance = spread.covariance * widen**2
    outer, ratio = math.exp(found.shared[OUTER]), float(found.shared[RATIO])
    by_inner = np.zeros(SHARED)
    by_inner[[OUTER, RATIO]] = outer * ratio, outer
    own = found.covariance[np.ix_(fit.held.active, fit.held.active)]
    evidence = -found.cost / widen**2 + 0.5 * float(np.linalg.slogdet(own)[1])
    if not fit.held.lumen_is_empty:
        # one unknown more, known beforehand to its own uncertainty only
        evidence -= math.log(LUMEN_DEPTH_LOG.value)
    return _Possible(
        log_weight=evidence,
        outer=outer,
        inner=outer * ratio,
        u_outer=outer * math.sqrt(covariance[OUTER, OUTER]),
        u_inner=math.sqrt(float(by_inner @ covariance @ by_inner)),
        u_noise=outer * math.sqrt(covariance[OUTER, OUTER]) * spread.noise_share,
        filled=not fit.held.lumen_is_empty,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class SectionSpread:
    """Covariance (8, 8) of the shared unknowns, and which share of the diameter's u is noise."""

    covariance: FloatArray
    noise_share: float


def spread_of_sections(fit: TubeFit, found: TubeSolution, kept: IndexArray) -> SectionSpread:
    """Return the covariance of the shared unknowns from the scatter of the sections' pulls.

    The pull of a section is its slope of the sum of squares; their scatter between sections holds
    whatever noise there is along a section, where the fit's own covariance takes it as white
    (Huber 1967, White 1980, from memory). The larger of both counts for each unknown.
    """
    projected = fit.project(found.shared, found.centre[kept], kept, found.noise)
    pulls = np.einsum("kmp,km->kp", projected.slopes, projected.misfit)
    scatter = pulls - pulls.mean(axis=0)
    spread = scatter.T @ scatter * (len(kept) / (len(kept) - 1.0))
    information = np.einsum("kmp,kmq->pq", projected.slopes, projected.slopes)
    active = fit.held.active
    own = found.covariance[np.ix_(active, active)]
    beside = own - own @ information @ own  # what comes from knowledge beside the picture
    sections = own @ spread @ own + beside
    scale = np.sqrt(np.maximum(np.diag(sections), 1e-30) / np.maximum(np.diag(own), 1e-30))
    scale = np.maximum(scale, 1.0)
    covariance = np.zeros((SHARED, SHARED))
    covariance[np.ix_(active, active)] = own * np.outer(scale, scale)
    noise = float(np.clip(1.0 - beside[0, 0] / max(sections[0, 0], own[0, 0]), 0.0, 1.0))
    return SectionSpread(covariance=covariance, noise_share=math.sqrt(noise))


def spread_of_frames(fit: TubeFit, found: TubeSolution, kept: IndexArray) -> tuple[float, float]:
    """Return by which factor frames scatter more than their sections say, and its dof.

    Motion, another gain or another place in the picture moves all sections of a frame alike. From
    three frames on, their own pulls are compared with those of their sections; what exceeds chance
    (one in twenty) counts, with the degrees of freedom of the frames.
    """
    from scipy.special import chdtri

    reading = fit.sections.reading[kept]
    frames = np.unique(reading)
    if len(frames) < LEAST_FRAMES:
        return 1.0, math.inf
    projected = fit.project(found.shared, found.centre[kept], kept, found.noise)
    active = fit.held.active
    toward = found.covariance[OUTER, active]
    pulls = np.einsum("kmp,km,p->k", projected.slopes, projected.misfit, toward)
    sums = np.array([pulls[reading == one].sum() for one in frames])
    within = sum(float(np.sum((pulls[reading == one] - pulls.mean()) ** 2)) for one in frames)
    freedom = len(frames) - 1.0
    ratio = float(np.sum((sums - sums.mean()) ** 2)) / freedom * len(frames) / within
    if ratio * freedom <= float(chdtri(freedom, 0.05)):
        return 1.0, math.inf
    return math.sqrt(ratio), freedom


def _mixed(possible: Sequence[_Possible], *, dof: float) -> TubeSpread:
    log_weight = np.array([one.log_weight for one in possible])
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    # a whole explanation less likely than one in forty lies outside an interval of 95 %
    kinds = np.array([2 * one.start + one.filled for one in possible])
    shares = np.bincount(kinds, weights=weight)[kinds]
    weight = np.where(shares < LEAST_SHARE, 0.0, weight)
    weight /= weight.sum()
    outer, inner, u_outer, u_inner, u_noise = (
        np.array([getattr(one, name) for one in possible])
        for name in ("outer", "inner", "u_outer", "u_inner", "u_noise")
    )
    mean, mean_inner = float(weight @ outer), float(weight @ inner)
    within = float(weight @ u_outer**2)
    between = float(weight @ (outer - mean) ** 2)
    within_inner = float(weight @ u_inner**2)
    between_inner = float(weight @ (inner - mean_inner) ** 2)
    low, high = (_quantile(share, weight, outer, u_outer) for share in QUANTILES)
    return TubeSpread(
        outer_px=mean,
        inner_px=mean_inner,
        u_outer_px=math.sqrt(within + between),
        u_inner_px=math.sqrt(within_inner + between_inner),
        u_wall_px=math.sqrt(between),
        u_inner_wall_px=math.sqrt(between_inner),
        u_noise_px=math.sqrt(float(weight @ u_noise**2)),
        low_px=low,
        high_px=high,
        dof=dof,
        filled=float(weight @ np.array([one.filled for one in possible])),
        rivals=_rivals(weight, outer, u_outer),
    )


def _rivals(weight: FloatArray, outer: FloatArray, u: FloatArray) -> tuple[float, ...]:
    """Return the mean of every heap of explanations that a gap sets apart from the others."""
    order = np.argsort(outer)
    order = order[weight[order] > 0]
    weight, outer, u = weight[order], outer[order], u[order]
    room = np.maximum(GAP_BY_U * np.maximum(u[1:], u[:-1]), GAP * outer[1:])
    heap = np.concatenate([[0], np.cumsum(np.diff(outer) > room)])
    share = np.bincount(heap, weights=weight)
    means = np.bincount(heap, weights=weight * outer) / np.where(share > 0, share, 1.0)
    likely = share >= min(LEAST_SHARE, share.max())
    return tuple(float(one) for one in means[likely])


def _quantile(share: float, weight: FloatArray, mean: FloatArray, u: FloatArray) -> float:
    """Return a quantile of a mixture of normal distributions."""
    from scipy.special import ndtr

    grid = np.linspace(np.min(mean - 5 * u), np.max(mean + 5 * u), 801)
    below = ndtr((grid[:, None] - mean) / u) @ weight
    return float(np.interp(share, below, grid))


def any_wall() -> tuple[float, float]:
    """Return mean and standard deviation of the ratios that an unstated wall is drawn from."""
    low, high = LUMEN_RATIO_LOWEST.value, LUMEN_RATIO_HIGHEST.value
    return (low + high) / 2, (high - low) / math.sqrt(12.0)


def possible_fits(
    fit_of: TubeFit, *, filling: str, lumen_ratio: tuple[float, float] | None
) -> list[TubeFit]:
    """Return a fit per filling that may be: empty, contrast, or both where nobody stated it."""
    ratio = lumen_ratio or (fit_of.held.lumen_ratio[0], math.inf)
    empties = {"empty": [True], "contrast": [False], "unknown": [True, False]}[filling]
    return [
        replace(
            fit_of,
            held=replace(fit_of.held, lumen_is_empty=one, lumen_ratio=ratio),
        )
        for one in empties
    ]
