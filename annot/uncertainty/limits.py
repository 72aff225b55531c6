"""Type B from limits that are known better than merely as limits (JCGM 101:2008 6.4).

The plain rectangle, certificates and unknown tilts stand in `type_b`.
"""

import math
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from annot.uncertainty.quantity import InputQuantity

Side = Literal["above", "below"]


def triangular(
    value: float, half_width: float, *, key: str, unit: str, source: str, component: str = "other"
) -> InputQuantity:
    """Return a quantity most likely at `value`, impossible beyond ± `half_width`: u = a/√6.

    JCGM 101:2008 6.4.5, JCGM 100:2008 4.3.9.
    """
    return InputQuantity(
        key=key,
        value=value,
        u=half_width / math.sqrt(6),
        unit=unit,
        distribution="triangular",
        component=component,
        source=source,
    )


def arcsine(
    value: float, half_width: float, *, key: str, unit: str, source: str, component: str = "other"
) -> InputQuantity:
    """Return a quantity that swings as a sine between `value` ± `half_width`: u = a/√2.

    JCGM 101:2008 6.4.6.
    """
    return InputQuantity(
        key=key,
        value=value,
        u=half_width / math.sqrt(2),
        unit=unit,
        distribution="arcsine",
        component=component,
        source=source,
    )


def trapezoidal(
    value: float,
    half_width: float,
    top_by_base: float,
    *,
    key: str,
    unit: str,
    source: str,
) -> InputQuantity:
    """Return a quantity with limits, and equally likely over the top of a trapezoid.

    u = a·√((1 + β²)/6) with β the top as a fraction of the base, 0 (a triangle) to 1 (a rectangle);
    JCGM 101:2008 6.4.4.
    """
    if not 0 <= top_by_base <= 1:
        raise ValueError(f"{key}: the top of a trapezoid is 0 to 1 of its base, got {top_by_base}.")
    return InputQuantity(
        key=key,
        value=value,
        u=half_width * math.sqrt((1 + top_by_base**2) / 6),
        unit=unit,
        distribution="trapezoidal",
        parameters=(top_by_base,),
        source=source,
    )


def curvilinear_trapezoid(
    value: float,
    half_width: float,
    vague_by: float,
    *,
    key: str,
    unit: str,
    source: str,
) -> InputQuantity:
    """Return a quantity within limits that are themselves only known to ± `vague_by`.

    u = √(a²/3 + d²/9), JCGM 101:2008 6.4.3. `vague_by` is in the unit of the quantity and at most
    the half-width.
    """
    if not 0 <= vague_by <= half_width:
        raise ValueError(
            f"{key}: limits are vague by 0 to their half-width {half_width:g}, got {vague_by:g}."
        )
    return InputQuantity(
        key=key,
        value=value,
        u=math.sqrt(half_width**2 / 3 + vague_by**2 / 9),
        unit=unit,
        distribution="curvilinear trapezoid",
        parameters=(vague_by / half_width if half_width else 0.0,),
        source=source,
    )


def half_normal(
    edge: float, sigma: float, *, side: Side, key: str, unit: str, source: str
) -> InputQuantity:
    """Return a quantity on one side of an edge, falling off as half a normal of spread `sigma`.

    Mean edge ± σ√(2/π), u = σ√(1 − 2/π): moments of |N(0, σ)|.
    """
    sign = _sign(side, key)
    return InputQuantity(
        key=key,
        value=edge + sign * sigma * math.sqrt(2 / math.pi),
        u=sigma * math.sqrt(1 - 2 / math.pi),
        unit=unit,
        distribution="half-normal",
        parameters=(sign,),
        source=source,
    )


def exponential(
    edge: float, mean_distance: float, *, side: Side, key: str, unit: str, source: str
) -> InputQuantity:
    """Return a quantity on one side of an edge of which only the mean distance is known.

    u equals the mean distance (JCGM 101:2008 6.4.10). A length seen under a small tilt about two
    axes is short by a quantity of this law (9.4).
    """
    sign = _sign(side, key)
    return InputQuantity(
        key=key,
        value=edge + sign * mean_distance,
        u=mean_distance,
        unit=unit,
        distribution="exponential",
        parameters=(sign,),
        source=source,
    )


def empirical(
    samples: ArrayLike, *, key: str, unit: str, source: str, component: str = "other"
) -> InputQuantity:
    """Return a quantity distributed as the samples are: drawn from them, with replacement.

    Parameters
    ----------
    samples : array_like, shape (n,)
        At least 20, finite, not all the same.
    source : str
        Where the samples come from; it must say something.

    Raises
    ------
    ValueError
        If the samples are too few or not finite, or no source is stated.
    """
    values = np.asarray(samples, dtype=float)
    if not source.strip():
        raise ValueError(f"{key}: samples need a source: say where they come from.")
    if values.ndim != 1 or values.size < 2 or not np.all(np.isfinite(values)):
        raise ValueError(f"{key}: samples are a row of finite numbers, at least 20 of them.")
    return InputQuantity(
        key=key,
        value=float(np.mean(values)),
        u=float(np.std(values, ddof=1)),
        unit=unit,
        distribution="empirical",
        parameters=tuple(values.tolist()),
        component=component,
        source=source,
    )


def _sign(side: Side, key: str) -> float:
    if side not in {"above", "below"}:
        raise ValueError(f"{key}: a one-sided quantity lies above or below its edge, not '{side}'.")
    return 1.0 if side == "above" else -1.0
