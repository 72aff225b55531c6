"""GUM arithmetic: quantities, budgets, propagation, coverage. Numbers in, numbers out."""

from annot.uncertainty.correlation import Correlation
from annot.uncertainty.coverage import (
    CoverageInterval,
    coverage_factor,
    expand,
    interval_of_draws,
)
from annot.uncertainty.estimate import Estimate, estimate
from annot.uncertainty.limits import (
    arcsine,
    curvilinear_trapezoid,
    empirical,
    exponential,
    half_normal,
    trapezoidal,
    triangular,
)
from annot.uncertainty.monte_carlo import (
    Simulation,
    generator_for,
    sample,
    sample_jointly,
    simulate,
)
from annot.uncertainty.propagate import propagate
from annot.uncertainty.quantity import (
    BudgetLine,
    InputQuantity,
    MeasurementResult,
    Model,
    Quantity,
    covariance,
)
from annot.uncertainty.rounding import decimals_for, numerical_tolerance, value_with_u
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
    "Correlation",
    "CoverageInterval",
    "Estimate",
    "InputQuantity",
    "MeasurementResult",
    "Model",
    "Quantity",
    "Simulation",
    "arcsine",
    "cosine_of_unknown_tilt",
    "covariance",
    "coverage_factor",
    "curvilinear_trapezoid",
    "decimals_for",
    "empirical",
    "estimate",
    "exact",
    "expand",
    "exponential",
    "from_repeats",
    "generator_for",
    "half_normal",
    "interval_of_draws",
    "numerical_tolerance",
    "propagate",
    "rectangular",
    "sample",
    "sample_jointly",
    "secant_of_unknown_tilt",
    "simulate",
    "stated",
    "trapezoidal",
    "triangular",
    "value_with_u",
]
