"""Several answers to one question: how far they agree, and what they give together."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from annot.measurement.cross_section import CrossSection, slope_of
from annot.measurement.estimate import StatedValue, normal_estimate
from annot.measurement.section_views import cross_covariance
from annot.quality.en_score import en_number

FloatArray = NDArray[np.float64]
EXPANSION = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """Two cross-sections compared in one diameter, the errors they share taken out."""

    first: str
    second: str
    diameter: str
    difference: StatedValue
    e_n: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Combination:
    """One diameter of several cross-sections, combined and side by side.

    Attributes
    ----------
    weighted : StatedValue
        Generalised weighted mean, its uncertainty as stated by the parts.
    birge_ratio : float
        √(χ²/(n − 1)): above 1 the parts differ by more than they state.
    mandel_paule : StatedValue
        With a variance between the parts that makes the ratio 1.
    between_sd : float
        Square root of that variance.
    plain_largest : float
        The largest of the parts, for those whose habit it is.
    moment : str
        Of the cycle, which all parts share.
    """

    diameter: str
    parts: tuple[str, ...]
    values: tuple[float, ...]
    weighted: StatedValue
    birge_ratio: float
    mandel_paule: StatedValue
    between_sd: float
    plain_largest: float
    moment: str = ""


def section_covariance(sections: Sequence[CrossSection], diameter: str) -> FloatArray:
    """Return the covariance of one diameter over cross-sections that share errors.

    Raises
    ------
    ValueError
        If one of them has no ellipse.
    """
    count = len(sections)
    matrix = np.zeros((count, count))
    for row, first in enumerate(sections):
        for column, second in enumerate(sections[: row + 1]):
            if first.fit is None or second.fit is None:
                raise ValueError("A cross-section without an ellipse has no diameter.")
            near, far = slope_of(first.fit, diameter), slope_of(second.fit, diameter)
            if row == column:
                matrix[row, row] = near @ first.fit.covariance @ near
                continue
            shared = cross_covariance(first.views, second.views)
            value = near @ first.fit.gain @ shared @ second.fit.gain.T @ far
            matrix[row, column] = matrix[column, row] = value
    return matrix


def pairs_of(sections: Sequence[CrossSection], diameter: str) -> tuple[Pair, ...]:
    """Compare every two cross-sections that have an ellipse.

    E_n is the difference over its expanded uncertainty, k = 2, with the covariance.
    """
    known = [one for one in sections if one.fit is not None]
    if len(known) < 2:
        return ()
    values = diameters_of(known, diameter)
    matrix = section_covariance(known, diameter)
    found = []
    for i, first in enumerate(known):
        for j, second in enumerate(known[:i]):
            variance = matrix[i, i] + matrix[j, j] - 2 * matrix[i, j]
            u = float(np.sqrt(max(variance, 0.0)))
            difference = normal_estimate(float(values[i] - values[j]), u, "mm")
            found.append(
                Pair(
                    first=first.name.short,
                    second=second.name.short,
                    diameter=diameter,
                    difference=difference,
                    e_n=normalised_error(difference),
                )
            )
    return tuple(found)


def normalised_error(difference: StatedValue) -> float:
    """Return E_n of a difference whose uncertainty already holds what the two share."""
    return en_number(difference.value, expanded=EXPANSION * difference.u, expanded_reference=0.0)


def combination_of(sections: Sequence[CrossSection], diameter: str) -> Combination | None:
    """Combine one diameter of cross-sections that have an ellipse; None for fewer than two.

    Raises
    ------
    ValueError
        If they are of different moments of the cycle: those are different sizes, not several
        answers to one question.
    """
    known = [one for one in sections if one.fit is not None]
    if len({one.name.moment for one in known}) > 1:
        raise ValueError("Cross-sections of different moments are not one quantity.")
    if len(known) < 2:
        return None
    values = diameters_of(known, diameter)
    matrix = section_covariance(known, diameter)
    mean, variance, chi2 = weighted_mean(values, matrix)
    between = between_variance(values, matrix)
    wide, wide_variance, _ = weighted_mean(values, matrix + between * np.eye(len(values)))
    return Combination(
        diameter=diameter,
        parts=tuple(one.name.short for one in known),
        values=tuple(float(value) for value in values),
        weighted=normal_estimate(mean, float(np.sqrt(variance)), "mm"),
        birge_ratio=float(np.sqrt(chi2 / (len(values) - 1))),
        mandel_paule=normal_estimate(wide, float(np.sqrt(wide_variance)), "mm"),
        between_sd=float(np.sqrt(between)),
        plain_largest=float(np.max(values)),
        moment=known[0].name.moment,
    )


def diameters_of(sections: Sequence[CrossSection], diameter: str) -> FloatArray:
    """Return one diameter of each, corrected for selection."""
    found = [one.estimates[diameter] for one in sections]
    return np.array([one.value for one in found if one is not None])


def weighted_mean(values: ArrayLike, covariance: ArrayLike) -> tuple[float, float, float]:
    """Return the generalised weighted mean, its variance and χ²."""
    x = np.asarray(values, dtype=float)
    weight = np.linalg.inv(np.asarray(covariance, dtype=float))
    variance = 1 / float(np.sum(weight))
    mean = variance * float(np.sum(weight @ x))
    return mean, variance, float((x - mean) @ weight @ (x - mean))


def between_variance(values: ArrayLike, covariance: ArrayLike) -> float:
    """Return the variance between parts that brings χ² to n − 1, 0 where it is below already.

    Mandel and Paule's condition (1970, from memory), here with a full covariance.
    """
    from scipy.optimize import brentq

    x = np.asarray(values, dtype=float)
    matrix = np.asarray(covariance, dtype=float)

    def excess(variance: float) -> float:
        return weighted_mean(x, matrix + variance * np.eye(len(x)))[2] - (len(x) - 1)

    if excess(0.0) <= 0:
        return 0.0
    top = float(np.var(x)) + 1.0
    while excess(top) > 0:
        top *= 2
    return float(brentq(excess, 0.0, top, xtol=1e-12))
