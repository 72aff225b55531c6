"""Counting: bias, scatter, coverage with exact limits, and verdicts that can fail."""

import math
from dataclasses import replace

import numpy as np
import pytest

from annot.tasks.rehearse import SCALE_KINDS, Trial, reading_study, scale_study, tally
from annot.tasks.rehearse.reading_study import READING
from annot.tasks.rehearse.report import Cell, cells_bar, cells_of, coverage_bar, refusals_of
from annot.tasks.rehearse.tally import Tally, binomial_limits, grouped


def trials(count, *, share=1.0, bias=0.0, arm="ends jittered", seed=1, **labels):
    """Make trials whose errors are `share` times as wide as their stated uncertainty of 1 %."""
    rng = np.random.default_rng(seed)
    made = []
    for case in range(count):
        value = 20.0 * (1 + bias + 0.01 * share * rng.normal())
        made.append(
            Trial(
                case=case,
                arm=arm,
                labels={"quantity": "width", "modality": "echo", **labels},
                unit="mm",
                true=20.0,
                value=value,
                u=0.2,
                low=value - 0.392,
                high=value + 0.392,
                beside={"bound_rel": 0.01},
            )
        )
    return made


@pytest.mark.parametrize(("held", "count"), [(0, 5), (5, 5), (19, 20), (190, 200), (1860, 2000)])
def test_binomial_limits_are_those_of_another_library(held, count):
    # oracle: statsmodels 0.14 or newer, method "beta" is Clopper and Pearson's
    proportion = pytest.importorskip("statsmodels.stats.proportion")
    expected = proportion.proportion_confint(held, count, alpha=0.05, method="beta")
    assert binomial_limits(held, count) == pytest.approx(np.nan_to_num(expected), abs=1e-9)


def test_binomial_limits_of_nothing_seen_are_the_rule_of_the_handbook():
    # none of n: upper limit 1 − (α/2)^(1/n), the closed form of Clopper and Pearson, from memory
    assert binomial_limits(0, 30) == pytest.approx((0.0, 1 - 0.025 ** (1 / 30)))


def test_a_tally_counts_bias_scatter_and_what_holds():
    made = trials(4)
    values = [19.8, 20.2, 20.4, 20.0]
    own = [
        replace(one, value=value, low=value - 0.3, high=value + 0.3)
        for one, value in zip(made, values, strict=True)
    ]
    refused = replace(made[0], value=None, u=None, low=None, high=None, refusal="no")
    found = tally([*own, refused])
    errors = np.array(values) / 20 - 1
    assert found.trials == 5
    assert (found.refused, found.answered) == (1, 4)
    assert found.bias_rel == pytest.approx(errors.mean())
    assert found.scatter_rel == pytest.approx(errors.std(ddof=1))
    assert found.u_bias_rel == pytest.approx(errors.std(ddof=1) / 2)
    assert (found.held, found.coverage) == (3, 0.75)


def test_refusals_alone_give_no_figure():
    refused = Trial(case=0, arm="a", labels={}, unit="px", true=1.0, refusal="9.5 px is too short")
    found = tally([refused, refused])
    assert (found.trials, found.refused, found.coverage, found.bias_rel) == (2, 2, None, None)
    again = replace(refused, case=1, refusal="12 px is too short")
    # two numbers of one case are refused once
    assert refusals_of([refused, refused, again]) == {"… px is too short": 2}


def test_one_trial_has_no_scatter():
    assert tally(trials(1)).scatter_rel is None


def test_a_trial_without_the_label_is_in_no_cell():
    cells = grouped([*trials(2, size="6 px"), *trials(1)], ("size",))
    assert {key: len(own) for key, own in cells.items()} == {("6 px",): 2}


def test_cells_stand_in_the_order_of_their_numbers():
    made = [*trials(1, size="13 px"), *trials(1, size="6 px")]
    assert [one.words for one in cells_of(made, [("size",)])] == ["6 px", "13 px"]


# ---------------------------------------------------------------- verdicts
@pytest.mark.parametrize(
    ("share", "verdict"), [(1.0, "met"), (1.4, "MISSED"), (0.5, "MISSED")], ids=str
)
def test_an_uncertainty_that_is_too_small_or_too_large_misses_the_bar(share, verdict):
    assert coverage_bar(tally(trials(2000, share=share)), what="x").verdict == verdict


def test_too_few_cases_cannot_be_told():
    assert cells_bar(cells_of(trials(30), [()]), what="x").verdict == "cannot be told"
    assert coverage_bar(Tally(trials=0, refused=0), what="x").verdict == "cannot be told"
    assert coverage_bar(tally(trials(399)), what="x").verdict == "cannot be told"
    assert coverage_bar(tally(trials(400)), what="x").met is not None


def cell(held, count):
    low, high = binomial_limits(held, count)
    found = Tally(
        trials=count,
        refused=0,
        held=held,
        coverage=held / count,
        coverage_low=low,
        coverage_high=high,
    )
    return Cell(arm="a", labels={"size": "6 px"}, tally=found)


@pytest.mark.parametrize(("held", "met"), [(380, True), (352, True), (340, False)])
def test_a_large_cell_fails_only_beyond_chance(held, met):
    # 352 of 400 is 88 %, whose exact upper limit is 91 %: chance may do that
    assert cells_bar([cell(held, 400), cell(10, 399)], what="x").met is met


def test_a_reading_study_judges_the_jittered_arm_alone():
    made = [*trials(1000), *trials(1000, arm="ends found", bias=0.2)]
    report = reading_study(READING, made, cases=1000, seed=1)
    assert [bar.verdict for bar in report.bars] == ["met", "met"]
    missed = reading_study(READING, trials(1000, bias=0.02), cases=1000, seed=1)
    assert [bar.verdict for bar in missed.bars] == ["MISSED", "MISSED"]


CELL = {"quantity": "size, fit alone", "size": "6 px", "blur": "0.1", "contrast": "30"}


@pytest.mark.parametrize(
    ("share", "bias", "verdicts"),
    [
        (1.0, 0.0, ["met", "met"]),
        (1.0, 0.012, ["MISSED", "met"]),
        (2.2, 0.0, ["met", "MISSED"]),
    ],
    ids=["honest", "biased", "wide"],
)
def test_a_scale_study_sets_bias_and_scatter_against_the_bound(share, bias, verdicts):
    made = trials(400, share=share, bias=bias, arm="as modelled", **CELL)
    report = scale_study(SCALE_KINDS["catheter"], made, cases=400, seed=1)
    assert [bar.verdict for bar in report.bars[-2:]] == verdicts


def test_mismatches_are_not_judged_with_the_rest():
    made = trials(400, arm="as modelled", **CELL)
    off = trials(400, arm="glare", bias=0.5, **CELL)
    alone = scale_study(SCALE_KINDS["catheter"], made, cases=400, seed=1)
    both = scale_study(SCALE_KINDS["catheter"], [*made, *off], cases=400, seed=1)
    assert both.bars == alone.bars
    assert any(one.arm == "glare" for one in both.cells)


def test_a_report_is_plain_json_with_every_verdict():
    import json

    report = reading_study(READING, trials(50), cases=50, seed=1)
    answer = json.loads(json.dumps(report.as_dict(), allow_nan=False))
    assert {bar["verdict"] for bar in answer["bars"]} <= {"met", "MISSED", "cannot be told"}
    assert answer["cells"][0]["answered"] == 50
    assert math.isclose(answer["cells"][0]["coverage"], report.cells[0].tally.coverage)
    assert "stated distributions" in answer["caution"]
