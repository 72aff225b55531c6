"""How probable it is that a quantity lies within limits, and guarded limits (JCGM 106:2012)."""

import itertools
import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from annot.uncertainty.estimate import estimate
from annot.uncertainty.monte_carlo import MOST_DRAWS, sample
from annot.uncertainty.quantity import MeasurementResult
from annot.uncertainty.shapes import FloatArray

Density = Callable[[float], float]
Side = Literal["upper", "lower"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Tolerance:
    """An interval of allowed values; infinite where it has no limit on that side."""

    low: float = -math.inf
    high: float = math.inf

    def __post_init__(self) -> None:
        if not self.low < self.high:
            raise ValueError(
                f"A tolerance needs a lower limit below its upper one, got {self.low} and "
                f"{self.high}."
            )

    def holds(self, values: FloatArray) -> FloatArray:
        """Return 1.0 where a value lies within the limits, bounds included, else 0.0."""
        return np.asarray((values >= self.low) & (values <= self.high), dtype=float)


@dataclass(frozen=True, slots=True, kw_only=True)
class GlobalRisk:
    """Of an item taken at random: wrongly accepted (consumer's), wrongly rejected (producer's)."""

    consumer: float
    producer: float


def conformity_probability(
    value: float, u: float, tolerance: Tolerance, *, dof: float = math.inf
) -> float:
    """Return the probability that a normal (or scaled t) quantity lies within limits.

    JCGM 106:2012 7.2 to 7.4.

    Raises
    ------
    ValueError
        If u is not a positive finite number.
    """
    _refuse_no_spread(u)
    upper = _below((tolerance.high - value) / u, dof)
    return upper - _below((tolerance.low - value) / u, dof)


def conformity(result: MeasurementResult, tolerance: Tolerance) -> float:
    """Return the probability that a measured quantity lies within limits, by the rule's method.

    Where Monte Carlo answers, this is the share of the draws, elsewhere the scaled t.
    """
    found = estimate(result)
    if found.method == "monte carlo":
        drawn = sample(result, draws=MOST_DRAWS // 2)
        return float(np.mean(tolerance.holds(drawn)))
    if found.u == 0:
        return float(tolerance.holds(np.asarray(found.value)))
    return conformity_probability(found.value, found.u, tolerance, dof=result.dof)


def guard_factor(probability: float) -> float:
    """Return z: a value z·u inside a single limit conforms with this probability.

    JCGM 106:2012 Table 1.
    """
    from scipy.special import ndtri

    if not 0.5 <= probability < 1:
        raise ValueError(f"A guarded limit has a probability in [0.5, 1), got {probability}.")
    return float(ndtri(probability))


def acceptance_limit(limit: float, u: float, *, probability: float, side: Side = "upper") -> float:
    """Return the limit for measured values so that what is accepted conforms with `probability`.

    Guarded acceptance (8.3.2): the tolerance limit moved inwards by the guard band z·u.
    """
    _refuse_no_spread(u)
    band = guard_factor(probability) * u
    return limit - band if side == "upper" else limit + band


def rejection_limit(limit: float, u_rel: float, *, probability: float) -> float:
    """Return the measured value from which an upper limit is exceeded with `probability`.

    Guarded rejection (8.3.3) with a relative uncertainty: v − z·u_rel·v = limit.
    """
    reach = guard_factor(probability) * u_rel
    if not 0 < reach < 1:
        raise ValueError(f"A relative uncertainty of {u_rel} allows no guarded rejection.")
    return limit / (1 - reach)


def global_risk(
    density: Density, u: float, tolerance: Tolerance, accepted: Tolerance, *, support: Tolerance
) -> GlobalRisk:
    """Return the risks of accepting measured values within `accepted` (JCGM 106:2012 9.5).

    Parameters
    ----------
    density : callable
        Prior probability density of the true value.
    u : float
        Standard uncertainty of a measured value, normal.
    support : Tolerance
        Where the density is not negligible, both ends finite.
    """
    _refuse_no_spread(u)

    def wrongly(true: float, *, conforming: bool) -> float:
        inside = _below((accepted.high - true) / u, math.inf)
        inside -= _below((accepted.low - true) / u, math.inf)
        return density(true) * (1 - inside if conforming else inside)

    low, high = max(tolerance.low, support.low), min(tolerance.high, support.high)
    producer = _integral(lambda true: wrongly(true, conforming=True), low, high, u)
    consumer = sum(
        _integral(lambda true: wrongly(true, conforming=False), start, end, u)
        for start, end in ((support.low, low), (high, support.high))
    )
    return GlobalRisk(consumer=consumer, producer=producer)


def acceptance_limit_for_risk(
    density: Density, u: float, limit: float, *, risk: float, support: Tolerance
) -> float:
    """Return the upper acceptance limit at which the consumer's risk is `risk` (9.5.4).

    Raises
    ------
    ValueError
        If even accepting nothing near the limit, or everything, does not meet the risk.
    """
    from scipy.optimize import brentq

    def excess(accepted: float) -> float:
        found = global_risk(
            density, u, Tolerance(high=limit), Tolerance(high=accepted), support=support
        )
        return found.consumer - risk

    ends = (limit - 10 * u, limit + 10 * u)
    if not excess(ends[0]) < 0 < excess(ends[1]):
        raise ValueError(f"No acceptance limit near {limit:g} gives a consumer's risk of {risk:g}.")
    return float(brentq(excess, *ends, xtol=1e-9 * u))


def _below(deviate: float, dof: float) -> float:
    from scipy.special import ndtr, stdtr

    if math.isinf(deviate):
        return 1.0 if deviate > 0 else 0.0
    return float(ndtr(deviate) if math.isinf(dof) else stdtr(dof, deviate))


def _integral(function: Density, low: float, high: float, step: float) -> float:
    """Integrate piece by piece, so that no narrow rise is stepped over."""
    from scipy.integrate import quad

    if high <= low:
        return 0.0
    edges = np.linspace(low, high, 2 + int(min((high - low) / step, 400)))
    pieces = itertools.pairwise(edges)
    return float(sum(quad(function, a, b, epsabs=1e-13, epsrel=1e-11)[0] for a, b in pieces))


def _refuse_no_spread(u: float) -> None:
    if not (math.isfinite(u) and u > 0):
        raise ValueError(f"A probability needs a positive finite standard uncertainty, got {u}.")
