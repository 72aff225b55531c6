"""Chance-corrected agreement on ordered classes, such as the row of a size chart.

Source: J. Cohen's weighted kappa with the large-sample variance of J. L. Fleiss, J. Cohen and
B. S. Everitt, Psychol Bull 1969;72:323, from memory; checked against an independent library.
"""

import math
from collections.abc import Sequence
from typing import Literal

import numpy as np

from annot.agreement.estimate import FloatArray, Statistic, checked_probability
from annot.errors import InputError

Weights = Literal["none", "linear", "quadratic"]


def weighted_kappa(
    first: Sequence[int],
    second: Sequence[int],
    *,
    classes: int,
    weights: Weights = "linear",
    probability: float = 0.95,
) -> Statistic:
    """Return weighted kappa of two readers' classes.

    Parameters
    ----------
    first, second : sequence of int, 0 to classes − 1
        Class of each case, in the order of the classes.
    weights : {"none", "linear", "quadratic"}
        How a disagreement grows with the distance between classes.

    Raises
    ------
    InputError
        If the classes do not pair, lie outside their range, or leave nothing to chance.
    """
    from scipy.special import ndtri

    table = _table(first, second, classes)
    n = float(np.sum(table))
    seen = table / n
    rows, columns = seen.sum(axis=1), seen.sum(axis=0)
    apart = np.abs(np.subtract.outer(np.arange(classes), np.arange(classes))).astype(float)
    power = {"none": 0, "linear": 1, "quadratic": 2}[weights]
    weight = 1 - (apart > 0 if power == 0 else (apart / (classes - 1)) ** power)
    chance = np.outer(rows, columns)
    agreed, by_chance = float(np.sum(weight * seen)), float(np.sum(weight * chance))
    if by_chance >= 1:
        raise InputError("Both readers put every case into one class: kappa does not exist.")
    value = (agreed - by_chance) / (1 - by_chance)
    mean = np.add.outer(weight @ columns, weight.T @ rows)
    spread = float(np.sum(seen * (weight - mean * (1 - value)) ** 2))
    offset = (value - by_chance * (1 - value)) ** 2
    u = math.sqrt(max(spread - offset, 0.0) / n) / (1 - by_chance)
    reach = float(ndtri((1 + checked_probability(probability)) / 2)) * u
    return Statistic(value=value, low=value - reach, high=min(value + reach, 1.0), u=u)


def _table(first: Sequence[int], second: Sequence[int], classes: int) -> FloatArray:
    one, other = np.asarray(first), np.asarray(second)
    if one.shape != other.shape or one.ndim != 1 or len(one) < 2 or classes < 2:
        raise InputError("Kappa needs two classes or more and pairs of classes, two or more.")
    both = np.concatenate([one, other])
    if not np.issubdtype(both.dtype, np.integer) or both.min() < 0 or both.max() >= classes:
        raise InputError(f"Classes are whole numbers from 0 to {classes - 1}.")
    table = np.zeros((classes, classes))
    np.add.at(table, (one, other), 1)
    return table
