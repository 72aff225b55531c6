"""Published tables of reader and method comparison, through this project's own arithmetic.

Data tables lie in `data/agreement.json` with their sources. Beside each figure: "memory" = the
printed figure is recalled; "seen" = it was seen in an independent public source; "run" = the
unrounded figure was computed elsewhere with other software.
"""

import json
from pathlib import Path

import numpy as np
import pytest

from annot.agreement import (
    concordance,
    coverage_probability,
    deming,
    intraclass_correlations,
    limits_of_agreement,
    limits_of_varying_pairs,
    limits_with_replicates,
    mean_squares,
    passing_bablok,
    ratio_limits,
    repeatability,
    sloping_limits,
)
from annot.uncertainty.variance_components import crossed_components, likely_components

TABLES = json.loads((Path(__file__).parent / "data" / "agreement.json").read_text())


def table(name):
    return TABLES[name]["inputs"]


@pytest.fixture(scope="module")
def flow():
    return table("ba1986-pefr")


def within(estimate, low, high, *, places):
    assert round(estimate.low, places) == pytest.approx(low, abs=0.6 * 10**-places)
    assert round(estimate.high, places) == pytest.approx(high, abs=0.6 * 10**-places)


def test_peak_flow_bias_and_limits_with_both_multipliers(flow):
    """Bland & Altman 1986: printed −2.1, 38.8, −79.7 to 75.5 with 2 SD (memory); run beside."""
    two = limits_of_agreement(flow["wright1"], flow["mini1"], multiplier=2)
    assert two.bias.value == pytest.approx(-2.117647, abs=1e-6)
    assert two.sd == pytest.approx(38.7651, abs=1e-4)
    assert (two.lower.value, two.upper.value) == pytest.approx((-79.6479, 75.4126), abs=1e-4)
    within(two.bias, -22.0, 17.8, places=1)  # printed, memory
    usual = limits_of_agreement(flow["wright1"], flow["mini1"])
    assert (usual.lower.value, usual.upper.value) == pytest.approx((-78.0973, 73.8620), abs=1e-4)


def test_peak_flow_exact_interval_of_each_limit(flow):
    """Noncentral t for each limit on its own (run with scipy.stats, other code)."""
    limits = limits_of_agreement(flow["wright1"], flow["mini1"])
    assert (limits.lower.low, limits.lower.high) == pytest.approx((-124.163, -53.096), abs=1e-3)
    assert (limits.upper.low, limits.upper.high) == pytest.approx((48.861, 119.928), abs=1e-3)


def test_peak_flow_repeats_and_their_variation(flow):
    """s_w 15.3067 and 19.9108; variation 3.4996 % and 3.5646 % (run)."""
    large = repeatability(list(zip(flow["wright1"], flow["wright2"], strict=True)))
    small = repeatability(list(zip(flow["mini1"], flow["mini2"], strict=True)), multiplier=2)
    assert large.within_sd.value == pytest.approx(15.306669, abs=1e-6)
    assert small.within_sd.value == pytest.approx(19.910831, abs=1e-6)
    # printed 56.4 from rounded intermediates (memory); 56.3163 run
    assert small.coefficient.value == pytest.approx(56.3163, abs=1e-4)
    assert large.variation == pytest.approx(0.034995587, abs=1e-9)
    assert large.log_variation == pytest.approx(0.035645653, abs=1e-9)


def test_peak_flow_concordance(flow):
    """0.9427 with divisor n; Pearson printed 0.94 (memory), 0.943279 run."""
    found = concordance(flow["wright1"], flow["mini1"])
    assert found.coefficient.value == pytest.approx(0.9427424314, abs=1e-9)
    assert found.precision == pytest.approx(0.943279446890946, abs=1e-9)


def test_blood_pressure_with_three_replicates():
    """Bland & Altman 1999 5.1: printed 358.493 → 438.859, 20.95, −56.68 to 25.44 (memory)."""
    pressure = table("ba1999-sbp")
    limits = limits_with_replicates(pressure["J"], pressure["S"])
    assert limits.bias.value == pytest.approx(-15.619608, abs=1e-6)
    assert limits.sd == pytest.approx(20.948949, abs=1e-6)
    assert (limits.lower.value, limits.upper.value) == pytest.approx((-56.6795, 25.4403), abs=1e-4)
    assert limits.lower.u**2 == pytest.approx(11.009022, abs=1e-6)  # run
    # large samples, ± 1.96 standard errors: 18.94 to 31.94 (run); 85 cases come close to it
    assert limits.upper.low == pytest.approx(18.94, abs=1.0)
    assert limits.upper.high == pytest.approx(31.94, abs=1.0)
    for reader, printed in (("J", 37.408), ("R", 37.980), ("S", 83.141)):  # memory
        assert repeatability(pressure[reader]).within_sd.value ** 2 == pytest.approx(
            printed, abs=5e-4
        )


def test_blood_pressure_first_readings():
    """Printed bias −16.29, SD 19.61, limits −54.7 to 22.1, SE of a limit 3.64 (memory)."""
    pressure = table("ba1999-sbp")
    first = limits_of_agreement(np.array(pressure["J"])[:, 0], np.array(pressure["S"])[:, 0])
    assert first.bias.value == pytest.approx(-16.2941, abs=1e-4)
    assert first.sd == pytest.approx(19.6110, abs=1e-4)
    assert first.lower.u == pytest.approx(3.6495, abs=1e-4)
    within(first.lower, -62.96, -48.38, places=2)  # exact interval, run


def test_plasma_volume_ratio():
    """Bland & Altman 1999 3.1: logs 0.099, 0.056 to 0.141; ratio 1.06 to 1.15 (memory)."""
    volume = table("ba1999-plvol")
    ratio = ratio_limits(volume["nadler"], volume["hurley"])
    assert ratio.bias.value == pytest.approx(1.1039557, abs=1e-6)
    assert ratio.lower.value == pytest.approx(1.0579851, abs=1e-6)
    assert ratio.upper.value == pytest.approx(1.1519239, abs=1e-6)


def test_fat_in_milk_sloping_limits():
    """Bland & Altman 1999 3.2: D = 0.079 − 0.0283 A, residual SD 0.08033 (memory)."""
    milk = table("ba1999-milk")
    line = sloping_limits(milk["trig"], milk["gerber"])
    assert line.intercept.value == pytest.approx(0.07904017, abs=1e-8)
    assert line.slope.value == pytest.approx(-0.02827097, abs=1e-8)
    assert line.residual_sd == pytest.approx(0.08033036, abs=1e-8)
    assert line.slope.u == pytest.approx(0.00944454, abs=1e-8)
    assert line.spread_slope.value == pytest.approx(0.00516602, abs=1e-8)
    assert not line.spread_changes
    bias, low, high = line.at([2.0])
    assert high[0] - bias[0] == pytest.approx(1.96 * line.residual_sd)
    assert bias[0] - low[0] == pytest.approx(1.96 * line.residual_sd)


def cardiac():
    data = table("ba1999-cardiac")
    cases = sorted(set(data["subject"]))

    def by_case(name):
        return [
            [v for v, s in zip(data[name], data["subject"], strict=True) if s == case]
            for case in cases
        ]

    return data, by_case("rv"), by_case("ic")


def test_cardiac_output_unequal_replicates():
    """Bland & Altman 1999 5.2: 0.7092, 0.9127 → 1.1064, SD 1.0518 (memory)."""
    _, rv, ic = cardiac()
    limits = limits_with_replicates(rv, ic)
    assert limits.bias.value == pytest.approx(0.7092361, abs=1e-7)
    assert limits.sd == pytest.approx(1.0518506, abs=1e-7)
    assert (limits.lower.value, limits.upper.value) == pytest.approx(
        (-1.352391, 2.770863), abs=1e-6
    )


def test_cardiac_output_pairs_of_a_moving_value():
    """Bland & Altman 1999 5.3: 0.6021, SD 0.9906 (memory); limits run."""
    data, _, _ = cardiac()
    limits = limits_of_varying_pairs(data["subject"], data["rv"], data["ic"])
    assert limits.bias.value == pytest.approx(0.6021667, abs=1e-7)
    assert limits.sd == pytest.approx(0.9906241, abs=1e-7)
    assert (limits.lower.value, limits.upper.value) == pytest.approx(
        (-1.339457, 2.543790), abs=1e-6
    )
    assert limits.lower.low < limits.lower.value < limits.lower.high


def test_thirty_pairs_of_a_tutorial():
    """Giavarina 2015: printed −27.17, 34.81, −95.4 to 41.1 (memory; data seen)."""
    pairs = table("giavarina2015")
    limits = limits_of_agreement(pairs["a"], pairs["b"])
    assert limits.bias.value == pytest.approx(-27.1667, abs=1e-4)
    assert limits.sd == pytest.approx(34.8059, abs=1e-4)
    assert (limits.lower.value, limits.upper.value) == pytest.approx((-95.3863, 41.0530), abs=1e-4)
    within(limits.bias, -40.2, -14.2, places=1)


SHROUT_FLEISS = {  # printed to two digits (memory); value and interval run
    "1,1": (0.165742, -0.13293, 0.72256),
    "2,1": (0.289764, 0.01879, 0.76108),
    "3,1": (0.714841, 0.34246, 0.94586),
    "1,k": (0.442797, -0.88444, 0.91242),
    "2,k": (0.620051, 0.07114, 0.92723),
    "3,k": (0.909316, 0.67567, 0.98589),
}


@pytest.mark.parametrize("form", SHROUT_FLEISS)
def test_six_intraclass_correlations(form):
    """Shrout & Fleiss 1979: .17 .29 .71 .44 .62 .91."""
    value, low, high = SHROUT_FLEISS[form]
    found = intraclass_correlations(table("shrout-fleiss")["table"])[form]
    assert found.value == pytest.approx(value, abs=1e-6)
    assert (found.low, found.high) == pytest.approx((low, high), abs=2e-5)


def test_mean_squares_of_six_targets_and_four_judges():
    """Printed 11.24, 6.26, 32.49, 1.02 (memory)."""
    squares = mean_squares(table("shrout-fleiss")["table"])
    found = (
        squares.between_cases,
        squares.within_cases,
        squares.between_readers,
        squares.residual,
    )
    assert found == pytest.approx((11.241667, 6.263889, 32.486111, 1.019444), abs=1e-6)


@pytest.mark.parametrize(
    ("name", "intercept", "slope", "bounds", "allowed"),
    [
        # unit test values of a public R package (seen); its bounds average slopes as angles
        ("pb-creatinine", -0.11717286443298, 1.08800890272179, (1.0, 1.17300462437155), 1e-4),
        ("pb-sen", 6.0, 4.0, (26 / 7, 35 / 8), 1e-12),  # seen
        ("pb-30", -0.15, 1.0, (0.9876352395672334, 1.0123152709359606), 1e-9),  # seen
        ("pb-noise6", 1 / 8, 1.05, None, 1e-12),  # seen
    ],
)
def test_passing_and_bablok(name, intercept, slope, bounds, allowed):
    data = table(name)
    line = passing_bablok(data["x"], data["y"], probability=data.get("confidence", 0.95))
    assert line.slope.value == pytest.approx(slope, abs=max(allowed / 1e4, 1e-12))
    assert line.intercept.value == pytest.approx(intercept, abs=max(allowed / 1e4, 1e-12))
    if bounds is not None:
        assert (line.slope.low, line.slope.high) == pytest.approx(bounds, abs=allowed)


def test_deming_with_a_known_ratio_and_jackknife_errors():
    """−0.0897 (1.7220), 1.0012 (0.1872): a handbook program's example (seen)."""
    data = table("deming-10")
    line = deming(data["x"], data["y"], variance_ratio=data["var_y"] / data["var_x"])
    assert line.intercept.value == pytest.approx(-0.08974490, abs=1e-8)
    assert line.slope.value == pytest.approx(1.00119423, abs=1e-8)
    assert (line.intercept.u, line.slope.u) == pytest.approx((1.72198741, 0.18717705), abs=1e-8)


@pytest.fixture(scope="module")
def gauge():
    return np.array(table("grr-10x3x3")["appraiser_part_trial"]).transpose(1, 0, 2)


def test_gauge_study_by_analysis_of_variance(gauge):
    """Printed 0.03997, 0.05146, 0.09143, 1.08645, 1.17788, F 0.434, p 0.974 (seen)."""
    found = crossed_components(gauge)
    assert found.pooled
    assert found.interaction_p == pytest.approx(0.9741064, abs=1e-6)
    assert found.residual == pytest.approx(0.0399733, abs=1e-7)
    assert found.reader == pytest.approx(0.0514553, abs=1e-7)
    assert found.between_readers + found.residual == pytest.approx(0.0914285, abs=1e-7)
    assert found.case == pytest.approx(1.0864466, abs=1e-7)
    assert found.total == pytest.approx(1.1778751, abs=1e-7)


def test_restricted_likelihood_finds_the_same_components(gauge):
    """In a balanced table with positive components both methods are one."""
    part, appraiser, _ = np.indices(gauge.shape)
    found = likely_components(
        gauge.ravel(), {"part": part.ravel().tolist(), "appraiser": appraiser.ravel().tolist()}
    )
    assert found.by_factor["part"].sd ** 2 == pytest.approx(1.0864466, rel=1e-4)
    assert found.by_factor["appraiser"].sd ** 2 == pytest.approx(0.0514553, rel=1e-4)
    assert found.residual.sd**2 == pytest.approx(0.0399733, rel=1e-4)


# A made-up pair of readers; figures computed once with other code.
FIRST = [18.2, 21.5, 24.0, 19.8, 26.3, 22.7, 20.4, 28.1, 23.5, 25.0]
SECOND = [19.0, 21.1, 25.2, 20.9, 26.0, 24.1, 20.2, 29.6, 23.9, 26.2]


def test_a_made_up_pair_of_readers():
    limits = limits_of_agreement(FIRST, SECOND)
    assert limits.bias.value == pytest.approx(-0.670)
    assert limits.sd == pytest.approx(0.7379, abs=5e-5)
    assert (limits.lower.value, limits.upper.value) == pytest.approx((-2.116, 0.776), abs=5e-4)
    pair = repeatability(list(zip(FIRST, SECOND, strict=True)))
    assert pair.within_sd.value == pytest.approx(0.6852, abs=5e-5)
    assert pair.coefficient.value == pytest.approx(1.899, abs=5e-4)
    forms = intraclass_correlations(np.column_stack([FIRST, SECOND]))
    assert forms["2,1"].value == pytest.approx(0.9545, abs=5e-5)
    assert forms["3,1"].value == pytest.approx(0.9731, abs=5e-5)
    assert coverage_probability(FIRST, SECOND, within=1.0).value == 0.5
    assert coverage_probability(FIRST, SECOND, within=1.5).value == 1.0
