"""How much of the spread of readings is the gauge's: repeatability and reproducibility.

Two published ways: analysis of variance (interaction pooled when it does not show) and average
ranges. The divisor d2 of an average of few ranges is corrected for their number.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from annot.errors import InputError
from annot.quality.chart_constants import d2, d3
from annot.uncertainty.variance_components import crossed_components

MANY_RANGES = 15


@dataclass(frozen=True, slots=True, kw_only=True)
class GaugeStudy:
    """Standard deviations of one reading.

    Attributes
    ----------
    repeatability : float
        Of the same person on the same object.
    reproducibility : float
        That another person adds.
    objects : float
        Of the objects themselves.
    """

    repeatability: float
    reproducibility: float
    objects: float

    @property
    def gauge(self) -> float:
        """Repeatability and reproducibility together."""
        return math.hypot(self.repeatability, self.reproducibility)

    @property
    def total(self) -> float:
        """Everything together."""
        return math.hypot(self.gauge, self.objects)

    @property
    def percent(self) -> float:
        """The gauge's standard deviation in percent of the total."""
        return 100 * self.gauge / self.total

    @property
    def distinct_classes(self) -> float:
        """How many classes of objects can be told apart: √2 · objects / gauge, not rounded."""
        return math.sqrt(2) * self.objects / self.gauge if self.gauge else math.inf


def gauge_study(values: ArrayLike) -> GaugeStudy:
    """Return the study by analysis of variance.

    Parameters
    ----------
    values : array_like, shape (objects, persons, repeats)

    Raises
    ------
    InputError
        If the table is not full, or too small to tell.
    """
    try:
        found = crossed_components(values)
    except ValueError as fault:
        raise InputError(f"The gauge study cannot be computed: {fault}.") from None
    return GaugeStudy(
        repeatability=math.sqrt(found.residual),
        reproducibility=math.sqrt(found.between_readers),
        objects=math.sqrt(found.case),
    )


def gauge_study_of_ranges(values: ArrayLike) -> GaugeStudy:
    """Return the study by average ranges, as done by hand; repeats ≥ 2."""
    table = np.asarray(values, dtype=float)
    if table.ndim != 3 or min(table.shape) < 2 or not np.all(np.isfinite(table)):
        raise InputError("Ranges need a full table of objects, persons and repeats, two or more.")
    objects, persons, repeats = table.shape
    repeatability = float(np.mean(np.ptp(table, axis=2))) / range_divisor(
        repeats, objects * persons
    )
    between = float(np.ptp(table.mean(axis=(0, 2)))) / range_divisor(persons, 1)
    of_objects = float(np.ptp(table.mean(axis=(1, 2)))) / range_divisor(objects, 1)
    rest = between**2 - repeatability**2 / (objects * repeats)
    return GaugeStudy(
        repeatability=repeatability,
        reproducibility=math.sqrt(max(rest, 0.0)),
        objects=of_objects,
    )


def range_divisor(size: int, count: int) -> float:
    """Return what an average of `count` ranges of `size` values is divided by.

    The root mean square of that average; beyond 15 ranges plain d2, as the printed tables have it.
    """
    if count > MANY_RANGES:
        return d2(size)
    return math.sqrt(d2(size) ** 2 + d3(size) ** 2 / count)
