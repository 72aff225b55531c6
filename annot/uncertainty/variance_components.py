"""Where scatter comes from: variance components of readings that share cases and readers.

Balanced tables by the analysis of variance (JCGM 100:2008 H.5 for the one-way case; the crossed
case with an interaction that is pooled when it does not show is the one of gauge studies),
everything else by restricted maximum likelihood with profile-likelihood intervals.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
# In units of the values' own spread; beyond these the arithmetic loses its digits.
LEAST_RESIDUAL, MOST = 1e-3, 100.0
POOL_ABOVE = 0.25  # p of an interaction that is pooled with the residual: gauge-study convention


@dataclass(frozen=True, slots=True, kw_only=True)
class CrossedComponents:
    """Variances of one reading in a full table of cases × readers × repeats.

    Attributes
    ----------
    case, reader, interaction, residual : float
        Variances, never negative; `interaction` is 0 where it was pooled or cannot be told apart.
    mean_squares : mapping of str to float
        case, reader, interaction (absent with one repeat), residual: before pooling.
    interaction_p : float or None
        Of the F test of the interaction; None with one repeat.
    pooled : bool
        Whether the interaction was put into the residual.
    """

    case: float
    reader: float
    interaction: float
    residual: float
    mean_squares: Mapping[str, float]
    interaction_p: float | None
    pooled: bool

    @property
    def between_readers(self) -> float:
        """Variance that another reader adds: reader and interaction."""
        return self.reader + self.interaction

    @property
    def total(self) -> float:
        """Variance of a single reading of a case drawn at random by a reader drawn at random."""
        return self.case + self.between_readers + self.residual


def crossed_components(values: ArrayLike, *, pool_above: float = POOL_ABOVE) -> CrossedComponents:
    """Return the components of a full crossed table.

    Parameters
    ----------
    values : array_like, shape (cases, readers, repeats)
    pool_above : float
        An interaction whose p exceeds this is pooled with the residual; 1 never pools.

    Raises
    ------
    ValueError
        If the table is not full or has fewer than two cases or readers.
    """
    from scipy.special import fdtrc

    table = np.asarray(values, dtype=float)
    if table.ndim != 3 or min(table.shape[:2]) < 2 or table.shape[2] < 1:
        raise ValueError("components need two cases and two readers or more: cases×readers×repeats")
    if not np.all(np.isfinite(table)):
        raise ValueError("a reading is missing: use restricted maximum likelihood for such tables")
    n, k, r = table.shape
    squares = _sums_of_squares(table)
    dof = {"case": n - 1, "reader": k - 1, "interaction": (n - 1) * (k - 1)}
    means = {name: squares[name] / dof[name] for name in dof}
    if r == 1:
        residual, p, pooled = means.pop("interaction"), None, True
        means["residual"] = residual
    else:
        rest = n * k * (r - 1)
        means["residual"] = squares["residual"] / rest
        ratio = means["interaction"] / means["residual"] if means["residual"] else math.inf
        p = float(fdtrc(dof["interaction"], rest, ratio))
        pooled = p > pool_above
        both = (squares["interaction"] + squares["residual"]) / (dof["interaction"] + rest)
        residual = both if pooled else means["residual"]
    inner = residual if pooled else means["interaction"]
    return CrossedComponents(
        case=max((means["case"] - inner) / (k * r), 0.0),
        reader=max((means["reader"] - inner) / (n * r), 0.0),
        interaction=0.0 if pooled else max((inner - residual) / r, 0.0),
        residual=residual,
        mean_squares=means,
        interaction_p=p,
        pooled=pooled,
    )


def _sums_of_squares(table: FloatArray) -> dict[str, float]:
    n, k, r = table.shape
    overall = table.mean()
    cell, case, reader = table.mean(axis=2), table.mean(axis=(1, 2)), table.mean(axis=(0, 2))
    inner = cell - case[:, None] - reader[None, :] + overall
    return {
        "case": k * r * float(np.sum((case - overall) ** 2)),
        "reader": n * r * float(np.sum((reader - overall) ** 2)),
        "interaction": r * float(np.sum(inner**2)),
        "residual": float(np.sum((table - cell[:, :, None]) ** 2)),
    }


@dataclass(frozen=True, slots=True, kw_only=True)
class Component:
    """A standard deviation with its 95 % profile-likelihood interval."""

    sd: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LikelyComponents:
    """Components by restricted maximum likelihood.

    Attributes
    ----------
    mean, u_mean : float
        Overall mean and its standard error.
    by_factor : mapping of str to Component
        One for each factor, in the order given.
    residual : Component
    """

    mean: float
    u_mean: float
    by_factor: Mapping[str, Component]
    residual: Component


def likely_components(
    values: ArrayLike, factors: Mapping[str, Sequence[object]]
) -> LikelyComponents:
    """Return the components of readings in any incomplete or unbalanced arrangement.

    The model is value = mean + Σ effect of each factor's level + residual, effects normal and
    independent. A factor that is crossed with another and repeated can be given as an
    interaction by labels made of both.

    Parameters
    ----------
    values : array_like, shape (n,)
    factors : mapping of name to n labels
        For instance case, reader, case and reader, beat.

    Raises
    ------
    ValueError
        If labels and values do not match, a factor has one level only or one for every value,
        or the values do not vary.
    """
    likelihood = _Likelihood.of(values, factors)
    best = likelihood.best()
    mean, u_mean = likelihood.mean_at(best)
    found = [likelihood.component(index, best) for index in range(len(best))]
    return LikelyComponents(
        mean=mean,
        u_mean=u_mean,
        by_factor=dict(zip(factors, found[:-1], strict=True)),
        residual=found[-1],
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Likelihood:
    """Restricted deviance of a one-mean mixed model, in units of the values' own spread.

    Only products of the design with itself enter, so an evaluation costs the cube of the number
    of levels, not of values.
    """

    crossed: FloatArray
    ones: FloatArray
    seen: FloatArray
    owner: NDArray[np.intp]
    count: int
    sum_y: float
    square_y: float
    unit: float
    offset: float

    @classmethod
    def of(cls, values: ArrayLike, factors: Mapping[str, Sequence[object]]) -> "_Likelihood":
        y = np.asarray(values, dtype=float)
        if y.ndim != 1 or not np.all(np.isfinite(y)):
            raise ValueError("variance components need a list of finite values")
        unit, offset = float(np.std(y)), float(np.mean(y))
        if not factors or unit == 0:
            raise ValueError("variance components need a factor and values that vary")
        designs = [_design(name, labels, len(y)) for name, labels in factors.items()]
        design = np.hstack(designs)
        scaled = (y - offset) / unit
        return cls(
            crossed=design.T @ design,
            ones=design.sum(axis=0),
            seen=design.T @ scaled,
            owner=np.repeat(np.arange(len(designs)), [one.shape[1] for one in designs]),
            count=len(y),
            sum_y=float(np.sum(scaled)),
            square_y=float(scaled @ scaled),
            unit=unit,
            offset=offset,
        )

    def _solved(self, sds: FloatArray) -> tuple[float, float, float, float]:
        """Return log determinant, information of the mean, the mean, and the weighted squares."""
        weight = (sds[:-1] / sds[-1])[self.owner]
        inner = self.crossed * np.outer(weight, weight) + np.eye(len(weight))
        factor = np.linalg.cholesky(inner)
        right = np.column_stack([weight * self.seen, weight * self.ones])
        found = np.linalg.solve(factor, right)
        information = self.count - float(found[:, 1] @ found[:, 1])
        mean = (self.sum_y - float(found[:, 1] @ found[:, 0])) / information
        squares = self.square_y - float(found[:, 0] @ found[:, 0]) - mean**2 * information
        return 2 * float(np.sum(np.log(np.diag(factor)))), information, mean, squares

    def deviance(self, sds: FloatArray) -> float:
        """Return −2 times the restricted log likelihood, up to a constant."""
        logdet, information, _, squares = self._solved(sds)
        residual = float(sds[-1]) ** 2
        free = self.count - 1
        return free * math.log(residual) + logdet + math.log(information) + squares / residual

    def best(self) -> FloatArray:
        """Return the standard deviations of least deviance."""
        size = int(self.owner[-1]) + 2
        found = [self._descended(np.full(size, start)) for start in (0.6, 0.2)]
        return min(found, key=self.deviance)

    def _descended(self, start: FloatArray, *, held: int | None = None) -> FloatArray:
        """Go down from a start, one of the standard deviations held at its own if asked for."""
        from scipy.optimize import minimize

        size = len(start)
        free = [index for index in range(size) if index != held]
        lowest = np.where(np.arange(size) == size - 1, LEAST_RESIDUAL, 0.0)

        def full(part: FloatArray) -> FloatArray:
            sds = start.copy()
            sds[free] = part
            return sds

        answer = minimize(
            lambda part: self.deviance(full(part)),
            start[free],
            method="L-BFGS-B",
            bounds=[(lowest[index], MOST) for index in free],
            options={"ftol": 1e-12, "gtol": 1e-7},
        )
        return full(answer.x)

    def mean_at(self, sds: FloatArray) -> tuple[float, float]:
        """Return the overall mean and its standard error in the values' unit."""
        _, information, mean, _ = self._solved(sds)
        return self.offset + mean * self.unit, float(sds[-1]) / math.sqrt(information) * self.unit

    def component(self, index: int, best: FloatArray) -> Component:
        """Return one component with the interval in which the deviance rises by chi-square's."""
        from scipy.optimize import brentq
        from scipy.special import chdtri

        limit = self.deviance(best) + float(chdtri(1, 0.05))
        value = float(best[index])

        def above(sd: float) -> float:
            start = best.copy()
            start[index] = sd
            return self.deviance(self._descended(start, held=index)) - limit

        least = LEAST_RESIDUAL if index == len(best) - 1 else 0.0
        low = least if above(least) < 0 else float(brentq(above, least, value, xtol=1e-3))
        high = max(2 * value, 0.1)
        while high < MOST and above(high) < 0:
            high *= 2
        bounded = high < MOST
        return Component(
            sd=value * self.unit,
            low=low * self.unit,
            high=float(brentq(above, value, high, xtol=1e-3)) * self.unit if bounded else math.inf,
        )


def _design(name: str, labels: Sequence[object], count: int) -> FloatArray:
    """Return the incidence of levels, shape (values, levels)."""
    if len(labels) != count:
        raise ValueError(f"{name}: {len(labels)} labels for {count} values")
    levels = {label: index for index, label in enumerate(dict.fromkeys(labels))}
    if not 1 < len(levels) < count:
        raise ValueError(f"{name}: a factor needs two levels or more, and a level that repeats")
    design = np.zeros((count, len(levels)))
    design[np.arange(count), [levels[label] for label in labels]] = 1.0
    return design
