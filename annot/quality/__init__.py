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
from annot.quality.recorded_limits import (
    CHARTS,
    RecordedLimits,
    drifted_baseline,
    from_body,
    monitored,
    set_limits,
)
from annot.quality.run_length import (
    run_length_of_limits,
    run_length_of_sums,
    run_length_of_weighted_means,
)
from annot.quality.run_length_from_baseline import (
    alarm_probability,
    run_length_from_baseline,
    run_lengths_from_baseline,
)
from annot.quality.run_length_of_rules import run_length_of_rules
from annot.quality.simulated_run_length import simulated_run_lengths
from annot.quality.slow_drift import cumulative_sums_chart, weighted_means_chart

__all__ = [
    "CHARTS",
    "ControlChart",
    "EnScore",
    "GaugeStudy",
    "Limits",
    "RecordedLimits",
    "Signal",
    "alarm_probability",
    "cumulative_sums_chart",
    "drifted_baseline",
    "en_number",
    "en_score",
    "from_body",
    "gauge_study",
    "gauge_study_of_ranges",
    "individuals_chart",
    "limits_of_individuals",
    "limits_of_moving_range",
    "limits_of_subgroups",
    "monitored",
    "moving_range_chart",
    "run_length_from_baseline",
    "run_length_of_limits",
    "run_length_of_rules",
    "run_length_of_sums",
    "run_length_of_weighted_means",
    "run_lengths_from_baseline",
    "set_limits",
    "simulated_run_lengths",
    "stated_limits",
    "subgroup_charts",
    "weighted_means_chart",
]
