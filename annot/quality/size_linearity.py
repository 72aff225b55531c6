"""Whether indicated sizes go with true ones: a straight line through objects of several sizes."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from annot.errors import InputError
from annot.uncertainty import MeasurementResult, propagate, stated


@dataclass(frozen=True, slots=True, kw_only=True)
class SizeLinearity:
    """The line `indicated = offset + slope · true`.

    Attributes
    ----------
    offset : MeasurementResult
        In mm: what every size reads too large whatever it is, as a wrong edge makes it.
    slope : MeasurementResult
        In percent: how much too large sizes read in proportion, the deviation of the slope from 1.
    largest_residual_mm : float
    chi2 : float
        Of the residuals over the sizes' own uncertainties, with `dof` degrees of freedom.
    """

    offset: MeasurementResult
    slope: MeasurementResult
    largest_residual_mm: float
    chi2: float
    dof: int


def size_linearity(
    true_mm: ArrayLike, indicated_mm: ArrayLike, u_mm: ArrayLike, *, key: str
) -> SizeLinearity:
    """Fit the line by weighted least squares.

    Parameters
    ----------
    true_mm, indicated_mm, u_mm : array_like, shape (n,)
        Certificate sizes, sizes as the room indicates them, and what both differ by chance.
    key : str
        Prefix of the input keys.

    Raises
    ------
    InputError
        If there are fewer than three sizes, or all are the same.
    """
    true, seen, u = (np.asarray(one, dtype=float) for one in (true_mm, indicated_mm, u_mm))
    if len(true) < 3 or np.ptp(true) <= 0.2 * true.max():
        raise InputError("Linearity needs three objects or more, of clearly different sizes.")
    if not np.all(u > 0):
        raise InputError("Linearity needs an uncertainty for every size.")
    basis = np.column_stack([np.ones_like(true), true]) / u[:, np.newaxis]
    covariance = np.linalg.inv(basis.T @ basis)
    offset, slope = covariance @ basis.T @ (seen / u)
    residual = seen - offset - slope * true
    chi2, dof = float(np.sum((residual / u) ** 2)), len(true) - 2
    # where sizes scatter by more than they say, the scatter counts
    widened = covariance * max(1.0, chi2 / dof)
    return SizeLinearity(
        offset=_result(float(offset), float(np.sqrt(widened[0, 0])), f"{key}:offset", "mm"),
        slope=_result(
            100 * (float(slope) - 1), 100 * float(np.sqrt(widened[1, 1])), f"{key}:slope", "%"
        ),
        largest_residual_mm=float(np.max(np.abs(residual))),
        chi2=chi2,
        dof=dof,
    )


def _result(value: float, u: float, key: str, unit: str) -> MeasurementResult:
    one = stated(
        value, u, key=key, unit=unit, component="check", source="line through several sizes"
    )
    return propagate(lambda number: number, [one], unit=unit)
