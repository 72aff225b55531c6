"""GUM arithmetic: quantities, budgets, propagation, coverage. Numbers in, numbers out."""

from annot.uncertainty.coverage import CoverageInterval, coverage_factor, expand
from annot.uncertainty.propagate import propagate
from annot.uncertainty.quantity import (
    BudgetLine,
    InputQuantity,
    MeasurementResult,
    Model,
    Quantity,
    covariance,
)
from annot.uncertainty.rounding import decimals_for, value_with_u
from annot.uncertainty.type_a import from_repeats
from annot.uncertainty.type_b import (
    cosine_of_unknown_tilt,
    exact,
    rectangular,
    secant_of_unknown_tilt,
    stated,
)

__all__ = [
    "BudgetLine",
    "CoverageInterval",
    "InputQuantity",
    "MeasurementResult",
    "Model",
    "Quantity",
    "cosine_of_unknown_tilt",
    "covariance",
    "coverage_factor",
    "decimals_for",
    "exact",
    "expand",
    "from_repeats",
    "propagate",
    "rectangular",
    "secant_of_unknown_tilt",
    "stated",
    "value_with_u",
]
