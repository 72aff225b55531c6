"""How far limits set from a baseline lie from the true ones: the exact law of their estimates.

The mean of m normal values is normal with variance 1/m and independent of their differences. The
mean moving range has no closed law; its moment generating function is a product of m − 1 kernels
exp(s·|x − y|) over the normal density, and the law follows by Fourier inversion along a path that
is tilted towards the tail where long runs come from, so that the tail keeps its relative accuracy.
All in units of the true sigma.
"""

import math
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from annot.errors import InputError
from annot.quality.chart_constants import d2

FloatArray = NDArray[np.float64]
FEWEST = 20  # below, a handful of archives with wide limits decide the mean run length alone
MOST = 500
REACH = 7.5  # sigma: half-width of the grid of values
STEP = 0.1
STEEPNESS = 10.0  # the logarithm of a run length in control grows by about this times sigma
PERIOD = 6.0  # sigma: longer than any estimate


@dataclass(frozen=True, slots=True)
class EstimatedLimits:
    """Nodes and weights over which to average what depends on estimated limits.

    Attributes
    ----------
    centre, centre_weight : array, shape (k,)
        Errors of the centre, in sigma, with their probabilities.
    sigma, sigma_weight : array, shape (n,)
        Estimated over true sigma with their probabilities.
    """

    centre: FloatArray
    centre_weight: FloatArray
    sigma: FloatArray
    sigma_weight: FloatArray


def variance_of_mean_range(count: int) -> float:
    """Return the variance of the mean moving range over d2, in sigma².

    Neighbouring ranges share a value, others are independent: the covariance of |x − y| and
    |y − z| is 2·(√3 − 2 + π/6)/π (from the bivariate normal law of two differences with ρ = −1/2).
    """
    ranges = count - 1
    own = 2 - 4 / math.pi
    shared = 2 * (math.sqrt(3) - 2 + math.pi / 6) / math.pi
    total = ranges * own + 2 * (ranges - 1) * shared
    return total / (ranges * d2(2)) ** 2


@cache
def estimated_limits(count: int) -> EstimatedLimits:
    """Return the law of centre and sigma estimated from `count` values of a baseline.

    Raises
    ------
    InputError
        If the baseline has fewer than 20 or more than 500 values.
    """
    if not FEWEST <= count <= MOST:
        raise InputError(
            f"Run lengths under limits from a baseline are told for {FEWEST} to {MOST} values, not "
            f"{count}: with fewer, a few archives with very wide limits decide the mean."
        )
    # even nodes, on which the trapezoid rule is exact enough for a normal law, and which rank well
    nodes = np.linspace(-4.8, 4.8, 41)
    weights = np.exp(-(nodes**2) / 2)
    sigma, weight = _law_of_sigma(count)
    return EstimatedLimits(
        centre=nodes / math.sqrt(count),
        centre_weight=weights / weights.sum(),
        sigma=sigma,
        sigma_weight=weight,
    )


def _law_of_sigma(count: int) -> tuple[FloatArray, FloatArray]:
    variance = variance_of_mean_range(count)
    spread = math.sqrt(variance)
    # where density times run length is largest, for a law near the normal one
    middle = 1 / (1 - STEEPNESS * variance)
    tilt = STEEPNESS * middle
    frequency = np.arange(0.0, 9.0 / spread, 2 * math.pi / PERIOD)
    transform = _transform(count, tilt + 1j * frequency)
    low = max(1 - 7 * spread, spread / 2)
    sigma = np.linspace(low, middle + 8 * spread, 96)
    waves = np.exp(-(tilt + 1j * frequency) * sigma[:, np.newaxis]) * transform
    density = (waves[:, 0].real + 2 * waves[:, 1:].real.sum(axis=1)) / PERIOD
    weight = np.maximum(density, 0.0) * (sigma[1] - sigma[0])
    weight[[0, -1]] /= 2
    return sigma, weight / weight.sum()


def _transform(count: int, exponent: NDArray[np.complexfloating]) -> NDArray[np.complex128]:
    """Return E[exp(s·R/d2)] of the mean moving range R for every s."""
    grid = np.arange(-REACH, REACH + STEP / 2, STEP)
    weight = STEP * np.exp(-(grid**2) / 2) / math.sqrt(2 * math.pi)
    apart = np.abs(grid[:, np.newaxis] - grid)
    found = np.empty(len(exponent), dtype=np.complex128)
    for index, one in enumerate(exponent / ((count - 1) * d2(2))):
        kernel = np.exp(one * apart) * weight
        # the trapezoid rule misses h²/12 of the jump of the slope, 2·s, where x = y
        kernel[np.diag_indices_from(kernel)] += weight * one * STEP / 6
        state = np.ones(len(grid), dtype=np.complex128)
        for _ in range(count - 1):
            state = kernel @ state
        found[index] = weight @ state
    return found
