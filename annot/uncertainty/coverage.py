"""From a standard uncertainty, or from drawn values, to a coverage interval."""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from annot.uncertainty.quantity import MeasurementResult
from annot.uncertainty.shapes import FloatArray

IntervalKind = Literal["symmetric", "shortest"]
# below this, sorting everything is as quick as sorting the tails
_SORT_ALL_BELOW = 100_000
_PILOT = 10_000


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
    values: FloatArray,
    *,
    probability: float = 0.95,
    kind: IntervalKind = "shortest",
    u: float | None = None,
) -> CoverageInterval:
    """Return the coverage interval of drawn values (JCGM 101:2008 7.7).

    Parameters
    ----------
    values : ndarray, shape (draws,)
        Finite, in any order; left as they are.
    kind : {"shortest", "symmetric"}
        Of least width, or with equal probability beyond either end.
    u : float, optional
        Standard deviation of the values, if it is known already.
    """
    refuse_no_probability(probability)
    inside = _inside(values.size, probability)
    lower, upper = _tails(values, inside)
    which = np.argmin(upper - lower) if kind == "shortest" else (lower.size - 1) // 2
    low, high = float(lower[which]), float(upper[which])
    spread = float(np.std(values)) if u is None else u
    factor = (high - low) / (2 * spread) if spread > 0 else 0.0
    return CoverageInterval(low=low, high=high, probability=probability, coverage_factor=factor)


def characters_of_rows(rows: FloatArray, *, probability: float) -> FloatArray:
    """Return what must become stable, of each of many equally long rows of draws.

    Parameters
    ----------
    rows : ndarray, shape (n, draws)

    Returns
    -------
    ndarray, shape (5, n)
        Mean, standard deviation, both ends of the symmetric interval, width of the shortest.
    """
    ordered = np.sort(rows, axis=1)
    inside = _inside(rows.shape[1], probability)
    lower, upper = ordered[:, : rows.shape[1] - inside], ordered[:, inside:]
    middle = (lower.shape[1] - 1) // 2
    return np.stack(
        [
            np.mean(rows, axis=1),
            np.std(rows, axis=1),
            lower[:, middle],
            upper[:, middle],
            np.min(upper - lower, axis=1),
        ]
    )


def _inside(draws: int, probability: float) -> int:
    """Return how many steps of the ordered values an interval spans (JCGM 101:2008 7.7.2)."""
    inside = math.floor(probability * draws + 0.5)
    if not 0 < inside < draws:
        raise ValueError(
            f"{draws} draws are too few for an interval of probability {probability:g}."
        )
    return inside


def _tails(values: FloatArray, inside: int) -> tuple[FloatArray, FloatArray]:
    """Return all possible lower ends in order and, beside each, the upper end that belongs to it.

    Both are the same as from sorting everything. Only the tails can hold an end, so of many values
    only what lies beyond two thresholds is sorted; a pilot of every n-th value sets them, so far
    in that they practically never cut off too much, and if they do, everything is sorted.
    """
    outside = values.size - inside
    if values.size >= _SORT_ALL_BELOW and 4 * outside < values.size:
        pilot = np.sort(values[:: values.size // _PILOT])
        share = outside / values.size
        margin = 6 * math.sqrt(share * (1 - share) / pilot.size) + 2 / pilot.size
        rank = math.ceil((share + margin) * pilot.size)
        lower = values[values <= pilot[rank]]
        upper = values[values >= pilot[-1 - rank]]
        if min(lower.size, upper.size) >= outside:
            return np.sort(lower)[:outside], np.sort(upper)[-outside:]
    ordered = np.sort(values)
    return ordered[:outside], ordered[inside:]
