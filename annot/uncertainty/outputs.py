"""Several quantities together: their covariance and the regions that cover them (JCGM 102:2011)."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from annot.uncertainty.correlation import Correlation
from annot.uncertainty.coverage import refuse_no_probability
from annot.uncertainty.monte_carlo import sample_jointly
from annot.uncertainty.propagate import propagate
from annot.uncertainty.quantity import MeasurementResult, Model, Quantity, covariance
from annot.uncertainty.shapes import FloatArray

RegionKind = Literal["ellipsoid", "rectangle"]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Component:
    """One component of a model that gives several; a class so that results stay comparable."""

    model: Model
    index: int

    def __call__(self, *values: FloatArray) -> FloatArray:
        component: FloatArray = self.model(*values)[self.index]
        return component


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CoverageRegion:
    """Where several quantities lie together with the stated probability.

    Attributes
    ----------
    centre : ndarray, shape (m,)
    covariance : ndarray, shape (m, m)
    factor : float
        Mahalanobis distance of an ellipsoid's surface, or half-widths of a rectangle by u.
    """

    kind: RegionKind
    centre: FloatArray
    covariance: FloatArray
    factor: float
    probability: float

    def holds(self, point: ArrayLike) -> bool:
        """Whether a point, shape (m,), lies inside, surface included."""
        apart = np.asarray(point, dtype=float) - self.centre
        if self.kind == "rectangle":
            reach = self.factor * np.sqrt(np.diag(self.covariance))
            return bool(np.all(np.abs(apart) <= reach))
        return bool(_distances(apart[:, None], self.covariance)[0] <= self.factor)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class JointSimulation:
    """Mean (m,) and covariance (m, m) of jointly drawn quantities, and the region of the draws."""

    values: FloatArray
    covariance: FloatArray
    region: CoverageRegion
    draws: int


def propagate_outputs(
    model: Model,
    quantities: Sequence[Quantity],
    *,
    units: Sequence[str],
    correlations: Sequence[Correlation] = (),
) -> tuple[MeasurementResult, ...]:
    """Propagate through a model that gives one array per unit; the results share their inputs."""
    return tuple(
        propagate(
            _Component(model=model, index=index), quantities, unit=unit, correlations=correlations
        )
        for index, unit in enumerate(units)
    )


def covariance_matrix(quantities: Sequence[Quantity]) -> FloatArray:
    """Return the covariance of every pair, shape (m, m)."""
    matrix = np.empty((len(quantities), len(quantities)))
    for row, first in enumerate(quantities):
        for column, second in enumerate(quantities[: row + 1]):
            matrix[row, column] = matrix[column, row] = covariance(first, second)
    return matrix


def correlation(first: Quantity, second: Quantity) -> float:
    """Return the correlation coefficient of two uncertain quantities."""
    scale = first.u * second.u
    if scale == 0:
        raise ValueError("A quantity without uncertainty has no correlation coefficient.")
    return covariance(first, second) / scale


def region_factor(count: int, *, probability: float = 0.95, kind: RegionKind) -> float:
    """Return the coverage factor of a region for `count` normal quantities (JCGM 102:2011 6.5).

    An ellipsoid's holds exactly whatever their correlations; a rectangle's is at least safe (each
    side takes its part of the probability outside).
    """
    from scipy.special import chdtri, ndtri

    refuse_no_probability(probability)
    if count < 1:
        raise ValueError(f"A region needs at least one quantity, got {count}.")
    if kind == "ellipsoid":
        return math.sqrt(float(chdtri(count, 1 - probability)))
    return float(ndtri(1 - (1 - probability) / (2 * count)))


def coverage_region(
    quantities: Sequence[Quantity], *, probability: float = 0.95, kind: RegionKind = "ellipsoid"
) -> CoverageRegion:
    """Return the first-order region of quantities, normal (JCGM 102:2011 6.5)."""
    return CoverageRegion(
        kind=kind,
        centre=np.array([one.value for one in quantities]),
        covariance=covariance_matrix(quantities),
        factor=region_factor(len(quantities), probability=probability, kind=kind),
        probability=probability,
    )


def simulate_jointly(
    quantities: Sequence[Quantity],
    *,
    probability: float = 0.95,
    draws: int = 1_000_000,
    rng: np.random.Generator | None = None,
) -> JointSimulation:
    """Draw quantities together: mean, covariance and the ellipsoid that holds the share asked for.

    JCGM 102:2011 clause 7; the ellipsoid has the shape of the covariance and its factor is the
    quantile of the draws' own distances (7.7.2).

    Raises
    ------
    ValueError
        As `sample_jointly`; or if the quantities depend on one another so fully that their
        covariance has no inverse.
    """
    refuse_no_probability(probability)
    drawn = sample_jointly(quantities, draws=draws, rng=rng)
    centre, spread = np.mean(drawn, axis=1), np.atleast_2d(np.cov(drawn))
    factor = float(np.quantile(_distances(drawn - centre[:, None], spread), probability))
    region = CoverageRegion(
        kind="ellipsoid", centre=centre, covariance=spread, factor=factor, probability=probability
    )
    return JointSimulation(values=centre, covariance=spread, region=region, draws=draws)


def _distances(apart: FloatArray, spread: FloatArray) -> FloatArray:
    """Return Mahalanobis distances of the columns of `apart`, shape (m, n)."""
    try:
        half = np.linalg.solve(np.linalg.cholesky(spread), apart)
    except np.linalg.LinAlgError as error:
        raise ValueError(
            "The quantities depend on one another fully: leave out one that follows from the rest."
        ) from error
    distances: FloatArray = np.sqrt(np.sum(half**2, axis=0))
    return distances
