"""An ellipse as a cross-section: its axes, its derived diameters, and how wide it looks."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Ellipse:
    """An ellipse by its full axes, in any one unit of length.

    Attributes
    ----------
    largest, smallest : float
        Full axes, largest >= smallest > 0.
    orientation_deg : float
        Direction of the largest axis, 0 to 180.
    """

    largest: float
    smallest: float
    orientation_deg: float = 0.0

    def __post_init__(self) -> None:
        if not 0 < self.smallest <= self.largest < np.inf:
            raise ValueError(
                f"An ellipse has 0 < smallest <= largest axis, got {self.smallest} and "
                f"{self.largest}."
            )

    @property
    def mean(self) -> float:
        """Mean of the two axes."""
        return (self.largest + self.smallest) / 2

    @property
    def area(self) -> float:
        """Area π·D·d/4."""
        return float(np.pi * self.largest * self.smallest / 4)

    @property
    def area_diameter(self) -> float:
        """Diameter of the circle of the same area, √(D·d)."""
        return float(area_diameter(self.largest, self.smallest))

    @property
    def perimeter(self) -> float:
        """Length of the outline."""
        return float(np.pi * perimeter_diameter(self.largest, self.smallest))

    @property
    def perimeter_diameter(self) -> float:
        """Diameter of the circle of the same perimeter."""
        return float(perimeter_diameter(self.largest, self.smallest))

    @property
    def eccentricity(self) -> float:
        """√(1 − d²/D²), 0 for a circle."""
        return float(eccentricity(self.largest, self.smallest))

    def chord(self, directions_deg: ArrayLike) -> FloatArray:
        """Return the lengths of chords through the centre: what a plane through it shows.

        1/c² = cos²φ/D² + sin²φ/d², φ from the largest axis.
        """
        turn = np.deg2rad(np.asarray(directions_deg, dtype=float) - self.orientation_deg)
        return np.asarray(
            1 / np.hypot(np.cos(turn) / self.largest, np.sin(turn) / self.smallest), dtype=float
        )

    def silhouette(self, directions_deg: ArrayLike) -> FloatArray:
        """Return the widths of shadows measured along directions: what a projection shows.

        w² = D²cos²φ + d²sin²φ, φ from the largest axis. The mean over all directions is the
        perimeter divided by π (Cauchy).
        """
        turn = np.deg2rad(np.asarray(directions_deg, dtype=float) - self.orientation_deg)
        return np.asarray(
            np.hypot(np.cos(turn) * self.largest, np.sin(turn) * self.smallest), dtype=float
        )


def area_diameter(largest: ArrayLike, smallest: ArrayLike) -> FloatArray:
    """Return √(D·d), the diameter of the circle of the same area."""
    return np.asarray(np.sqrt(np.multiply(largest, smallest)), dtype=float)


def perimeter_diameter(largest: ArrayLike, smallest: ArrayLike) -> FloatArray:
    """Return the perimeter over π, by the complete elliptic integral of the second kind.

    The perimeter is 2·D·E(m) with m = 1 − (d/D)² (Abramowitz & Stegun 17.3, from memory).
    """
    from scipy.special import ellipe

    long, short = np.asarray(largest, dtype=float), np.asarray(smallest, dtype=float)
    return np.asarray(2 * long * ellipe(1 - (short / long) ** 2) / np.pi, dtype=float)


def eccentricity(largest: ArrayLike, smallest: ArrayLike) -> FloatArray:
    """Return √(1 − d²/D²)."""
    ratio = np.asarray(smallest, dtype=float) / np.asarray(largest, dtype=float)
    return np.asarray(np.sqrt(np.maximum(0.0, 1 - ratio**2)), dtype=float)
