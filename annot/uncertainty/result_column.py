"""Many results of one model at once: rows that share some inputs and have others of their own."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from annot.uncertainty.correlation import Correlation, correlation_matrix, groups
from annot.uncertainty.propagate import RELATIVE_STEP, propagate
from annot.uncertainty.quantity import (
    InputQuantity,
    MeasurementResult,
    Model,
    Quantity,
    correlations_of,
    gather,
    lines_of,
)
from annot.uncertainty.shapes import Distribution, FloatArray, Parameters


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class InputColumn:
    """An input of which every row has its own, independent of those of other rows.

    Attributes
    ----------
    key : str
        Row n's input has the key "key:n".
    values, u : ndarray, shape (rows,)
        Estimates and standard uncertainties; a scalar u is every row's.
    """

    key: str
    values: FloatArray
    u: FloatArray
    unit: str
    dof: float = float("inf")
    evaluation: Literal["A", "B"] = "B"
    distribution: Distribution = "normal"
    component: str = "other"
    source: str = ""
    parameters: Parameters = ()

    def __post_init__(self) -> None:
        values = _frozen(self.values)
        if values.ndim != 1 or not values.size:
            raise ValueError(f"{self.key}: a column holds one value per row, at least one.")
        object.__setattr__(self, "values", values)
        object.__setattr__(self, "u", _frozen(np.broadcast_to(self.u, values.shape)))
        fault = ~np.isfinite(values) | ~np.isfinite(self.u) | (self.u < 0)
        fault |= (self.u == 0) != (self.distribution == "exact")
        # a single input knows what is allowed and says it: show it the first faulty row, or any
        self.at(int(np.argmax(fault)))

    def at(self, row: int) -> InputQuantity:
        """Return one row's input."""
        return InputQuantity(
            key=f"{self.key}:{row}",
            value=float(self.values[row]),
            u=float(self.u[row]),
            unit=self.unit,
            dof=self.dof,
            evaluation=self.evaluation,
            distribution=self.distribution,
            component=self.component,
            source=self.source,
            parameters=self.parameters,
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ResultColumn:
    """Results of one model, row by row, with all that relates them.

    Attributes
    ----------
    values, u, dof : ndarray, shape (rows,)
    shared : tuple of InputQuantity
        Root inputs that every row depends on.
    own : tuple of InputColumn
    shared_contributions : ndarray, shape (rows, len(shared))
        Sensitivity times standard uncertainty, in the unit of the results.
    own_contributions : ndarray, shape (rows, len(own))
    """

    values: FloatArray
    unit: str
    model: Model
    arguments: tuple[Quantity, ...]
    shared: tuple[InputQuantity, ...]
    own: tuple[InputColumn, ...]
    shared_contributions: FloatArray
    own_contributions: FloatArray
    correlations: tuple[Correlation, ...] = ()

    @property
    def u(self) -> FloatArray:
        """Combined standard uncertainty of every row."""
        variance: FloatArray = np.sum(self.variance_parts(), axis=1)
        return np.sqrt(np.maximum(variance, 0.0))

    @property
    def dof(self) -> FloatArray:
        """Effective degrees of freedom of every row, as `MeasurementResult.dof`."""
        parts, count = self.variance_parts(), len(self.shared)
        dofs = np.array([*(one.dof for one in self.shared), *(one.dof for one in self.own)])
        keys = [one.key for one in self.shared]
        together = [[keys.index(key) for key in some if key in keys] for some in self._groups()]
        alone = sorted(set(range(count + len(self.own))).difference(*together))
        weights = np.sum(parts[:, alone] ** 2 / dofs[alone], axis=1)
        for members in together:
            if members:
                weights += np.sum(parts[:, members], axis=1) ** 2 / np.min(dofs[members])
        with np.errstate(divide="ignore"):
            return np.where(weights > 0, np.sum(parts, axis=1) ** 2 / weights, np.inf)

    def variance_parts(self) -> FloatArray:
        """Signed part of each variance by input, shape (rows, len(shared) + len(own))."""
        seen = self.shared_contributions @ self._related()
        return np.hstack([self.shared_contributions * seen, self.own_contributions**2])

    def shares(self) -> Mapping[str, FloatArray]:
        """Share of each row's variance by component; in an uncertain row they add up to 1."""
        parts = self.variance_parts()
        total = np.sum(parts, axis=1)
        shares: dict[str, FloatArray] = {}
        components = [*(one.component for one in self.shared), *(one.component for one in self.own)]
        for component, part in zip(components, parts.T, strict=True):
            share = np.divide(part, total, out=np.zeros_like(part), where=total > 0)
            shares[component] = shares.get(component, 0.0) + share
        return shares

    def covariance(self) -> FloatArray:
        """Covariance of every row with every other, shape (rows, rows)."""
        matrix = self.shared_contributions @ self._related() @ self.shared_contributions.T
        rows = np.arange(self.values.size)
        matrix[rows, rows] += np.sum(self.own_contributions**2, axis=1)
        whole: FloatArray = matrix
        return whole

    def at(self, row: int) -> MeasurementResult:
        """Return one row as a result of its own, with its budget lines and its model."""
        return propagate(
            self.model,
            [*self.arguments, *(column.at(row) for column in self.own)],
            unit=self.unit,
            correlations=self.correlations,
        )

    def _related(self) -> FloatArray:
        return correlation_matrix([one.key for one in self.shared], self.correlations)

    def _groups(self) -> tuple[tuple[str, ...], ...]:
        return groups(self.correlations)


def propagate_column(
    model: Model, shared: Sequence[Quantity], own: Sequence[InputColumn], *, unit: str
) -> ResultColumn:
    """Propagate many rows through one model at once, to first order (JCGM 100:2008 clause 5).

    Parameters
    ----------
    model : callable
        Takes the shared quantities first, then one array of shape (rows,) for each own input.
    shared : sequence of InputQuantity or MeasurementResult
        What all rows depend on, such as the scale of a loop.
    own : sequence of InputColumn, at least one, all of the same number of rows

    Raises
    ------
    ValueError
        If the columns differ in length or the model has no finite value or slope in a row.
    """
    sizes = {column.values.size for column in own}
    if len(sizes) != 1:
        raise ValueError(f"Columns of one model have the same number of rows, got {sorted(sizes)}.")
    estimates = [*(np.asarray(one.value) for one in shared), *(one.values for one in own)]
    spreads = [*(np.asarray(one.u) for one in shared), *(one.u for one in own)]
    rows = sizes.pop()
    values = np.array(np.broadcast_to(model(*estimates), rows), dtype=float)
    slopes = _slopes(model, estimates, spreads, rows)
    bad = ~(np.isfinite(values) & np.all(np.isfinite(slopes), axis=1))
    if np.any(bad):
        raise ValueError(f"The model has no finite value or slope in row {int(np.argmax(bad))}.")
    roots = gather(shared)
    places = {key: place for place, key in enumerate(roots)}
    through = np.zeros((len(shared), len(roots)))
    for argument, quantity in enumerate(shared):
        for line in lines_of(quantity):
            through[argument, places[line.input.key]] = line.contribution
    return ResultColumn(
        values=values,
        unit=unit,
        model=model,
        arguments=tuple(shared),
        shared=tuple(roots.values()),
        own=tuple(own),
        shared_contributions=slopes[:, : len(shared)] @ through,
        own_contributions=slopes[:, len(shared) :] * np.stack([one.u for one in own], axis=1),
        correlations=correlations_of(shared),
    )


def _slopes(
    model: Model, estimates: Sequence[FloatArray], spreads: Sequence[FloatArray], rows: int
) -> FloatArray:
    """Return central differences by each argument, shape (rows, arguments)."""
    slopes = np.empty((rows, len(estimates)))
    for place, (centre, spread) in enumerate(zip(estimates, spreads, strict=True)):
        step = RELATIVE_STEP * np.maximum(np.abs(centre), np.maximum(spread, 1e-12))
        above, below = centre + step, centre - step
        before, after = estimates[:place], estimates[place + 1 :]
        rise = model(*before, above, *after) - model(*before, below, *after)
        slopes[:, place] = rise / (above - below)
    return slopes


def _frozen(values: ArrayLike) -> FloatArray:
    array = np.array(values, dtype=float)
    array.flags.writeable = False
    return array
