"""A number as other programs lean on it: value, standard uncertainty, interval, unit."""

import math
from dataclasses import asdict, dataclass

import numpy as np
from numpy.typing import ArrayLike

from annot.uncertainty import coverage_factor, interval_of_draws

COVERAGE = 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedValue:
    """A best estimate with its standard uncertainty and 95 % coverage interval."""

    value: float
    u: float
    low: float
    high: float
    unit: str

    def as_dict(self) -> dict[str, object]:
        """Return it for machines."""
        return asdict(self)


def normal_estimate(value: float, u: float, unit: str) -> StatedValue:
    """Return an estimate whose error is normal: value ± 1.96 u."""
    reach = coverage_factor(math.inf, probability=COVERAGE) * u
    return StatedValue(value=value, u=u, low=value - reach, high=value + reach, unit=unit)


def drawn_estimate(value: float, draws: ArrayLike, unit: str) -> StatedValue:
    """Return an estimate whose uncertainty and interval come from drawn values.

    The interval leaves the same probability on either side (JCGM 101:2008 5.3.2), not the shortest:
    where a quantity has an edge, as an eccentricity has at 0, it holds the truth as often as it
    says and the shortest one does not.
    """
    values = np.asarray(draws, dtype=float)
    interval = interval_of_draws(values, probability=COVERAGE, kind="symmetric")
    return StatedValue(
        value=value, u=float(np.std(values)), low=interval.low, high=interval.high, unit=unit
    )
