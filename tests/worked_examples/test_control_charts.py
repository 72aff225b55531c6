"""Handbook charts and gauge studies, through this project's own arithmetic.

Data lie in `data/control_charts.json` with their sources. Beside each: "seen" = the printed
figure was seen in an independent public source; "memory" = recalled; "run" = computed elsewhere.
"""

import json
from pathlib import Path

import numpy as np
import pytest

from annot.quality import (
    cumulative_sums_chart,
    gauge_study,
    gauge_study_of_ranges,
    individuals_chart,
    limits_of_individuals,
    run_length_of_limits,
    run_length_of_sums,
    run_length_of_weighted_means,
    stated_limits,
    weighted_means_chart,
)
from annot.quality.chart_constants import c4, d2, d3

DATA = Path(__file__).parent / "data"
TABLES = json.loads((DATA / "control_charts.json").read_text())
GAUGE = json.loads((DATA / "agreement.json").read_text())["grr-10x3x3"]["inputs"]


@pytest.mark.parametrize(
    "row", TABLES["spc-constants"]["expected"]["rows"], ids=lambda r: str(r[0])
)
def test_constants_of_subgroups(row):
    """NIST e-Handbook 6.3.2.1 (seen), n = 2 to 10; A2 to D4 follow from the three."""
    n = row[0]
    found = [c4(n), d2(n), d3(n)]
    found += [3 / (d2(n) * np.sqrt(n)), 3 / (c4(n) * np.sqrt(n))]
    spread, ratio = 3 * np.sqrt(1 - c4(n) ** 2) / c4(n), 3 * d3(n) / d2(n)
    found += [max(1 - spread, 0), 1 + spread, max(1 - ratio, 0), 1 + ratio]
    assert found == pytest.approx(row[1:], abs=1.1e-5)


def test_individuals_of_a_flow():
    """NIST e-Handbook 6.3.2.2: 50.81, 45.8159 to 55.8041 (seen), with d2 rounded to 1.128."""
    limits = limits_of_individuals(TABLES["nist-6.3.2.2"]["inputs"]["x"])
    assert limits.centre == pytest.approx(50.81)
    assert limits.sigma * d2(2) == pytest.approx(1.8778, abs=5e-5)
    assert limits.upper == pytest.approx(55.8041, abs=0.002)
    assert limits.lower == pytest.approx(45.8159, abs=0.002)
    assert individuals_chart(TABLES["nist-6.3.2.2"]["inputs"]["x"], limits).in_control


def test_cumulative_sums_of_a_target():
    """NIST e-Handbook 6.3.2.3: first signal at group 14 (data from memory, run)."""
    case = TABLES["nist-6.3.2.3"]
    upper, lower = cumulative_sums_chart(
        case["inputs"]["x"], target=325, allowance=0.3175, decision=4.1959
    )
    assert upper.points == pytest.approx(case["expected"]["s_high"], abs=1e-9)
    assert lower.points == pytest.approx(case["expected"]["s_low"], abs=1e-9)
    assert upper.signals[0].point + 1 == 14
    assert lower.in_control


def test_weighted_means_of_a_process():
    """NIST e-Handbook 6.3.2.4: 47.4115 to 52.5884 and twenty points (seen)."""
    case = TABLES["nist-6.3.2.4"]
    chart = weighted_means_chart(
        case["inputs"]["x"], stated_limits(centre=50, sigma=2.0539), weight=0.3, settled=True
    )
    assert chart.points == pytest.approx(case["expected"]["ewma"], abs=0.0051)
    assert chart.upper[0] == pytest.approx(52.5884, abs=5e-5)
    assert chart.lower[0] == pytest.approx(47.4115, abs=1e-4)


def test_both_charts_on_one_series_of_thirty():
    """A textbook's tables 9.1 and 9.10 (seen): both speak first at point 29."""
    case = TABLES["montgomery-9.1"]
    x = case["inputs"]["x"]
    upper, lower = cumulative_sums_chart(x, target=10, allowance=0.5, decision=5)
    assert upper.points == pytest.approx(case["expected"]["c_plus"], abs=0.0051)
    assert lower.points == pytest.approx(case["expected"]["c_minus"], abs=0.0051)
    assert upper.signals[0].point + 1 == 29
    means = weighted_means_chart(x, stated_limits(centre=10, sigma=1), weight=0.1, width=2.7)
    assert means.points == pytest.approx(case["expected"]["ewma"], abs=0.0051)
    assert means.signals[0].point + 1 == 29


@pytest.mark.parametrize(
    ("found", "printed", "allowed"),
    [
        (lambda: run_length_of_limits(0), 370.4, 0.05),
        (lambda: run_length_of_limits(1), 43.9, 0.05),
        (lambda: run_length_of_sums(0, decision=4), 168, 0.5),
        (lambda: run_length_of_sums(1, decision=4), 8.38, 0.005),
        (lambda: run_length_of_sums(0, decision=5), 465, 0.5),
        (lambda: run_length_of_sums(1, decision=5), 10.4, 0.05),
        (lambda: run_length_of_weighted_means(0, weight=0.1, width=2.814), 500, 1.0),
        (lambda: run_length_of_weighted_means(1, weight=0.1, width=2.814), 10.3, 0.05),
        (lambda: run_length_of_weighted_means(0, weight=0.4, width=3.054), 500, 1.0),
    ],
)
def test_mean_run_lengths_of_textbook_tables(found, printed, allowed):
    """Printed run lengths of the three charts (memory)."""
    assert found() == pytest.approx(printed, abs=allowed)


def test_gauge_study_by_analysis_of_variance():
    """Printed 0.30237, 27.86 % and 4 classes (seen)."""
    study = gauge_study(np.array(GAUGE["appraiser_part_trial"]).transpose(1, 0, 2))
    assert study.gauge == pytest.approx(0.30237, abs=5e-6)
    assert study.percent == pytest.approx(27.86, abs=0.005)
    assert int(study.distinct_classes) == 4


def test_gauge_study_by_average_ranges():
    """Printed 0.20188, 0.22963, 0.30575, 1.10456, 1.14610, 26.68 %, 5 classes (memory)."""
    study = gauge_study_of_ranges(np.array(GAUGE["appraiser_part_trial"]).transpose(1, 0, 2))
    found = (study.repeatability, study.reproducibility, study.gauge, study.objects, study.total)
    assert found == pytest.approx((0.20188, 0.22963, 0.30575, 1.10456, 1.14610), rel=3e-4)
    assert study.percent == pytest.approx(26.68, abs=0.02)
    assert int(study.distinct_classes) == 5
