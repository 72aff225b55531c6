"""How long a chart runs before it speaks: mean run lengths from theory.

For weighted means and cumulative sums the mean run length obeys a Fredholm equation of the
second kind; it is solved at Gauss–Legendre nodes (Nyström's method), where the normal kernel
makes convergence fast. All in units of sigma.
"""

import math
from functools import cache

import numpy as np
from numpy.typing import NDArray

from annot.errors import InputError

FloatArray = NDArray[np.float64]
NODES = 60


def run_length_of_limits(shift: float, *, width: float = 3.0) -> float:
    """Return the mean run length of limits at ± `width` for a process moved by `shift`."""
    from scipy.special import ndtr

    return 1 / float(ndtr(-width - shift) + ndtr(-width + shift))


def run_length_of_weighted_means(
    shift: float, *, weight: float = 0.2, width: float = 3.0, start: float = 0.0
) -> float:
    """Return the mean run length of weighted means under settled limits.

    Parameters
    ----------
    start : float
        Where the weighted mean begins, in sigma of a value.
    """
    if not 0 < weight <= 1:
        raise InputError("A weight lies over 0 and at most at 1.")
    reach = width * math.sqrt(weight / (2 - weight))
    nodes, weights = _nodes(-reach, reach)

    def kernel(origin: FloatArray | float) -> FloatArray:
        step = (nodes - (1 - weight) * np.asarray(origin)[..., None]) / weight - shift
        return np.asarray(weights * _density(step) / weight)

    lengths = np.linalg.solve(np.eye(len(nodes)) - kernel(nodes), np.ones(len(nodes)))
    return 1 + float(kernel(start) @ lengths)


def run_length_of_sums(
    shift: float, *, allowance: float = 0.5, decision: float = 5.0, two_sided: bool = True
) -> float:
    """Return the mean run length of cumulative sums that start at zero.

    Both sides run on their own, so their rates of speaking add up.
    """
    upper = _one_sided_sums(shift, allowance, decision)
    if not two_sided:
        return upper
    return 1 / (1 / upper + 1 / _one_sided_sums(-shift, allowance, decision))


def _one_sided_sums(shift: float, allowance: float, decision: float) -> float:
    from scipy.special import ndtr

    if not (allowance >= 0 and decision > 0):
        raise InputError("Sums need an allowance ≥ 0 and a positive decision.")
    nodes, weights = _nodes(0.0, decision)
    drift = shift - allowance
    # unknowns: the run length at zero, then at every node
    size = len(nodes) + 1
    origins = np.concatenate([[0.0], nodes])
    move = np.zeros((size, size))
    move[:, 0] = ndtr(-origins - drift)
    move[:, 1:] = weights * _density(nodes - origins[:, None] - drift)
    lengths = np.linalg.solve(np.eye(size) - move, np.ones(size))
    return float(lengths[0])


def _nodes(low: float, high: float) -> tuple[FloatArray, FloatArray]:
    nodes, weights = _unit_nodes()
    half = (high - low) / 2
    return low + half * (nodes + 1), half * weights


@cache
def _unit_nodes() -> tuple[FloatArray, FloatArray]:
    nodes, weights = np.polynomial.legendre.leggauss(NODES)
    return np.asarray(nodes), np.asarray(weights)


def _density(x: FloatArray) -> FloatArray:
    return np.asarray(np.exp(-(x**2) / 2) / math.sqrt(2 * math.pi))
