"""The shapes a distribution may have: how to draw them, and how wide, skew and peaked they are.

What is drawn is raw, with a mean and standard deviation of its own, from which an input quantity
scales it to its value and u. Methods of drawing follow JCGM 101:2008 6.4, clauses beside them.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Parameters = tuple[float, ...]
Distribution = Literal[
    "normal",
    "t",
    "rectangular",
    "triangular",
    "trapezoidal",
    "curvilinear trapezoid",
    "arcsine",
    "half-normal",
    "exponential",
    "cosine of tilt",
    "secant of tilt",
    "empirical",
    "exact",
]
# below 1/0.05 values the ends of a 95 % interval have not been seen
FEWEST_SAMPLES = 20
_HALF_NORMAL_MEAN = math.sqrt(2 / math.pi)


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """One shape; all of its functions take the parameters of an input quantity.

    Attributes
    ----------
    draw : fills an array with raw deviates
    raw : gives their mean and standard deviation
    moments : gives skewness and excess kurtosis
    fault : gives an empty text for allowed parameters, else what they must be
    """

    draw: Callable[[np.random.Generator, FloatArray, Parameters], None]
    raw: Callable[[Parameters], tuple[float, float]]
    moments: Callable[[Parameters], tuple[float, float]]
    fault: Callable[[Parameters], str]


def _normal(rng: np.random.Generator, out: FloatArray, _: Parameters) -> None:
    rng.standard_normal(out=out)


def _rectangular(rng: np.random.Generator, out: FloatArray, _: Parameters) -> None:
    rng.random(out=out)


def _triangular(rng: np.random.Generator, out: FloatArray, _: Parameters) -> None:
    rng.random(out=out)
    out += rng.random(out.size)


def _trapezoidal(rng: np.random.Generator, out: FloatArray, parameters: Parameters) -> None:
    rng.random(out=out)
    out *= 1 + parameters[0]
    out += (1 - parameters[0]) * rng.random(out.size)


def _curvilinear(rng: np.random.Generator, out: FloatArray, parameters: Parameters) -> None:
    """Draw (−1, 1) with ends that are themselves vague (JCGM 101:2008 6.4.3.4)."""
    rng.random(out=out)
    out -= 0.5
    out *= 2
    widths = rng.random(out.size)
    widths -= 0.5
    widths *= 2 * parameters[0]
    widths += 1
    out *= widths


def _arcsine(rng: np.random.Generator, out: FloatArray, _: Parameters) -> None:
    rng.random(out=out)
    out *= 2 * math.pi
    np.sin(out, out=out)


def _half_normal(rng: np.random.Generator, out: FloatArray, parameters: Parameters) -> None:
    rng.standard_normal(out=out)
    np.abs(out, out=out)
    out *= parameters[0]


def _exponential(rng: np.random.Generator, out: FloatArray, parameters: Parameters) -> None:
    rng.standard_exponential(out=out)
    out *= parameters[0]


def _cosine(rng: np.random.Generator, out: FloatArray, parameters: Parameters) -> None:
    # even in the tilt: one side of it is enough
    rng.random(out=out)
    out *= parameters[0]
    np.cos(out, out=out)


def _secant(rng: np.random.Generator, out: FloatArray, parameters: Parameters) -> None:
    _cosine(rng, out, parameters)
    np.divide(1.0, out, out=out)


def _empirical(rng: np.random.Generator, out: FloatArray, parameters: Parameters) -> None:
    np.take(np.asarray(parameters), rng.integers(len(parameters), size=out.size), out=out)


def _always(mean: float, spread: float) -> Callable[[Parameters], tuple[float, float]]:
    return lambda _: (mean, spread)


def _on_one_side(mean: float, spread: float) -> Callable[[Parameters], tuple[float, float]]:
    return lambda parameters: (parameters[0] * mean, spread)


def _trapezoidal_raw(parameters: Parameters) -> tuple[float, float]:
    return 1.0, math.sqrt((1 + parameters[0] ** 2) / 6)


def _curvilinear_raw(parameters: Parameters) -> tuple[float, float]:
    return 0.0, math.sqrt(1 / 3 + parameters[0] ** 2 / 9)


def _empirical_raw(parameters: Parameters) -> tuple[float, float]:
    return float(np.mean(parameters)), float(np.std(parameters, ddof=1))


def vague_limits(dof: float) -> float:
    """Return by what fraction of its half-width a rectangle's limits are vague.

    1/√(2ν), the relative doubt of JCGM 100:2008 G.4.2 read of limits, as JCGM 101:2008 9.5 does.
    """
    return min(1.0, 1 / math.sqrt(2 * dof))


def cosine_moments(tilt_rad: float) -> tuple[float, float]:
    """Return mean and standard deviation of cos φ, φ rectangular in ± `tilt_rad`.

    Mean = sin T / T, second moment = 1/2 + sin 2T / (4T).
    """
    mean = math.sin(tilt_rad) / tilt_rad
    return mean, _spread(mean, 0.5 + math.sin(2 * tilt_rad) / (4 * tilt_rad), tilt_rad)


def secant_moments(tilt_rad: float) -> tuple[float, float]:
    """Return mean and standard deviation of 1/cos φ, φ rectangular in ± `tilt_rad`.

    Mean = asinh(tan T) / T, second moment = tan T / T.
    """
    mean = math.asinh(math.tan(tilt_rad)) / tilt_rad
    return mean, _spread(mean, math.tan(tilt_rad) / tilt_rad, tilt_rad)


def _spread(mean: float, second_moment: float, tilt_rad: float) -> float:
    """Return the standard deviation of cosine or secant.

    Below some 0.05 degrees the subtraction loses its digits: the leading term T²/√45 of both.
    """
    variance = second_moment - mean**2
    return math.sqrt(variance) if variance > 1e-14 else tilt_rad**2 / math.sqrt(45)


def _trapezoidal_moments(parameters: Parameters) -> tuple[float, float]:
    wide, narrow = (1 + parameters[0]) ** 2, (1 - parameters[0]) ** 2
    return 0.0, -1.2 * (wide**2 + narrow**2) / (wide + narrow) ** 2


def _curvilinear_moments(parameters: Parameters) -> tuple[float, float]:
    vague = parameters[0] ** 2
    second, fourth = 1 + vague / 3, 1 + 2 * vague + vague**2 / 5
    return 0.0, 9 / 5 * fourth / second**2 - 3


def _tilt_moments(power: int) -> Callable[[Parameters], tuple[float, float]]:
    def moments(parameters: Parameters) -> tuple[float, float]:
        nodes, weights = np.polynomial.legendre.leggauss(48)
        # of (1 − cos φ): the cosine's own digits are lost near 1
        loss = 2 * np.sin(parameters[0] * (1 + nodes) / 4) ** 2
        seen = -loss if power > 0 else loss / (1 - loss)
        return _standardised(seen, weights / 2)

    return moments


def _empirical_moments(parameters: Parameters) -> tuple[float, float]:
    return _standardised(np.asarray(parameters), np.full(len(parameters), 1 / len(parameters)))


def _standardised(values: FloatArray, weights: FloatArray) -> tuple[float, float]:
    apart = values - np.sum(weights * values)
    variance = float(np.sum(weights * apart**2))
    skewness = float(np.sum(weights * apart**3)) / variance**1.5
    return skewness, float(np.sum(weights * apart**4)) / variance**2 - 3


def _none(parameters: Parameters) -> str:
    return "takes no parameters" if parameters else ""


def _fraction(parameters: Parameters) -> str:
    right = len(parameters) == 1 and 0 <= parameters[0] <= 1
    return "" if right else "takes one parameter from 0 to 1"


def _side(parameters: Parameters) -> str:
    return "" if parameters in {(1.0,), (-1.0,)} else "takes one parameter, 1 or -1"


def _angle(parameters: Parameters) -> str:
    right = len(parameters) == 1 and 0 < parameters[0] <= math.pi / 3 + 1e-9
    return "" if right else "takes one half-range in (0, 60] degrees, in radians"


def _samples(parameters: Parameters) -> str:
    if len(parameters) < FEWEST_SAMPLES or not all(map(math.isfinite, parameters)):
        return f"takes at least {FEWEST_SAMPLES} finite samples"
    return "" if min(parameters) < max(parameters) else "takes samples that differ"


_UNIFORM_SD = 1 / math.sqrt(12)
SHAPES: dict[str, Shape] = {
    "normal": Shape(draw=_normal, raw=_always(0, 1), moments=_always(0, 0), fault=_none),
    "t": Shape(draw=_normal, raw=_always(0, 1), moments=_always(0, 0), fault=_none),
    "rectangular": Shape(
        draw=_rectangular, raw=_always(0.5, _UNIFORM_SD), moments=_always(0, -1.2), fault=_none
    ),
    "triangular": Shape(
        draw=_triangular, raw=_always(1, 6**-0.5), moments=_always(0, -0.6), fault=_none
    ),
    "trapezoidal": Shape(
        draw=_trapezoidal, raw=_trapezoidal_raw, moments=_trapezoidal_moments, fault=_fraction
    ),
    "curvilinear trapezoid": Shape(
        draw=_curvilinear, raw=_curvilinear_raw, moments=_curvilinear_moments, fault=_fraction
    ),
    "arcsine": Shape(draw=_arcsine, raw=_always(0, 2**-0.5), moments=_always(0, -1.5), fault=_none),
    "half-normal": Shape(
        draw=_half_normal,
        raw=_on_one_side(_HALF_NORMAL_MEAN, math.sqrt(1 - 2 / math.pi)),
        moments=_on_one_side(0.99527174643, 0.86917703114),
        fault=_side,
    ),
    "exponential": Shape(
        draw=_exponential, raw=_on_one_side(1, 1), moments=_on_one_side(2, 6), fault=_side
    ),
    "cosine of tilt": Shape(
        draw=_cosine,
        raw=lambda parameters: cosine_moments(parameters[0]),
        moments=_tilt_moments(1),
        fault=_angle,
    ),
    "secant of tilt": Shape(
        draw=_secant,
        raw=lambda parameters: secant_moments(parameters[0]),
        moments=_tilt_moments(-1),
        fault=_angle,
    ),
    "empirical": Shape(
        draw=_empirical, raw=_empirical_raw, moments=_empirical_moments, fault=_samples
    ),
}
