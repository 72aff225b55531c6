"""Intraclass correlation: the six forms, with intervals.

Sources: P. E. Shrout and J. L. Fleiss, Psychol Bull 1979;86:420; K. O. McGraw and S. P. Wong,
Psychol Methods 1996;1:30 (intervals).
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from annot.agreement.estimate import Statistic, checked_probability
from annot.errors import InputError

IntraclassForm = Literal["1,1", "2,1", "3,1", "1,k", "2,k", "3,k"]
FORMS: Mapping[IntraclassForm, str] = {
    "1,1": "one reading, each case by other readers",
    "2,1": "one reading, readers drawn at random: absolute agreement",
    "3,1": "one reading, these readers only: consistency",
    "1,k": "mean of k readings, each case by other readers",
    "2,k": "mean of k readings, readers drawn at random: absolute agreement",
    "3,k": "mean of k readings, these readers only: consistency",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class MeanSquares:
    """Two-way analysis of variance of a full table, cases by readers, one reading a cell."""

    cases: int
    readers: int
    between_cases: float
    within_cases: float
    between_readers: float
    residual: float


def mean_squares(ratings: ArrayLike) -> MeanSquares:
    """Return the mean squares of a table of readings.

    Parameters
    ----------
    ratings : array_like, shape (cases, readers)

    Raises
    ------
    InputError
        If the table is not full, has fewer than two cases or readers, or does not vary.
    """
    table = np.asarray(ratings, dtype=float)
    if table.ndim != 2 or min(table.shape) < 2:
        raise InputError("Intraclass correlation needs at least two cases read by two readers.")
    if not np.all(np.isfinite(table)):
        raise InputError("A reading is missing: every reader must have read every case.")
    n, k = table.shape
    overall, by_case, by_reader = table.mean(), table.mean(axis=1), table.mean(axis=0)
    cases = k * float(np.sum((by_case - overall) ** 2)) / (n - 1)
    if cases == 0:
        raise InputError("All cases have the same mean: there is nothing to tell apart.")
    rest = table - by_case[:, None] - by_reader[None, :] + overall
    return MeanSquares(
        cases=n,
        readers=k,
        between_cases=cases,
        within_cases=float(np.sum((table - by_case[:, None]) ** 2)) / (n * (k - 1)),
        between_readers=n * float(np.sum((by_reader - overall) ** 2)) / (k - 1),
        residual=float(np.sum(rest**2)) / ((n - 1) * (k - 1)),
    )


def intraclass_correlation(
    ratings: ArrayLike, *, form: IntraclassForm = "2,1", probability: float = 0.95
) -> Statistic:
    """Return one form of the intraclass correlation with its interval."""
    squares = mean_squares(ratings)
    tail = (1 - checked_probability(probability)) / 2
    single = {"1": _one_way, "2": _agreement, "3": _consistency}[form[0]](squares, tail)
    return single if form.endswith("1") else _of_mean(single, squares.readers)


def intraclass_correlations(
    ratings: ArrayLike, *, probability: float = 0.95
) -> dict[IntraclassForm, Statistic]:
    """Return all six forms."""
    return {
        form: intraclass_correlation(ratings, form=form, probability=probability) for form in FORMS
    }


def _one_way(squares: MeanSquares, tail: float) -> Statistic:
    n, k = squares.cases, squares.readers
    return _from_ratio(
        squares.between_cases, squares.within_cases, (n - 1, n * (k - 1)), k=k, tail=tail
    )


def _consistency(squares: MeanSquares, tail: float) -> Statistic:
    n, k = squares.cases, squares.readers
    return _from_ratio(
        squares.between_cases, squares.residual, (n - 1, (n - 1) * (k - 1)), k=k, tail=tail
    )


def _from_ratio(
    between: float, within: float, dof: tuple[int, int], *, k: int, tail: float
) -> Statistic:
    from scipy.special import fdtri

    if within == 0:
        return Statistic(value=1.0, low=1.0, high=1.0)
    ratio = between / within

    def correlation(one: float) -> float:
        return (one - 1) / (one + k - 1)

    low = ratio / float(fdtri(*dof, 1 - tail))
    high = ratio * float(fdtri(dof[1], dof[0], 1 - tail))
    return Statistic(value=correlation(ratio), low=correlation(low), high=correlation(high))


def _agreement(squares: MeanSquares, tail: float) -> Statistic:
    """Return ICC(2,1); its interval takes Satterthwaite's degrees of freedom (McGraw & Wong)."""
    from scipy.special import fdtri

    n, k = squares.cases, squares.readers
    cases, readers, rest = squares.between_cases, squares.between_readers, squares.residual
    value = (cases - rest) / (cases + (k - 1) * rest + k * (readers - rest) / n)
    if value >= 1:
        return Statistic(value=1.0, low=1.0, high=1.0)
    a = k * value / (n * (1 - value))
    b = 1 + k * value * (n - 1) / (n * (1 - value))
    dof = (a * readers + b * rest) ** 2 / (
        (a * readers) ** 2 / (k - 1) + (b * rest) ** 2 / ((n - 1) * (k - 1))
    )
    rise, fall = float(fdtri(n - 1, dof, 1 - tail)), float(fdtri(dof, n - 1, 1 - tail))
    noise = k * readers + (k * n - k - n) * rest
    return Statistic(
        value=value,
        low=n * (cases - rise * rest) / (rise * noise + n * cases),
        high=n * (fall * cases - rest) / (noise + n * fall * cases),
    )


def _of_mean(single: Statistic, k: int) -> Statistic:
    """Step a single reading's correlation up to a mean's (Spearman and Brown).

    At −1/(k − 1) the step has a pole: from there on down, where readers agree worse than by
    chance, the variance that the mean would have is negative, and no number says how bad it is.
    """

    def stepped(value: float) -> float:
        spread = 1 + (k - 1) * value
        return k * value / spread if spread > 0 else -math.inf

    return Statistic(
        value=stepped(single.value), low=stepped(single.low), high=stepped(single.high)
    )
