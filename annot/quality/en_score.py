"""The normalised error E_n: a difference over its own expanded uncertainty.

Source: ISO 13528:2022, 9.7 (clause from memory), as ISO/IEC 17043: x − X over √(U_x² + U_X²), for
results that share no error. Where they do, the uncertainty of the difference takes its place
(JCGM 100:2008 5.2.2), which is the same number without covariance.
"""

import math
from dataclasses import dataclass

from annot.uncertainty import Quantity, coverage_factor, propagate

# The probability for which k = 2 with unlimited degrees of freedom (JCGM 100:2008 G.1.2).
PROBABILITY = math.erf(2 / math.sqrt(2))


@dataclass(frozen=True, slots=True, kw_only=True)
class EnScore:
    """A normalised error and what it says.

    Attributes
    ----------
    e_n : float or None
        None where the difference has no uncertainty: the two share every error.
    difference, expanded : float
        The difference and its expanded uncertainty, in the unit of the two.
    coverage_factor : float
        2, or more for few degrees of freedom.
    """

    e_n: float | None
    difference: float
    expanded: float
    coverage_factor: float

    @property
    def agrees(self) -> bool | None:
        """Whether |E_n| <= 1; None where nothing can be told."""
        if self.e_n is None:
            return True if self.difference == 0 else None
        return abs(self.e_n) <= 1

    @property
    def verdict(self) -> str:
        """What it says, in words."""
        if self.e_n is None and self.difference:
            return "they share every error and yet differ: nothing can be told"
        if self.agrees:
            return "they agree within their uncertainties"
        return "they differ by more than their uncertainties allow"


def en_number(difference: float, *, expanded: float, expanded_reference: float) -> float:
    """Return E_n of a difference between two results that share no error.

    Parameters
    ----------
    difference
        Result less reference.
    expanded, expanded_reference
        Their expanded uncertainties.

    Raises
    ------
    ValueError
        If an uncertainty is negative or both are zero.
    """
    if min(expanded, expanded_reference) < 0 or expanded == expanded_reference == 0:
        raise ValueError(
            f"E_n needs expanded uncertainties of 0 or more, not both 0: got {expanded} and "
            f"{expanded_reference}."
        )
    return difference / math.hypot(expanded, expanded_reference)


def en_score(result: Quantity, reference: Quantity) -> EnScore:
    """Return the normalised error of a result against a reference, covariance respected.

    Parameters
    ----------
    result, reference
        In one unit; inputs of the same key count once, so an error that both share cancels.
    """
    apart = propagate(lambda one, other: one - other, [result, reference], unit=result.unit)
    # rounding leaves a trace of an uncertainty where everything cancels
    none = apart.u <= 1e-9 * max(result.u, reference.u)
    factor = 2.0 if none else max(2.0, coverage_factor(apart.dof, probability=PROBABILITY))
    expanded = factor * apart.u
    return EnScore(
        e_n=None if none else apart.value / expanded,
        difference=apart.value,
        expanded=0.0 if none else expanded,
        coverage_factor=factor,
    )
