"""Statistics of readers: arrays in, frozen results out. No file, no clock, no chance."""

from annot.agreement.bland_altman import (
    MULTIPLIER,
    LimitsOfAgreement,
    SlopingLimits,
    limits_of_agreement,
    limits_of_differences,
    ratio_limits,
    sloping_limits,
)
from annot.agreement.comparison_line import ComparisonLine, deming, passing_bablok
from annot.agreement.concordance import (
    Concordance,
    TotalDeviation,
    concordance,
    coverage_probability,
    share,
    total_deviation_index,
)
from annot.agreement.disagreement import ReaderDisagreement, disagreement_chart
from annot.agreement.drift import Drift, reader_drift
from annot.agreement.estimate import Statistic
from annot.agreement.intraclass import (
    FORMS,
    IntraclassForm,
    intraclass_correlation,
    intraclass_correlations,
    mean_squares,
)
from annot.agreement.repeatability import Repeatability, repeatability, spread_of
from annot.agreement.replicated_limits import limits_of_varying_pairs, limits_with_replicates
from annot.agreement.sample_size import cases_for_limits, half_width_of_limit
from annot.agreement.weighted_kappa import weighted_kappa

__all__ = [
    "FORMS",
    "MULTIPLIER",
    "ComparisonLine",
    "Concordance",
    "Drift",
    "IntraclassForm",
    "LimitsOfAgreement",
    "ReaderDisagreement",
    "Repeatability",
    "SlopingLimits",
    "Statistic",
    "TotalDeviation",
    "cases_for_limits",
    "concordance",
    "coverage_probability",
    "deming",
    "disagreement_chart",
    "half_width_of_limit",
    "intraclass_correlation",
    "intraclass_correlations",
    "limits_of_agreement",
    "limits_of_differences",
    "limits_of_varying_pairs",
    "limits_with_replicates",
    "mean_squares",
    "passing_bablok",
    "ratio_limits",
    "reader_drift",
    "repeatability",
    "share",
    "sloping_limits",
    "spread_of",
    "total_deviation_index",
    "weighted_kappa",
]
