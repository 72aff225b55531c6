"""Drawn ellipses: what the cross-section may truly be, given the fit."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from annot.geometry.ellipse import area_diameter, eccentricity, perimeter_diameter
from annot.geometry.ellipse_fit import EllipseFit

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SectionDraws:
    """Ellipses drawn from what the fit leaves open, one per entry.

    Attributes
    ----------
    largest, smallest, turn_deg : array, shape (n,)
        Full axes in mm, and the direction's distance from the fitted one.
    errors : array, shape (n, k)
        Drawn errors of the further lengths that were asked for, in mm.
    """

    largest: FloatArray
    smallest: FloatArray
    turn_deg: FloatArray
    errors: FloatArray

    def diameter(self, name: str) -> FloatArray:
        """Return largest, smallest, mean, area_diameter, perimeter_diameter or eccentricity."""
        return DIAMETERS[name](self.largest, self.smallest)


DIAMETERS = {
    "largest": lambda largest, smallest: np.asarray(largest, dtype=float),
    "smallest": lambda largest, smallest: np.asarray(smallest, dtype=float),
    "mean": lambda largest, smallest: np.asarray((largest + smallest) / 2, dtype=float),
    "area_diameter": area_diameter,
    "perimeter_diameter": perimeter_diameter,
    "eccentricity": eccentricity,
}


def corrected_axes(fit: EllipseFit) -> tuple[float, float]:
    """Return (largest, smallest) with the bias of selection taken out, first order.

    The largest of all directions is chosen by the noise too: an error across the elongation
    always lengthens it. Its mean square, σ_t², is subtracted from the square of the elongation.
    """
    ratio, turned = _turned(fit)
    left = np.sqrt(max(ratio**2 - turned[2, 2], 0.0))
    middle = fit.parameters[0]
    return float(np.exp(middle + left / 2)), float(np.exp(middle - left / 2))


def draw_sections(
    fit: EllipseFit,
    rng: np.random.Generator,
    *,
    draws: int,
    others: FloatArray | None = None,
    cross: FloatArray | None = None,
) -> SectionDraws:
    """Draw true ellipses that could have given the fit.

    Errors e of (m, along the elongation, across it) are drawn and the fit is undone with them:
    m = m̂ − e_m and r = √(r̂² − e_t²) − e_r, not below 0. A plain draw around the fit would
    repeat the bias of selection instead of removing it.

    Parameters
    ----------
    fit : EllipseFit
    rng : Generator
    draws : int
    others, cross : arrays, shapes (k, k) and (3, k), optional
        Covariance of further lengths, and of the fit's (m, p, q) with them; their errors are
        drawn along.
    """
    ratio, turned = _turned(fit)
    count = 0 if others is None else len(others)
    joint = np.zeros((3 + count, 3 + count))
    joint[:3, :3] = turned
    if others is not None and cross is not None:
        joint[3:, 3:] = others
        joint[:3, 3:] = _rotation(fit) @ cross
        joint[3:, :3] = joint[:3, 3:].T
    errors = _normal(joint, rng, draws)
    left = np.sqrt(np.maximum(ratio**2 - errors[:, 2] ** 2, 0.0))
    ratios = np.maximum(left - errors[:, 1], 0.0)
    middles = fit.parameters[0] - errors[:, 0]
    return SectionDraws(
        largest=np.exp(middles + ratios / 2),
        smallest=np.exp(middles - ratios / 2),
        turn_deg=-np.rad2deg(np.arctan2(errors[:, 2], left)) / 2,
        errors=-errors[:, 3:],
    )


def _normal(covariance: FloatArray, rng: np.random.Generator, draws: int) -> FloatArray:
    """Draw from a normal distribution whose covariance may be singular."""
    values, vectors = np.linalg.eigh(covariance)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    return np.asarray(rng.standard_normal((draws, len(values))) @ root.T)


def _rotation(fit: EllipseFit) -> FloatArray:
    """Return the turn from (m, p, q) to (m, along the elongation, across it)."""
    angle = np.arctan2(fit.parameters[2], fit.parameters[1])
    cosine, sine = np.cos(angle), np.sin(angle)
    return np.array([[1.0, 0.0, 0.0], [0.0, cosine, sine], [0.0, -sine, cosine]])


def _turned(fit: EllipseFit) -> tuple[float, FloatArray]:
    rotation = _rotation(fit)
    ratio = float(np.hypot(fit.parameters[1], fit.parameters[2]))
    return ratio, np.asarray(rotation @ fit.covariance @ rotation.T)
