"""Type A: uncertainty from repeats (JCGM 100:2008 4.2)."""

import numpy as np
from numpy.typing import ArrayLike

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
