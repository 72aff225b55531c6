"""From a standard uncertainty to a coverage interval (JCGM 100:2008 annex G)."""

import math
from dataclasses import dataclass

from annot.uncertainty.quantity import MeasurementResult


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
    """Return the coverage factor k from Student's t.

    The effective degrees of freedom are used as they are, not truncated: JCGM 100:2008 G.4.1
    allows interpolation.

    Raises
    ------
    ValueError
        If the probability is not strictly between 0 and 1 or the degrees are not positive.
    """
    from scipy.special import ndtri, stdtrit

    if not 0 < probability < 1:
        raise ValueError(f"A coverage probability lies between 0 and 1, got {probability}.")
    if not dof > 0:
        raise ValueError(f"Degrees of freedom must be positive, got {dof}.")
    upper = (1 + probability) / 2
    return float(ndtri(upper) if math.isinf(dof) else stdtrit(dof, upper))


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
