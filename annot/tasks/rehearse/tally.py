"""Counting trials: bias, scatter, and how often intervals hold, with exact binomial limits."""

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from annot.tasks.rehearse.trial import Trial

LIMITS_PROBABILITY = 0.95
BOUND, NAIVE = "bound_rel", "naive"  # what a trial may have beside it


@dataclass(frozen=True, slots=True, kw_only=True)
class Tally:
    """What a group of trials comes to.

    Attributes
    ----------
    trials, refused : int
        Trials in all, and those without a number.
    bias_rel, u_bias_rel, scatter_rel : float or None
        Mean relative error, its standard uncertainty, and the errors' standard deviation.
    median_error_rel, u_rel : float or None
        Median of the relative errors and of the stated relative standard uncertainties.
    held : int
        Intervals that hold the truth.
    coverage, coverage_low, coverage_high : float or None
        Share that holds, with the exact (Clopper–Pearson) 95 % limits of that share.
    over_bound : float or None
        Root mean square of the errors, each over the least that its own case allows.
    naive_bias_rel : float or None
        Mean relative error of the simple reading beside the instrument's, where there is one.
    """

    trials: int
    refused: int
    bias_rel: float | None = None
    u_bias_rel: float | None = None
    scatter_rel: float | None = None
    median_error_rel: float | None = None
    u_rel: float | None = None
    held: int = 0
    coverage: float | None = None
    coverage_low: float | None = None
    coverage_high: float | None = None
    over_bound: float | None = None
    naive_bias_rel: float | None = None

    @property
    def answered(self) -> int:
        """Trials with a number."""
        return self.trials - self.refused


def tally(trials: Sequence[Trial]) -> Tally:
    """Count a group of trials; independent ones, for the limits to mean what they say."""
    errors = np.array([one.error_rel for one in trials if one.error_rel is not None])
    count = len(errors)
    if count == 0:
        return Tally(trials=len(trials), refused=len(trials))
    held = sum(bool(one.holds) for one in trials)
    low, high = binomial_limits(held, count)
    scatter = float(np.std(errors, ddof=1)) if count > 1 else None
    return Tally(
        trials=len(trials),
        refused=len(trials) - count,
        bias_rel=float(np.mean(errors)),
        u_bias_rel=None if scatter is None else scatter / math.sqrt(count),
        scatter_rel=scatter,
        median_error_rel=float(np.median(errors)),
        u_rel=float(np.median([one.u_rel for one in trials if one.u_rel is not None])),
        held=held,
        coverage=held / count,
        coverage_low=low,
        coverage_high=high,
        over_bound=_over_bound(trials),
        naive_bias_rel=_naive_bias(trials),
    )


def _over_bound(trials: Sequence[Trial]) -> float | None:
    ratios = [
        one.error_rel / one.beside[BOUND]
        for one in trials
        if one.error_rel is not None and BOUND in one.beside
    ]
    return float(np.sqrt(np.mean(np.square(ratios)))) if ratios else None


def _naive_bias(trials: Sequence[Trial]) -> float | None:
    errors = [one.beside[NAIVE] / one.true - 1.0 for one in trials if NAIVE in one.beside]
    return float(np.mean(errors)) if errors else None


def binomial_limits(held: int, count: int) -> tuple[float, float]:
    """Return the exact 95 % limits of a share (Clopper and Pearson, 1934)."""
    from scipy.stats import binomtest

    limits = binomtest(held, count).proportion_ci(LIMITS_PROBABILITY, method="exact")
    return float(limits.low), float(limits.high)


def grouped(trials: Iterable[Trial], names: Sequence[str]) -> dict[tuple[str, ...], list[Trial]]:
    """Sort trials into cells by their labels; a trial without one of the labels is in none."""
    cells: dict[tuple[str, ...], list[Trial]] = defaultdict(list)
    for one in trials:
        if all(name in one.labels for name in names):
            cells[tuple(one.labels[name] for name in names)].append(one)
    return dict(cells)
