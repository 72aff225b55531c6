"""The law of propagation of uncertainty, first order (JCGM 100:2008 clause 5)."""

from collections.abc import Sequence

import numpy as np

from annot.uncertainty.correlation import Correlation, merge, refuse_impossible
from annot.uncertainty.quantity import (
    BudgetLine,
    InputQuantity,
    MeasurementResult,
    Model,
    Quantity,
    correlations_of,
    gather,
    lines_of,
)
from annot.uncertainty.shapes import FloatArray

# Cube root of the machine epsilon: where a central difference is most accurate.
RELATIVE_STEP = float(np.finfo(float).eps ** (1 / 3))


def propagate(
    model: Model,
    quantities: Sequence[Quantity],
    *,
    unit: str,
    correlations: Sequence[Correlation] = (),
) -> MeasurementResult:
    """Propagate quantities through a model.

    Parameters
    ----------
    model : callable
        Takes one array per quantity, in order, and returns an array; NumPy functions only, so
        that the same model serves derivatives and drawn samples.
    quantities : sequence of InputQuantity or MeasurementResult
        Arguments of the model. Results bring their own root inputs, so a scale that two
        lengths share stays shared.
    unit : str
        Unit of the result.
    correlations : sequence of Correlation
        Between root inputs below the quantities, beyond those that the quantities bring with them.

    Returns
    -------
    MeasurementResult

    Raises
    ------
    ValueError
        If the model gives no finite value or derivative at the estimates, one key has two
        meanings, or the correlations name an unknown or exact input or cannot hold together.
    """
    estimates = np.array([quantity.value for quantity in quantities], dtype=float)
    value = float(model(*estimates))
    gradient = _gradient(model, estimates, np.array([quantity.u for quantity in quantities]))
    if not (np.isfinite(value) and np.all(np.isfinite(gradient))):
        raise ValueError(f"The model has no finite value or slope at {estimates.tolist()}.")
    roots = gather(quantities)
    slopes = dict.fromkeys(roots, 0.0)
    for quantity, slope in zip(quantities, gradient, strict=True):
        for line in lines_of(quantity):
            slopes[line.input.key] += float(slope) * line.sensitivity
    lines = tuple(BudgetLine(input=roots[key], sensitivity=slope) for key, slope in slopes.items())
    return MeasurementResult(
        value=value,
        unit=unit,
        lines=lines,
        model=model,
        arguments=tuple(quantities),
        correlations=_joined(roots, correlations_of(quantities), correlations),
    )


def _joined(
    roots: dict[str, InputQuantity],
    brought: tuple[Correlation, ...],
    stated: Sequence[Correlation],
) -> tuple[Correlation, ...]:
    """Return all correlations; those stated here, and every new company, are checked."""
    for one in stated:
        for key in one.pair:
            if key not in roots or roots[key].distribution == "exact":
                raise ValueError(
                    f"{key}: a correlation names an input that is not here or is exact; the inputs "
                    f"are {', '.join(roots)}."
                )
    if not (brought or stated):
        return ()
    correlations = merge((*brought, *stated))
    refuse_impossible(correlations)
    return correlations


def _gradient(model: Model, estimates: FloatArray, uncertainties: FloatArray) -> FloatArray:
    """Central differences of the model, one per argument, in one vectorised call."""
    steps = RELATIVE_STEP * np.maximum(np.abs(estimates), np.maximum(uncertainties, 1e-12))
    offsets = np.diag(steps)
    # float arithmetic rounds x + h: use the step that was really taken
    above, below = estimates + offsets, estimates - offsets
    taken = np.diagonal(above) - np.diagonal(below)
    high = np.broadcast_to(model(*above.T), estimates.shape)
    low = np.broadcast_to(model(*below.T), estimates.shape)
    return np.asarray((high - low) / taken, dtype=float)
