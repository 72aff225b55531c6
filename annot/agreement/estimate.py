"""A statistic of readers with its confidence interval, and the checks that all of them share."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from annot.errors import InputError

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Statistic:
    """A statistic with its confidence interval.

    Attributes
    ----------
    value : float
    low, high : float
        Bounds of the two-sided confidence interval; its probability is the caller's.
    u : float
        Standard error where the method has one, otherwise NaN.
    """

    value: float
    low: float
    high: float
    u: float = math.nan

    def scaled(self, factor: float) -> "Statistic":
        """Return the estimate of a positive multiple of the same statistic."""
        return Statistic(
            value=self.value * factor,
            low=self.low * factor,
            high=self.high * factor,
            u=self.u * factor,
        )


def numbers(values: ArrayLike, *, name: str, at_least: int = 1) -> FloatArray:
    """Return finite numbers in one row; raise InputError when that is not what they are."""
    row = np.asarray(values, dtype=float)
    if row.ndim != 1:
        raise InputError(f"{name}: a list of numbers is needed, not a table.")
    if len(row) < at_least:
        raise InputError(f"{name}: {len(row)} value(s), and at least {at_least} are needed.")
    if not np.all(np.isfinite(row)):
        raise InputError(f"{name}: value {int(np.argmin(np.isfinite(row)))} is no finite number.")
    return row


def pairs(
    first: ArrayLike, second: ArrayLike, *, at_least: int = 3
) -> tuple[FloatArray, FloatArray]:
    """Return two rows of readings of the same cases; raise InputError when they do not pair."""
    one = numbers(first, name="first reading", at_least=at_least)
    other = numbers(second, name="second reading", at_least=at_least)
    if len(one) != len(other):
        raise InputError(
            f"{len(one)} first readings and {len(other)} second ones: they must pair up case by "
            "case."
        )
    return one, other


def groups_of(values: Sequence[ArrayLike], *, at_least: int = 2) -> list[FloatArray]:
    """Return the readings of each case; raise InputError unless there are enough cases."""
    if len(values) < at_least:
        raise InputError(f"{len(values)} case(s), and at least {at_least} are needed.")
    return [numbers(one, name=f"case {index}") for index, one in enumerate(values)]


def checked_probability(probability: float) -> float:
    """Return a probability strictly between 0 and 1; raise InputError for any other number."""
    if not 0 < probability < 1:
        raise InputError(f"A probability lies between 0 and 1, not at {probability}.")
    return probability
