"""From a standard uncertainty, or from drawn values, to a coverage interval."""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from annot.uncertainty.quantity import MeasurementResult
from annot.uncertainty.shapes import FloatArray

IntervalKind = Literal["symmetric", "shortest"]
NEARLY_SHORTEST = 1e-3


@dataclass(frozen=True, slots=True, kw_only=True)
class CoverageInterval:
    """An interval with the probability it is stated for and the factor that made it."""

    low: float
    high: float
    probability: float
    coverage_factor: float

    @property
    def half_width(self) -> float:
        """Expanded uncertainty U = k·u."""
        return (self.high - self.low) / 2

    def holds(self, value: float) -> bool:
        """Whether the value lies inside, bounds included."""
        return self.low <= value <= self.high


def coverage_factor(dof: float, *, probability: float = 0.95) -> float:
    """Return the coverage factor k from Student's t (JCGM 100:2008 annex G).

    The effective degrees of freedom are used as they are, not truncated: JCGM 100:2008 G.4.1
    allows interpolation.

    Raises
    ------
    ValueError
        If the probability is not strictly between 0 and 1 or the degrees are not positive.
    """
    from scipy.special import ndtri, stdtrit

    refuse_no_probability(probability)
    if not dof > 0:
        raise ValueError(f"Degrees of freedom must be positive, got {dof}.")
    upper = (1 + probability) / 2
    return float(ndtri(upper) if math.isinf(dof) else stdtrit(dof, upper))


def refuse_no_probability(probability: float) -> None:
    """Raise ValueError unless the probability is strictly between 0 and 1."""
    if not 0 < probability < 1:
        raise ValueError(f"A coverage probability lies between 0 and 1, got {probability}.")


def expand(result: MeasurementResult, *, probability: float = 0.95) -> CoverageInterval:
    """Return the symmetric first-order coverage interval of a result."""
    factor = coverage_factor(result.dof, probability=probability)
    reach = factor * result.u
    return CoverageInterval(
        low=result.value - reach,
        high=result.value + reach,
        probability=probability,
        coverage_factor=factor,
    )


def interval_of_draws(
    values: FloatArray, *, probability: float = 0.95, kind: IntervalKind = "shortest"
) -> CoverageInterval:
    """Return the coverage interval of drawn values (JCGM 101:2008 7.7).

    Parameters
    ----------
    values : ndarray, shape (draws,)
        Finite, in any order; left as they are.
    kind : {"shortest", "symmetric"}
        Of least width, or with equal probability beyond either end.
    """
    refuse_no_probability(probability)
    ordered, inside = np.sort(values), steps_inside(values.size, probability)
    low, high = best_pair(ordered[: values.size - inside], ordered[inside:], kind)
    spread = float(np.std(values))
    factor = (high - low) / (2 * spread) if spread > 0 else 0.0
    return CoverageInterval(low=low, high=high, probability=probability, coverage_factor=factor)


def best_pair(lower: FloatArray, upper: FloatArray, kind: IntervalKind) -> tuple[float, float]:
    """Return the ends of an interval from all lower ends in order and the upper end to each.

    Around the shortest interval the width hardly changes, and which of some thousand is shortest is
    chance: of those next to it that are no more than `NEARLY_SHORTEST` wider, the middle one is
    taken. It holds the same share of the draws.
    """
    which = (lower.size - 1) // 2
    if kind == "shortest":
        widths = upper - lower
        best = int(np.argmin(widths))
        wider = np.flatnonzero(widths > (1 + NEARLY_SHORTEST) * widths[best])
        after = int(np.searchsorted(wider, best))
        first = int(wider[after - 1]) + 1 if after else 0
        last = int(wider[after]) - 1 if after < wider.size else widths.size - 1
        which = (first + last) // 2
    return float(lower[which]), float(upper[which])


def characters_of_row(values: FloatArray, probability: float) -> FloatArray:
    """Return what must become stable, of one of several equally long rows of draws.

    Returns
    -------
    ndarray, shape (5,)
        Mean, standard deviation, both ends of the symmetric interval, width of the shortest.
    """
    ordered, inside = np.sort(values), steps_inside(values.size, probability)
    lower, upper = ordered[: values.size - inside], ordered[inside:]
    ends = best_pair(lower, upper, "symmetric")
    return np.array([np.mean(values), np.std(values), *ends, np.min(upper - lower)])


def steps_inside(draws: int, probability: float) -> int:
    """Return how many steps of the ordered draws an interval spans (JCGM 101:2008 7.7.2)."""
    inside = math.floor(probability * draws + 0.5)
    if not 0 < inside < draws:
        raise ValueError(
            f"{draws} draws are too few for an interval of probability {probability:g}."
        )
    return inside
