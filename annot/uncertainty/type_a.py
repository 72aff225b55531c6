"""Type A: uncertainty from repeats (JCGM 100:2008 4.2), alone, together, or about a line."""

import itertools
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from annot.uncertainty.correlation import Correlation
from annot.uncertainty.quantity import InputQuantity


def from_repeats(
    values: ArrayLike, *, key: str, unit: str, component: str = "other", source: str = ""
) -> InputQuantity:
    """Return the mean of independent repeats with its experimental standard deviation.

    Parameters
    ----------
    values : array_like, shape (n,)
        Repeats in `unit`, n >= 2, all finite.

    Raises
    ------
    ValueError
        If there are fewer than two values, one is not finite, or all are the same: identical
        repeats say that the resolution hides the scatter, not that there is none.
    """
    readings = np.asarray(values, dtype=float)
    if readings.ndim != 1 or readings.size < 2:
        raise ValueError(f"{key}: repeats need at least two values, got {readings.size}.")
    if not np.all(np.isfinite(readings)):
        raise ValueError(f"{key}: a repeat is not a finite number.")
    scatter = float(np.std(readings, ddof=1))
    if scatter == 0:
        raise ValueError(
            f"{key}: all {readings.size} repeats are the same; state their resolution instead."
        )
    return InputQuantity(
        key=key,
        value=float(np.mean(readings)),
        u=scatter / float(np.sqrt(readings.size)),
        unit=unit,
        dof=readings.size - 1,
        evaluation="A",
        distribution="t",
        component=component,
        source=source or f"mean of {readings.size} repeats",
    )


def from_simultaneous_repeats(
    values: ArrayLike, *, keys: Sequence[str], units: Sequence[str], component: str = "other"
) -> tuple[tuple[InputQuantity, ...], tuple[Correlation, ...]]:
    """Return the means of quantities that were read together, and how their means correlate.

    JCGM 100:2008 5.2.3. Each quantity keeps n − 1 degrees of freedom, shared by all of them.

    Parameters
    ----------
    values : array_like, shape (n, m)
        One row for each time that all m quantities were read, n > m so that the correlations can
        be estimated.

    Returns
    -------
    inputs : tuple of InputQuantity, length m
    correlations : tuple of Correlation
        One for each pair, to be given to `propagate`.

    Raises
    ------
    ValueError
        As `from_repeats`, or if there are too few rows.
    """
    readings = np.asarray(values, dtype=float)
    if readings.ndim != 2 or not len(keys) == len(units) == readings.shape[1]:
        raise ValueError("Simultaneous repeats need one column, key and unit for each quantity.")
    if readings.shape[0] <= readings.shape[1]:
        raise ValueError(
            f"{', '.join(keys)}: correlations of {readings.shape[1]} quantities need more than "
            f"{readings.shape[1]} simultaneous repeats, got {readings.shape[0]}."
        )
    source = f"mean of {readings.shape[0]} simultaneous repeats"
    inputs = tuple(
        from_repeats(column, key=key, unit=unit, component=component, source=source)
        for column, key, unit in zip(readings.T, keys, units, strict=True)
    )
    matrix = np.clip(np.atleast_2d(np.corrcoef(readings, rowvar=False)), -1, 1)
    correlations = tuple(
        Correlation(first=keys[i], second=keys[j], coefficient=float(matrix[i, j]))
        for i, j in itertools.combinations(range(len(keys)), 2)
    )
    return inputs, correlations


def straight_line(
    x: ArrayLike, y: ArrayLike, *, key: str, unit: str, slope_unit: str
) -> tuple[InputQuantity, InputQuantity, Correlation]:
    """Return intercept and slope of an unweighted least-squares line, and their correlation.

    JCGM 100:2008 H.3: x without uncertainty, y scattering equally; n − 2 degrees of freedom.

    Parameters
    ----------
    x, y : array_like, shape (n,)
        At least three points, not all at one x and not all on the line.
    """
    across, up = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    if across.ndim != 1 or across.shape != up.shape or across.size < 3:
        raise ValueError(f"{key}: a line needs three or more points, one y for each x.")
    if not (np.all(np.isfinite(across)) and np.all(np.isfinite(up))) or np.ptp(across) == 0:
        raise ValueError(f"{key}: a line needs finite points at more than one x.")
    apart, size = across - np.mean(across), across.size
    squares = float(apart @ apart)
    slope = float(apart @ up) / squares
    left = up - np.mean(up) - slope * apart
    scatter = float(np.sqrt(left @ left / (size - 2)))
    # below rounding of the readings themselves there is no scatter to speak of
    if scatter <= 1e-12 * float(np.max(np.abs(up))):
        raise ValueError(f"{key}: all points lie on the line; state their resolution instead.")
    mean_square = float(np.mean(across**2))
    parts = (
        ("intercept", float(np.mean(up)) - slope * float(np.mean(across)), unit, mean_square),
        ("slope", slope, slope_unit, 1.0),
    )
    intercept_input, slope_input = (
        InputQuantity(
            key=f"{key}:{name}",
            value=value,
            u=scatter * float(np.sqrt(weight / squares)),
            unit=unit_of,
            dof=size - 2,
            evaluation="A",
            distribution="t",
            source=f"least-squares line through {size} points",
        )
        for name, value, unit_of, weight in parts
    )
    together = Correlation(
        first=intercept_input.key,
        second=slope_input.key,
        coefficient=-float(np.mean(across)) / float(np.sqrt(mean_square)),
    )
    return intercept_input, slope_input, together
