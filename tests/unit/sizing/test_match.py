"""How well a chart's rows are supported: probabilities, compression, depth, what tips it."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from annot.geometry.ellipse import Ellipse
from annot.measurement.cross_section import SectionName, cross_section, slope_of
from annot.measurement.section_views import views_of
from annot.sizing import (
    OUTSIDE,
    ChartRow,
    SizeChart,
    match_rows,
    region_of,
    same_region,
    shown_share,
    size_basis,
    tips_of,
)
from tests.unit.measurement.section_rows import echo_rows, row

OVAL = Ellipse(largest=24.0, smallest=19.0, orientation_deg=20.0)
NAME = SectionName(study="HARBOUR-01", quantity="landing_zone_width", reader="A", modality="US")


def chart_of(*ranges, depth=0.0):
    rows = [
        ChartRow(
            label=f"R{k}",
            nominal_mm=high + 2,
            width_from_mm=low,
            width_to_mm=high,
            least_depth_mm=depth,
        )
        for k, (low, high) in enumerate(ranges)
    ]
    return SizeChart(name="invented", rows=tuple(rows))


def basis_of(rows, *, depths=(), basis="largest"):
    section = cross_section(NAME, views_of(rows), rng=np.random.default_rng(3))
    return size_basis(section, views_of(depths), basis=basis, rng=np.random.default_rng(3))


def test_what_must_be_known_of_a_depth_is_said():
    odd = {"confirmed": False, "overruled": "by hand", "scale_id": ""}
    depths = [row(20.0, quantity="depth", **odd)]
    found = " ".join(basis_of(echo_rows(OVAL), depths=depths).warnings)
    for words in ("not confirmed by a person", "refused and overruled", "which error they share"):
        assert f"depth: some rows {words}" in found or words in found, words
    assert "depth: some rows are not confirmed" in found
    assert not basis_of(echo_rows(OVAL), depths=[row(20.0, quantity="depth")]).warnings


def test_two_widths_1_7_mm_apart_support_one_row_most_and_its_neighbour_by_a_stated_share():
    """An oversize window of 2 to 4 mm on an invented chart; common practice, no source."""
    chart = chart_of((18, 20), (20, 22), (22, 24), (24, 26))
    rows = [row(20.2, view_deg=0.0), row(21.9, view_deg=90.0)]
    found = basis_of(rows, basis="perimeter")
    matches = {one.label: one for one in match_rows(chart, found)}
    assert likeliest(match_rows(chart, found)).label == "R1"
    assert 0.5 < matches["R1"].probability < 0.95
    assert 0.02 < matches["R0"].probability + matches["R2"].probability < 0.5
    low, high = matches["R1"].oversize_mm.low, matches["R1"].oversize_mm.high
    assert low < 24 - 21.0 < high
    assert any("cannot be known" in text for text in found.warnings)


def test_the_widest_of_two_views_is_a_lower_bound_and_not_the_largest_diameter():
    found = basis_of([row(20.2, view_deg=0.0), row(21.9, view_deg=90.0)])
    assert found.width.value > 22.2
    assert found.width.high > 24.5
    assert found.width.low > 20.5


@pytest.mark.parametrize("modality", ["US", "XA"])
@pytest.mark.parametrize("basis", ["largest", "perimeter"])
def test_two_views_hold_the_truth_as_often_as_they_say(modality, basis):
    """150 ellipses as oval as the views leave open, lying any way round, two views 60° apart."""
    rng = np.random.default_rng(11)
    name = replace(NAME, modality=modality)
    held = 0
    for _ in range(150):
        size = rng.uniform(16, 30)
        one = Ellipse(
            largest=size,
            smallest=size * (1 - rng.uniform(0, 0.45)),
            orientation_deg=rng.uniform(0, 180),
        )
        look = one.silhouette if modality == "XA" else one.chord
        rows = [
            row(float(width) + rng.normal(0, 0.4), view_deg=angle, own=0.4, scale_rel=1e-6)
            for angle, width in zip((0.0, 60.0), look([0.0, 60.0]), strict=True)
        ]
        section = cross_section(name, views_of(rows), rng=rng)
        found = size_basis(section, (), basis=basis, rng=rng).width
        true = one.largest if basis == "largest" else one.perimeter_diameter
        held += found.low <= true <= found.high
    assert held / 150 >= 0.88  # fewer happens once in 2,000 at 95 %


def test_probabilities_of_rows_without_overlap_and_outside_add_up_to_one():
    chart = chart_of((18, 20), (20, 22), (23, 25))
    matches = match_rows(chart, basis_of(echo_rows(OVAL)))
    assert sum(one.probability for one in matches) == pytest.approx(1)
    assert [one.label for one in matches[-3:]] == list(OUTSIDE)


def test_overlapping_rows_may_both_hold_a_width():
    chart = chart_of((20, 26), (22, 28))
    matches = match_rows(chart, basis_of(echo_rows(OVAL)))
    assert matches[0].probability + matches[1].probability > 1
    assert sum(one.probability for one in matches[2:]) < 0.01


@pytest.mark.parametrize(
    ("ranges", "where"),
    [([(30, 34)], OUTSIDE[0]), ([(10, 15), (30, 34)], OUTSIDE[1]), ([(10, 15)], OUTSIDE[2])],
)
def test_what_no_row_is_for_is_said(ranges, where):
    chart = chart_of(*ranges)
    found = basis_of(echo_rows(OVAL))
    top = likeliest(match_rows(chart, found))
    assert top.label == where == region_of(chart, found.width.value)
    assert top.outside
    assert top.compression_percent is None
    assert top.probability > 0.99


def test_compression_of_25_on_21_5_mm_is_14_percent():
    """Closed form: 100·(25 − w)/25; 8 to 20 % of 25 mm are 20 to 23 mm."""
    chart = SizeChart(
        name="c",
        rows=(ChartRow(label="25", nominal_mm=25, width_from_mm=20, width_to_mm=23),),
    )
    found = basis_of([row(21.5, view_deg=0.0)])
    [one, *_] = match_rows(chart, found)
    width = found.width.value
    assert one.compression_percent.value == pytest.approx(100 * (25 - width) / 25)
    assert one.compression_percent.u == pytest.approx(100 * found.width.u / 25, rel=0.02)
    assert one.compression_percent.unit == "%"


def test_a_row_needs_its_depth_too():
    chart = chart_of((22, 27), depth=15.0)
    deep, shallow = row(20.0, quantity="depth"), row(10.0, quantity="depth")
    [good, *_] = match_rows(chart, basis_of(echo_rows(OVAL), depths=[deep]))
    [poor, *_] = match_rows(chart, basis_of(echo_rows(OVAL), depths=[shallow]))
    assert good.probability == pytest.approx(good.probability_width)
    assert good.depth_margin_mm.value == pytest.approx(5.0)
    assert poor.probability < 0.01 < poor.probability_width
    [unknown, *_] = match_rows(chart, basis_of(echo_rows(OVAL)))
    assert unknown.depth_margin_mm is None
    assert any("none was measured" in text for text in unknown.warnings)


def test_width_and_depth_under_one_scale_are_wrong_together():
    """The share of both being small is larger than if they were independent: bivariate normal."""
    depth = row(20.0, quantity="depth", own=0.05, scale_rel=0.03)
    found = basis_of(echo_rows(OVAL, own=0.05, scale_rel=0.03), depths=[depth])
    together = float(np.corrcoef(found.widths_mm, found.depths_mm)[0, 1])
    assert together > 0.95
    alone = row(20.0, quantity="depth", own=0.05, scale_rel=0.03, scale_id="other")
    apart = basis_of(echo_rows(OVAL, own=0.05, scale_rel=0.03), depths=[alone])
    assert abs(np.corrcoef(apart.widths_mm, apart.depths_mm)[0, 1]) < 0.05


def test_the_basis_is_the_diameter_that_was_asked_for():
    values = {
        name: basis_of(echo_rows(OVAL), basis=name).width.value
        for name in ("largest", "area", "perimeter")
    }
    assert values["area"] == pytest.approx(OVAL.area_diameter, rel=1e-5)
    assert values["area"] < values["perimeter"] < values["largest"]
    with pytest.raises(KeyError):
        basis_of(echo_rows(OVAL), basis="widest")


def test_depths_that_contradict_each_other_are_named():
    depths = [
        row(24.0, quantity="depth", view_deg=0.0),
        row(18.0, quantity="depth", view_deg=90.0),
    ]
    found = basis_of(echo_rows(OVAL), depths=depths)
    assert any("the depths differ by 6.0 mm" in text for text in found.warnings)
    assert found.depth.value == pytest.approx(21.0)


def test_what_tips_the_choice_is_a_view_or_a_component_with_its_share():
    chart = chart_of((18, 21), (21, 24.05), (24.05, 27))
    found = basis_of(echo_rows(OVAL))
    tips = tips_of(chart, found)
    assert {one.kind for one in tips} == {"view", "component"}
    shares = [one.share for one in tips if one.kind == "component"]
    # each component is moved both ways
    assert sum(shares) / 2 == pytest.approx(1)
    scale = [one for one in tips if one.what == "scale us-1"]
    assert sorted(one.width_mm - found.width.value for one in scale) == pytest.approx(
        [-0.015 * 24, 0.015 * 24], rel=0.02
    )
    up = max(scale, key=lambda one: one.width_mm)
    assert up.tips
    assert up.region == "R2"
    assert up.rows == ("R2",)
    assert up.words == (
        "one standard uncertainty of scale us-1 moves the width to 24.3 mm, which lies in R2"
    )
    assert any(one.what == "US 0° view" for one in tips if one.kind == "view")
    assert tips_of(chart, basis_of([row(20.0, view_deg=0.0)])) == ()


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        (((18, 23.8), (23.5, 24.1), (23.9, 27)), "lies in R0 and R1, which overlap there"),
        (((18, 20), (20, 21)), "is above all rows"),
        (((25, 26), (26, 27)), "is below all rows"),
        (((18, 20), (26, 27)), "lies between two rows"),
    ],
)
def test_where_a_tip_leads_is_said_in_plain_words(rows, words):
    tips = tips_of(chart_of(*rows), basis_of(echo_rows(OVAL)))
    [low] = [one for one in tips if one.what == "scale us-1" and one.width_mm < 24]
    assert low.width_mm == pytest.approx(23.64, abs=0.05)
    still = "" if low.tips else "still "
    assert low.words.endswith(f"which {still}{words}")
    away = [one for one in tips if one.kind == "view"]
    assert all(one.words.startswith("without the US ") for one in away)


def likeliest(matches):
    return max(matches, key=lambda one: one.probability)


def test_two_readers_agree_on_rows_as_often_as_their_widths_do():
    chart = chart_of((18, 20), (20, 22), (22, 26))
    rng = np.random.default_rng(1)
    first, second = rng.normal(21, 0.5, 50_000), rng.normal(21, 0.5, 50_000)
    inside = math.erf(1 / 0.5 / math.sqrt(2))
    tail = (1 - inside) / 2
    expected = inside**2 + 2 * tail**2
    assert same_region(chart, first, second) == pytest.approx(expected, abs=0.005)
    assert same_region(chart, first, first) == 1.0


@settings(max_examples=20)
@given(st.floats(15.0, 35.0))
def test_every_width_is_in_a_row_or_outside_all(width):
    chart = chart_of((18, 20), (20, 22), (23, 25))
    held = [one.label for one in chart.rows if bool(one.holds_width(width))]
    assert (region_of(chart, width) in OUTSIDE) == (not held)


@pytest.mark.parametrize(
    ("share", "words"), [(0.0, "< 1 %"), (0.004, "< 1 %"), (0.25, "25 %"), (1.0, "> 99 %")]
)
def test_a_probability_never_claims_certainty(share, words):
    assert shown_share(share) == words


def test_width_and_depth_that_err_together_are_counted_together():
    """Drawn alike, half of each fits and so does half of both; a product would say a quarter."""
    widths = np.linspace(20.0, 22.0, 10_001)
    found = replace(
        basis_of(echo_rows(OVAL), depths=[row(20.0, quantity="depth")]),
        widths_mm=widths,
        depths_mm=widths - 1.0,
    )
    [match] = [one for one in match_rows(chart_of((21, 25), depth=20.0), found) if not one.outside]
    assert match.probability_width == pytest.approx(0.5, abs=0.001)
    assert match.probability == pytest.approx(0.5, abs=0.001)


def test_the_errors_moved_one_by_one_add_up_to_the_first_order_width():
    """The squares of all moves are slope · covariance · slope: each error by its own u, once."""
    found = basis_of(echo_rows(OVAL))
    slope = slope_of(found.section.fit, "largest")
    moves = [
        one.width_mm - found.width.value
        for one in tips_of(chart_of((18, 20), (20, 22)), found)
        if one.kind == "component" and one.width_mm > found.width.value
    ]
    assert sum(one**2 for one in moves) == pytest.approx(
        float(slope @ found.section.fit.covariance @ slope), rel=1e-6
    )
