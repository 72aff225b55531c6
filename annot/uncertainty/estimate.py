"""The rule: first order answers where it can be trusted, drawing answers where it cannot."""

import math
from dataclasses import dataclass
from typing import Literal

from annot.uncertainty.coverage import CoverageInterval, IntervalKind, coverage_factor, expand
from annot.uncertainty.monte_carlo import Simulation, simulate
from annot.uncertainty.quantity import MeasurementResult
from annot.uncertainty.rounding import numerical_tolerance
from annot.uncertainty.second_order import second_order

Method = Literal["first order", "monte carlo"]
# the tolerance of one digit can reach half of u: an end that far out is not the same interval
_TOLERANCE_BY_U = 0.1
# places ends within some hundredth of u, a fifth of the least tolerance (JCGM 101:2008 8.1)
DECIDING_DRAWS = 200_000
# cumulants are believed up to here, and then with a tenth of each as what the next ones may do
_SKEW, _EXCESS, _NEXT = 0.25, 0.25, 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """The answer for one quantity, and which method gave it.

    Attributes
    ----------
    value, u : float
        Estimate and standard uncertainty; by Monte Carlo mean and standard deviation of the draws.
    interval : CoverageInterval
    method : {"first order", "monte carlo"}
    first_order_value : float
        The model at the estimates of its inputs, kept beside a Monte Carlo mean.
    reason : str
        Why this method answers.
    """

    value: float
    u: float
    interval: CoverageInterval
    method: Method
    first_order_value: float
    reason: str


def estimate(
    result: MeasurementResult, *, probability: float = 0.95, kind: IntervalKind = "shortest"
) -> Estimate:
    """Return value, uncertainty and interval by first order or, where that fails, by drawing.

    A cheap look at curvature and at the inputs' shapes decides whether to simulate at all; the
    simulation decides which method answers, by the comparison of JCGM 101:2008 clause 8: both ends,
    and here also the value, agree within `agreement_tolerance`.

    Parameters
    ----------
    result : MeasurementResult
        One without its model, read back from a file, is answered by first order.
    kind : {"shortest", "symmetric"}
        Of a simulated interval; a first-order interval is both.

    Raises
    ------
    ValueError
        If first order is degenerate and an input has too few degrees of freedom to be simulated, or
        the model has no finite value where its inputs can be.
    """
    quick = quick_estimate(result, probability=probability)
    if quick is not None:
        return quick
    first = expand(result, probability=probability)
    tolerance = agreement_tolerance(result.u)
    compared = simulate(result, probability=probability, kind=kind, draws=DECIDING_DRAWS)
    apart = _apart(first, result.value, compared)
    if apart <= tolerance:
        return _by_first_order(result, first, "simulation agrees")
    simulation = simulate(result, probability=probability, kind=kind)
    return Estimate(
        value=simulation.value,
        u=simulation.u,
        interval=simulation.interval,
        method="monte carlo",
        first_order_value=result.value,
        reason=f"first order is off by {apart:.2g}, beyond {tolerance:.2g}",
    )


def quick_estimate(result: MeasurementResult, *, probability: float = 0.95) -> Estimate | None:
    """Return what `estimate` answers where a cheap look suffices; None where it must simulate."""
    trusted = _trusted(result, probability)
    if not trusted:
        return None
    return _by_first_order(result, expand(result, probability=probability), trusted)


def provisional_estimate(result: MeasurementResult, *, probability: float = 0.95) -> Estimate:
    """Return the first-order answer unseen, for a number that is still being drawn.

    It is no final answer: whether first order can be trusted here is not asked.
    """
    interval = expand(result, probability=probability)
    return _by_first_order(result, interval, "provisional: first order, not checked")


def agreement_tolerance(u: float) -> float:
    """Return δ within which two answers agree: half a unit of the first digit of `u`, at most u/10.

    JCGM 101:2008 7.9.2 and 8.1 with one significant digit, bounded because that digit may be a 1.
    """
    return min(numerical_tolerance(u, digits=1), _TOLERANCE_BY_U * u) if u > 0 else 0.0


def _by_first_order(result: MeasurementResult, interval: CoverageInterval, reason: str) -> Estimate:
    return Estimate(
        value=result.value,
        u=result.u,
        interval=interval,
        method="first order",
        first_order_value=result.value,
        reason=reason,
    )


def _apart(first: CoverageInterval, value: float, simulation: Simulation) -> float:
    return max(
        abs(first.low - simulation.interval.low),
        abs(first.high - simulation.interval.high),
        abs(value - simulation.value),
    )


def _trusted(result: MeasurementResult, probability: float) -> str:
    """Return why first order needs no simulation beside it, or an empty text."""
    uncertain = [line.input for line in result.lines if line.input.distribution != "exact"]
    if not uncertain:
        return "every input is exact"
    if result.model is None:
        return "read back without its model, it cannot be simulated"
    few = [one for one in uncertain if one.dof <= 2 and one.distribution != "rectangular"]
    if few and result.u > 0:
        return f"{few[0].key} has too few degrees of freedom to be simulated"
    if result.correlations and result.dof < math.inf:
        return ""
    moved = _predicted_move(result, probability)
    return "nearly linear" if moved <= agreement_tolerance(result.u) else ""


def _predicted_move(result: MeasurementResult, probability: float) -> float:
    """Return how far value or ends would move, by cumulants; infinite where they say too little.

    Quantiles after Cornish and Fisher. The skew part is that of the shortest interval: its two ends
    have equal density, to first order of the same expansion.
    """
    bent = second_order(result)
    if bent is None or not (abs(bent.skewness) <= _SKEW and abs(bent.excess) <= _EXCESS):
        return math.inf
    reach = coverage_factor(result.dof, probability=probability) * result.u
    z = coverage_factor(math.inf, probability=probability)
    peaked = bent.excess * (z**3 - 3 * z) / 24 - bent.skewness**2 * (2 * z**3 - 5 * z) / 36
    widened = bent.spread * (z + peaked) - reach
    moved = bent.shift + bent.spread * bent.skewness * (z**2 - 3) / 6
    doubt = _NEXT * bent.spread * (abs(bent.skewness) + abs(bent.excess))
    return max(abs(moved - widened), abs(moved + widened), abs(bent.shift)) + doubt
