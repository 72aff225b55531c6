"""GUM arithmetic: quantities, budgets, propagation, coverage. Numbers in, numbers out."""

from annot.uncertainty.budget import (
    Contribution,
    Improvement,
    budget,
    improvements,
    relative_u_of_spread,
)
from annot.uncertainty.conformity import (
    GlobalRisk,
    Tolerance,
    acceptance_limit,
    acceptance_limit_for_risk,
    conformity,
    conformity_probability,
    global_risk,
    guard_factor,
    rejection_limit,
)
from annot.uncertainty.correlation import Correlation
from annot.uncertainty.coverage import (
    CoverageInterval,
    coverage_factor,
    expand,
    interval_of_draws,
)
from annot.uncertainty.estimate import Estimate, agreement_tolerance, estimate
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
from annot.uncertainty.outputs import (
    CoverageRegion,
    JointSimulation,
    correlation,
    covariance_matrix,
    coverage_region,
    propagate_outputs,
    region_factor,
    simulate_jointly,
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
from annot.uncertainty.result_column import InputColumn, ResultColumn, propagate_column
from annot.uncertainty.rounding import decimals_for, numerical_tolerance, value_with_u
from annot.uncertainty.second_order import SecondOrder, second_order
from annot.uncertainty.type_a import from_repeats, from_simultaneous_repeats, straight_line
from annot.uncertainty.type_b import (
    cosine_of_unknown_tilt,
    exact,
    rectangular,
    secant_of_unknown_tilt,
    stated,
)

__all__ = [
    "BudgetLine",
    "Contribution",
    "Correlation",
    "CoverageInterval",
    "CoverageRegion",
    "Estimate",
    "GlobalRisk",
    "Improvement",
    "InputColumn",
    "InputQuantity",
    "JointSimulation",
    "MeasurementResult",
    "Model",
    "Quantity",
    "ResultColumn",
    "SecondOrder",
    "Simulation",
    "Tolerance",
    "acceptance_limit",
    "acceptance_limit_for_risk",
    "agreement_tolerance",
    "arcsine",
    "budget",
    "conformity",
    "conformity_probability",
    "correlation",
    "cosine_of_unknown_tilt",
    "covariance",
    "covariance_matrix",
    "coverage_factor",
    "coverage_region",
    "curvilinear_trapezoid",
    "decimals_for",
    "empirical",
    "estimate",
    "exact",
    "expand",
    "exponential",
    "from_repeats",
    "from_simultaneous_repeats",
    "generator_for",
    "global_risk",
    "guard_factor",
    "half_normal",
    "improvements",
    "interval_of_draws",
    "numerical_tolerance",
    "propagate",
    "propagate_column",
    "propagate_outputs",
    "rectangular",
    "region_factor",
    "rejection_limit",
    "relative_u_of_spread",
    "sample",
    "sample_jointly",
    "secant_of_unknown_tilt",
    "second_order",
    "simulate",
    "simulate_jointly",
    "stated",
    "straight_line",
    "trapezoidal",
    "triangular",
    "value_with_u",
]
