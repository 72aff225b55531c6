"""An ellipse from widths in several directions: central chords, silhouettes, or both.

A central chord obeys 1/c² = A + B cos 2α + C sin 2α, a silhouette w² = A' + B' cos 2β + C' sin 2β:
both linear in the double angle. That gives the start. The fit itself runs in the lengths, where
the noise is, over the parameters (m, p, q) with

    D = exp(m + r/2),  d = exp(m − r/2),  (p, q) = r·(cos 2θ, sin 2θ),

θ the direction of the largest axis. Every (m, p, q) is a real ellipse, and a circle, p = q = 0,
is an ordinary point. In them, with S = sinh(r)/r · (p cos 2φ + q sin 2φ),

    chord = exp(m) / √(cosh r − S),   silhouette = exp(m) · √(cosh r + S).

The method is our own working of the two linear laws; no source.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from annot.geometry.ellipse import Ellipse

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
# beyond an axis ratio of e⁴ = 55 no cross-section is meant
LONGEST_LOG_RATIO = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Sightings:
    """Directions in which an ellipse was seen, and how.

    Attributes
    ----------
    directions_deg : array, shape (n,)
        Direction along which each width lies in the plane of the cross-section, mod 180.
    silhouette : bool array, shape (n,)
        True for a shadow's width, False for a chord through the centre.
    """

    directions_deg: FloatArray
    silhouette: BoolArray

    def without(self, index: int) -> "Sightings":
        """Return all but one."""
        return Sightings(
            directions_deg=np.delete(self.directions_deg, index),
            silhouette=np.delete(self.silhouette, index),
        )


def ellipse_of(parameters: ArrayLike) -> Ellipse:
    """Return the ellipse of (m, p, q)."""
    middle, first, second = np.asarray(parameters, dtype=float)
    ratio = float(np.hypot(first, second))
    turn = float(np.rad2deg(np.arctan2(second, first)) / 2 % 180.0)
    return Ellipse(
        largest=float(np.exp(middle + ratio / 2)),
        smallest=float(np.exp(middle - ratio / 2)),
        orientation_deg=turn,
    )


def parameters_of(ellipse: Ellipse) -> FloatArray:
    """Return (m, p, q) of an ellipse."""
    ratio = np.log(ellipse.largest / ellipse.smallest)
    turn = np.deg2rad(2 * ellipse.orientation_deg)
    middle = np.log(ellipse.largest * ellipse.smallest) / 2
    return np.array([middle, ratio * np.cos(turn), ratio * np.sin(turn)])


def widths_of(parameters: FloatArray, seen: Sightings) -> FloatArray:
    """Return the widths that an ellipse shows, shape (n,)."""
    middle, first, second = parameters
    ratio = float(np.hypot(first, second))
    double = np.deg2rad(2 * seen.directions_deg)
    swing = _sinhc(ratio) * (first * np.cos(double) + second * np.sin(double))
    swing = np.where(seen.silhouette, swing, -swing)
    power = np.where(seen.silhouette, 0.5, -0.5)
    return np.asarray(np.exp(middle) * (np.cosh(ratio) + swing) ** power, dtype=float)


def slopes_of(parameters: FloatArray, seen: Sightings) -> FloatArray:
    """Return the derivatives of the widths by (m, p, q), shape (n, 3)."""
    middle, first, second = parameters
    ratio = float(np.hypot(first, second))
    double = np.deg2rad(2 * seen.directions_deg)
    cosine, sine = np.cos(double), np.sin(double)
    along = first * cosine + second * sine
    sign = np.where(seen.silhouette, 1.0, -1.0)
    inside = np.cosh(ratio) + sign * _sinhc(ratio) * along
    widths = np.exp(middle) * inside ** (sign / 2)
    # d cosh r = sinhc · (p dp + q dq); d sinhc = k · (p dp + q dq)
    common = _sinhc(ratio) + sign * _sinhc_slope(ratio) * along
    by_first = common * first + sign * _sinhc(ratio) * cosine
    by_second = common * second + sign * _sinhc(ratio) * sine
    factor = widths * sign / 2 / inside
    return np.stack([widths, factor * by_first, factor * by_second], axis=1)


def _sinhc(ratio: float) -> float:
    return 1 + ratio**2 / 6 if ratio < 1e-4 else float(np.sinh(ratio) / ratio)


def _sinhc_slope(ratio: float) -> float:
    """Return the derivative of sinh(r)/r by r, divided by r."""
    if ratio < 1e-2:
        return 1 / 3 + ratio**2 / 30
    return float((ratio * np.cosh(ratio) - np.sinh(ratio)) / ratio**3)


def linear_start(widths: FloatArray, seen: Sightings) -> FloatArray:
    """Return (m, p, q) from the linear laws, by weighted least squares.

    One kind alone is exact on exact widths. A mixture takes the majority's law for all, which
    is only a start.
    """
    shadows = bool(np.mean(seen.silhouette) > 0.5)
    power = 2.0 if shadows else -2.0
    double = np.deg2rad(2 * seen.directions_deg)
    design = np.stack([np.ones_like(double), np.cos(double), np.sin(double)], axis=1)
    target = widths**power
    weights = 1 / target
    solution = np.linalg.lstsq(design * weights[:, None], target * weights, rcond=None)[0]
    mean, cosine, sine = (float(value) for value in solution)
    swing = min(float(np.hypot(cosine, sine)) / mean, 0.95) if mean > 0 else 0.0
    size = mean if mean > 0 else float(np.mean(target))
    ratio = float(np.arctanh(swing))
    turn = np.arctan2(sine, cosine) + (0.0 if shadows else np.pi)
    # the squares' geometric mean is size·√(1 − swing²)
    middle = np.log(size * np.sqrt(1 - swing**2)) / power
    return np.array([middle, ratio * np.cos(turn), ratio * np.sin(turn)])


def distinct_directions(directions_deg: ArrayLike, *, apart_deg: float) -> int:
    """Count directions that lie more than `apart_deg` from one another, mod 180."""
    left = sorted(float(value) % 180.0 for value in np.asarray(directions_deg, dtype=float))
    if not left:
        return 0
    gaps = np.diff([*left, left[0] + 180.0])
    return max(1, int(np.sum(gaps > apart_deg)))
