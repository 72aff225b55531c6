"""Statistics of checks: charts, run lengths, gauge studies. Arrays in, frozen verdicts out."""

from annot.quality.control_chart import (
    ControlChart,
    Limits,
    Signal,
    individuals_chart,
    limits_of_individuals,
    limits_of_moving_range,
    limits_of_subgroups,
    moving_range_chart,
    stated_limits,
    subgroup_charts,
)
from annot.quality.en_score import EnScore, en_number, en_score
from annot.quality.gauge_study import GaugeStudy, gauge_study, gauge_study_of_ranges
from annot.quality.run_length import (
    run_length_of_limits,
    run_length_of_sums,
    run_length_of_weighted_means,
)
from annot.quality.slow_drift import cumulative_sums_chart, weighted_means_chart

__all__ = [
    "ControlChart",
    "EnScore",
    "GaugeStudy",
    "Limits",
    "Signal",
    "cumulative_sums_chart",
    "en_number",
    "en_score",
    "gauge_study",
    "gauge_study_of_ranges",
    "individuals_chart",
    "limits_of_individuals",
    "limits_of_moving_range",
    "limits_of_subgroups",
    "moving_range_chart",
    "run_length_of_limits",
    "run_length_of_sums",
    "run_length_of_weighted_means",
    "stated_limits",
    "subgroup_charts",
    "weighted_means_chart",
]
