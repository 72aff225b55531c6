"""What a model's curvature does: shift, second-order uncertainty, skewness, peakedness.

Derivatives are taken over steps of one and two standard uncertainties of each input, where the
curvature matters, and are those of f(x + u·z) by z: every one is in the unit of the result.
"""

import itertools
import math
from dataclasses import dataclass

import numpy as np

from annot.uncertainty.correlation import correlation_matrix
from annot.uncertainty.evaluation_tree import EvaluationTree, flatten
from annot.uncertainty.quantity import InputQuantity, MeasurementResult
from annot.uncertainty.shapes import SHAPES, FloatArray, vague_limits

# bounds the memory that a model with many inputs takes
_POINTS_AT_ONCE = 4096
_CORNERS = ((1, 1), (1, -1), (-1, 1), (-1, -1))


@dataclass(frozen=True, slots=True, kw_only=True)
class SecondOrder:
    """The result's distribution up to its fourth cumulant.

    Attributes
    ----------
    shift : float
        Expected value minus the value at the estimates.
    u : float
        Standard uncertainty with the terms of JCGM 100:2008 5.1.2 NOTE, inputs independent; NaN
        where inputs are stated to be correlated.
    spread : float
        Standard deviation of the second-order model, correlations included, without third
        derivatives. Degrees of freedom widen it as they widen drawn inputs.
    skewness, excess : float
        Skewness and excess kurtosis, of the model's curvature and of the inputs' own shapes.

    Spread, skewness and excess are NaN where an input has four or fewer degrees of freedom: its
    fourth moment is infinite.
    """

    shift: float
    u: float
    spread: float
    skewness: float
    excess: float


def second_order(result: MeasurementResult) -> SecondOrder | None:
    """Return what the curvature of a result's model does; None where it is not finite.

    Cumulants are those of a second-order polynomial of correlated normal variables (κ₁ = ½ tr HR,
    κ₂ = cᵀRc + ½ tr (HR)², κ₃ = 3 cᵀRHRc + tr (HR)³, κ₄ = 12 cᵀRHRHRc + 3 tr (HR)⁴; textbook
    algebra of quadratic forms) with the inputs' own third and fourth cumulants added to first
    order.

    Raises
    ------
    ValueError
        If the result was read back from a file, without its model.
    """
    tree = flatten([result])
    slopes, curved, thirds = _derivatives(tree, result.value)
    if not all(np.all(np.isfinite(part)) for part in (slopes, curved, thirds)):
        return None
    # Σᵢⱼ (½ fᵢⱼ² + fᵢ fᵢⱼⱼ) uᵢ² uⱼ²
    terms = float(np.sum(curved**2) / 2 + np.sum(slopes @ thirds))
    first = float(slopes @ slopes)
    related = correlation_matrix([one.key for one in tree.roots], tree.correlations)
    own = np.asarray([_own_moments(one) for one in tree.roots]).reshape(-1, 3)
    slopes, curved = slopes * own[:, 0], curved * np.outer(own[:, 0], own[:, 0])
    bent = curved @ related
    seen, twice = related @ slopes, bent @ bent
    second = float(slopes @ seen + np.trace(twice) / 2)
    third = float(3 * seen @ curved @ seen + np.trace(twice @ bent) + np.sum(slopes**3 * own[:, 1]))
    fourth = 12 * float(seen @ curved @ related @ curved @ seen) + 3 * float(
        np.trace(twice @ twice)
    )
    fourth += float(np.sum(slopes**4 * own[:, 2]))
    return SecondOrder(
        shift=float(np.trace(bent)) / 2,
        u=math.nan if tree.correlations else math.sqrt(max(first + terms, 0.0)),
        spread=math.sqrt(second) if not second <= 0 else 0.0,
        skewness=third / second**1.5 if second != 0 else 0.0,
        excess=fourth / second**2 if second != 0 else 0.0,
    )


def _own_moments(one: InputQuantity) -> tuple[float, float, float]:
    """Return standard deviation by u, skewness and excess kurtosis of an input as it is drawn."""
    if math.isinf(one.dof):
        return 1.0, *SHAPES[one.distribution].moments(one.parameters)
    if one.distribution == "rectangular":
        vague = vague_limits(one.dof)
        skewness, excess = SHAPES["curvilinear trapezoid"].moments((vague,))
        return math.sqrt(1 + vague**2 / 3), skewness, excess
    if one.dof <= 4:
        return math.nan, math.nan, math.nan
    return math.sqrt(one.dof / (one.dof - 2)), 0.0, 6 / (one.dof - 4)


def curvature_parts(result: MeasurementResult) -> dict[str, float]:
    """Return each root input's part of the second-order variance ½ tr (HR)², by its key."""
    tree = flatten([result])
    keys = [one.key for one in tree.roots]
    _, curved, _ = _derivatives(tree, result.value)
    bent = curved @ correlation_matrix(keys, tree.correlations)
    parts = np.sum(bent * bent.T, axis=1) / 2
    return dict(zip(keys, parts.tolist(), strict=True))


def _derivatives(tree: EvaluationTree, centre: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return fᵢ (n,), fᵢⱼ (n, n) and fᵢⱼⱼ (n, n)."""
    count = len(tree.roots)
    if not count:
        return np.zeros(0), np.zeros((0, 0)), np.zeros((0, 0))
    unit = np.eye(count)
    along = [_evaluate(tree, step * unit) for step in (-2, -1, 1, 2)]
    far_below, below, above, far_above = along
    slopes = (8 * (above - below) - (far_above - far_below)) / 12
    curved = np.diag(above + below - 2 * centre)
    thirds = np.diag((far_above - 2 * above + 2 * below - far_below) / 2)
    pairs = np.asarray(list(itertools.combinations(range(count), 2)), dtype=int).reshape(-1, 2)
    for start in range(0, len(pairs), _POINTS_AT_ONCE // 4):
        i, j = pairs[start : start + _POINTS_AT_ONCE // 4].T
        corners = [_evaluate(tree, a * unit[i] + b * unit[j]) for a, b in _CORNERS]
        up_up, up_down, down_up, down_down = corners
        curved[i, j] = curved[j, i] = (up_up - up_down - down_up + down_down) / 4
        thirds[i, j] = (up_up + up_down - down_up - down_down) / 2 - (above[i] - below[i])
        thirds[j, i] = (up_up + down_up - up_down - down_down) / 2 - (above[j] - below[j])
    return slopes, curved, thirds


def _evaluate(tree: EvaluationTree, deviates: FloatArray) -> FloatArray:
    """Return the model at inputs that are off by `deviates` (points, n) standard uncertainties."""
    values = [
        one.value + one.u * column for one, column in zip(tree.roots, deviates.T, strict=True)
    ]
    return tree.evaluate(values, len(deviates))[0]
