"""The ellipse that agrees best with widths and their covariance."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from annot.geometry.chords import (
    LONGEST_LOG_RATIO,
    FloatArray,
    Sightings,
    linear_start,
    slopes_of,
    widths_of,
)

ROUNDS, SMALLEST_STEP = 60, 1e-10
CovarianceAt = Callable[[FloatArray], FloatArray]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class EllipseFit:
    """A weighted least-squares ellipse.

    Attributes
    ----------
    parameters : array, shape (3,)
        (m, p, q) of `annot.geometry.chords`.
    covariance : array, shape (3, 3)
        Of the parameters, first order.
    gain : array, shape (3, n)
        How the parameters follow each width, so that covariance with anything else that shares
        an error with the widths can be computed.
    fitted : array, shape (n,)
        The widths that the ellipse shows.
    chi2 : float
        Weighted sum of squared misfits.
    """

    parameters: FloatArray
    covariance: FloatArray
    gain: FloatArray
    fitted: FloatArray
    chi2: float


def fit_ellipse(
    widths: FloatArray, seen: Sightings, covariance_at: CovarianceAt
) -> EllipseFit | None:
    """Fit an ellipse to widths by generalised least squares.

    Gauss–Newton with halved steps. The covariance is rebuilt at the fitted widths: an error
    shared in proportion, such as a scale's, weighted by the measured widths instead would pull
    the fit towards the short ones (Peelle's puzzle).

    Parameters
    ----------
    widths : array, shape (n,), n >= 3
    seen : Sightings
        At least three distinct directions.
    covariance_at : callable
        Covariance of the widths, shape (n, n), when the true widths are its argument.

    Returns
    -------
    EllipseFit or None
        None where no ellipse fits: the shape runs away or the directions say too little.
    """
    parameters = linear_start(widths, seen)
    for _ in range(ROUNDS):
        weight: FloatArray = np.asarray(np.linalg.inv(covariance_at(widths_of(parameters, seen))))
        slopes = slopes_of(parameters, seen)
        normal = slopes.T @ weight @ slopes
        if not np.all(np.isfinite(normal)) or np.linalg.cond(normal) > 1e12:
            return None
        misfit = widths - widths_of(parameters, seen)
        step: FloatArray = np.asarray(np.linalg.solve(normal, slopes.T @ weight @ misfit))
        parameters, moved = _halved(parameters, step, widths, seen, weight)
        if not np.hypot(*parameters[1:]) < LONGEST_LOG_RATIO:
            return None
        if moved < SMALLEST_STEP:
            return _described(parameters, widths, seen, covariance_at)
    return None


def _halved(  # the five things a step needs to be judged
    parameters: FloatArray,
    step: FloatArray,
    widths: FloatArray,
    seen: Sightings,
    weight: FloatArray,
) -> tuple[FloatArray, float]:
    """Return the parameters after a step that does not worsen the fit, and its size."""
    before = _misfit(parameters, widths, seen, weight)
    for _ in range(30):
        tried = parameters + step
        if np.hypot(*tried[1:]) < 2 * LONGEST_LOG_RATIO:
            after = _misfit(tried, widths, seen, weight)
            # at the bottom rounding decides, and a step below it is no worse
            if after <= before * (1 + 1e-12) + 1e-14:
                break
        step = step / 2
    return tried, float(np.max(np.abs(step)))


def _misfit(
    parameters: FloatArray, widths: FloatArray, seen: Sightings, weight: FloatArray
) -> float:
    rest = widths - widths_of(parameters, seen)
    return float(rest @ weight @ rest)


def _described(
    parameters: FloatArray, widths: FloatArray, seen: Sightings, covariance_at: CovarianceAt
) -> EllipseFit:
    fitted = widths_of(parameters, seen)
    weight: FloatArray = np.asarray(np.linalg.inv(covariance_at(fitted)))
    slopes = slopes_of(parameters, seen)
    covariance: FloatArray = np.asarray(np.linalg.inv(slopes.T @ weight @ slopes))
    return EllipseFit(
        parameters=parameters,
        covariance=covariance,
        gain=covariance @ slopes.T @ weight,
        fitted=fitted,
        chi2=_misfit(parameters, widths, seen, weight),
    )
