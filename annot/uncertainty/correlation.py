"""Correlation stated between two root inputs (JCGM 100:2008 5.2), beside that of shared keys."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from annot.uncertainty.key_order import key_order

FloatArray = NDArray[np.float64]
# a matrix computed from data may miss zero by rounding
_NEGATIVE_EIGENVALUE = -1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Correlation:
    """The correlation coefficient of two root inputs, named by their keys."""

    first: str
    second: str
    coefficient: float

    def __post_init__(self) -> None:
        if self.first == self.second:
            raise ValueError(f"{self.first}: an input is not correlated with itself by statement.")
        if not (math.isfinite(self.coefficient) and -1 <= self.coefficient <= 1):
            raise ValueError(
                f"{self.first} and {self.second}: a correlation coefficient lies in -1 to 1, got "
                f"{self.coefficient}."
            )

    @property
    def pair(self) -> tuple[str, str]:
        """Both keys in alphabetical order."""
        first, second = sorted((self.first, self.second))
        return first, second


def merge(correlations: Iterable[Correlation]) -> tuple[Correlation, ...]:
    """Return each pair once, in order of its keys; refuse a pair with two coefficients."""
    known: dict[tuple[str, str], Correlation] = {}
    for one in correlations:
        first, second = one.pair
        kept = known.setdefault(
            one.pair, Correlation(first=first, second=second, coefficient=one.coefficient)
        )
        if kept.coefficient != one.coefficient:
            raise ValueError(
                f"{first} and {second}: two correlation coefficients, {kept.coefficient} and "
                f"{one.coefficient}."
            )
    return tuple(known[pair] for pair in sorted(known))


def correlation_matrix(keys: Sequence[str], correlations: Iterable[Correlation]) -> FloatArray:
    """Return the correlation matrix of inputs; pairs that are not among the keys are left out.

    Parameters
    ----------
    keys : sequence of str, length n

    Returns
    -------
    ndarray, shape (n, n)
    """
    place = {key: index for index, key in enumerate(keys)}
    matrix = np.eye(len(keys))
    for one in correlations:
        first, second = place.get(one.first), place.get(one.second)
        if first is not None and second is not None:
            matrix[first, second] = matrix[second, first] = one.coefficient
    return matrix


def refuse_impossible(correlations: Sequence[Correlation]) -> None:
    """Raise ValueError when no set of quantities can have these correlations together."""
    for keys in groups(correlations):
        smallest = float(np.min(np.linalg.eigvalsh(correlation_matrix(keys, correlations))))
        if smallest < _NEGATIVE_EIGENVALUE:
            raise ValueError(
                f"The correlations of {', '.join(keys)} cannot hold together: their matrix has the "
                f"negative eigenvalue {smallest:.3g}. Take them from the same data, unrounded."
            )


def groups(correlations: Iterable[Correlation]) -> tuple[tuple[str, ...], ...]:
    """Return the keys that hang together by correlations, each group in alphabetical order."""
    member: dict[str, set[str]] = {}
    for one in correlations:
        joined = member.get(one.first, {one.first}) | member.get(one.second, {one.second})
        for key in joined:
            member[key] = joined
    found = {tuple(sorted(keys, key=key_order)) for keys in member.values()}
    return tuple(sorted(found, key=lambda keys: [key_order(key) for key in keys]))


def factor(matrix: FloatArray) -> FloatArray:
    """Return F with F·Fᵀ = matrix, singular matrices included."""
    values, vectors = np.linalg.eigh(matrix)
    root: FloatArray = vectors * np.sqrt(np.clip(values, 0.0, None))
    return root
