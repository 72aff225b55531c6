"""Cross-sections against one another: shared errors cancel, spread shows, geometry is expected."""

import numpy as np
import pytest
from statsmodels.stats.meta_analysis import combine_effects

from annot.geometry.chords import ellipse_of
from annot.geometry.ellipse import Ellipse
from annot.measurement.cross_section import SectionName, cross_section, fit_views
from annot.measurement.section_consensus import (
    between_variance,
    combination_of,
    pairs_of,
    section_covariance,
    weighted_mean,
)
from annot.measurement.section_difference import modality_difference
from annot.measurement.section_outline import outline_checks, outline_diameter
from annot.measurement.section_views import views_of
from tests.unit.measurement.section_rows import echo_rows, row, xray_rows

OVAL = Ellipse(largest=25.0, smallest=18.0, orientation_deg=30.0)


def section_of(rows, reader="A", modality="US"):
    name = SectionName(
        study="HARBOUR-01", quantity="landing_zone_width", reader=reader, modality=modality
    )
    return cross_section(name, views_of(rows), rng=np.random.default_rng(2))


def test_two_readers_under_one_scale_differ_with_less_uncertainty_than_each_has():
    first = section_of(echo_rows(OVAL, scale_rel=0.04, noise=(0.2, 0, -0.1, 0.3)))
    second = section_of(echo_rows(OVAL, scale_rel=0.04), reader="B")
    [pair] = pairs_of([first, second], "area_diameter")
    apart = section_of(echo_rows(OVAL, scale_rel=0.04, scale_id="us-2"), reader="B")
    [loose] = pairs_of([first, apart], "area_diameter")
    # own errors of 0.4 mm over four views leave 0.2 each; a scale of 4 % is 0.85 mm
    assert pair.difference.u == pytest.approx(np.sqrt(2) * 0.2, rel=0.1)
    assert loose.difference.u > 1.1
    assert pair.e_n == pytest.approx(pair.difference.value / (2 * pair.difference.u))


def test_covariance_between_sections_agrees_with_drawn_studies():
    rng = np.random.default_rng(5)
    diameters = []
    for _ in range(600):
        scale = 1 + 0.03 * rng.standard_normal()
        both = []
        for _reader in "AB":
            rows = echo_rows(OVAL, noise=rng.normal(0, 0.4, 4), scale_rel=0.03)
            moved = [row(one.value * scale, view_deg=one.view_deg, scale_rel=0.03) for one in rows]
            both.append(ellipse_of(fit_views(views_of(moved)).parameters).area_diameter)
        diameters.append(both)
    sections = [section_of(echo_rows(OVAL, scale_rel=0.03), reader) for reader in "AB"]
    stated = section_covariance(sections, "area_diameter")
    seen = np.cov(np.array(diameters).T)
    # a variance from 600 studies is known to 6 % (one standard deviation)
    assert stated == pytest.approx(seen, rel=0.2)


def test_spread_between_parts_agrees_with_an_independent_library():
    """Mandel and Paule's iteration as in statsmodels' combine_effects."""
    values, variances = np.array([22.1, 23.9, 20.8, 22.6]), np.array([0.3, 0.5, 0.2, 0.4])
    theirs = combine_effects(values, variances, method_re="iterated", use_t=False)
    between = between_variance(values, np.diag(variances))
    mean, variance, _ = weighted_mean(values, np.diag(variances + between))
    assert between == pytest.approx(theirs.tau2, rel=1e-4)
    assert mean == pytest.approx(theirs.mean_effect_re, rel=1e-6)
    assert np.sqrt(variance) == pytest.approx(theirs.sd_eff_w_re, rel=1e-4)
    plain, own, chi2 = weighted_mean(values, np.diag(variances))
    assert plain == pytest.approx(theirs.mean_effect_fe)
    assert np.sqrt(own) == pytest.approx(theirs.sd_eff_w_fe)
    assert chi2 == pytest.approx(theirs.q)


def test_parts_that_agree_need_no_spread():
    assert between_variance([20.0, 20.1], np.diag([0.5, 0.5])) == 0.0


def test_parts_that_disagree_show_in_the_ratio_and_widen_the_mean():
    sections = [
        section_of(echo_rows(OVAL)),
        section_of(echo_rows(OVAL, scale_id="us-2", noise=(4, 4, 4, 4)), reader="B"),
    ]
    both = combination_of(sections, "perimeter_diameter")
    assert both.birge_ratio > 3
    assert both.mandel_paule.u > 2 * both.weighted.u
    assert both.between_sd > 1
    assert both.plain_largest == max(both.values)
    assert combination_of(sections[:1], "perimeter_diameter") is None


def test_an_expected_difference_between_modalities_is_not_called_an_error():
    echo = section_of(echo_rows(OVAL, own=0.2, scale_rel=0.005))
    xray = section_of(xray_rows(OVAL, own=0.2, scale_rel=0.005, scale_id="xa"), modality="XA")
    found = modality_difference(xray, echo, common_zero=True)
    shadow, chord = OVAL.silhouette([20, 80, 140]), OVAL.chord([0, 45, 90, 135])
    expected = float(np.mean(shadow) - np.mean(chord))
    assert found.observed.value == pytest.approx(expected)
    assert found.predicted.value == pytest.approx(expected, abs=1e-4)
    assert found.remaining.value == pytest.approx(0, abs=1e-4)
    assert abs(found.e_n) < 0.01
    assert expected > 0.5
    assert "geometry alone predicts" in found.words
    assert f"{found.observed.value:+.2f} ± {found.observed.u:.2f} mm" in found.words
    assert f"{found.predicted.value:+.2f} ± {found.predicted.u:.2f};" in found.words


def test_a_wrong_scale_between_modalities_is_what_is_left():
    echo = section_of(echo_rows(OVAL, own=0.2, scale_rel=0.005))
    xray = section_of(xray_rows(OVAL, factor=1.15, own=0.2, scale_rel=0.005), modality="XA")
    found = modality_difference(xray, echo, common_zero=True)
    assert found.remaining.value == pytest.approx(
        0.15 * float(np.mean(OVAL.silhouette([20, 80, 140]))), abs=1e-3
    )
    assert found.e_n > 1
    assert "check scales, frames, landmarks" in found.words


def test_without_a_common_zero_any_direction_may_have_been_seen():
    echo = section_of(echo_rows(OVAL, own=0.2, scale_rel=0.005))
    xray = section_of(xray_rows(OVAL, (30,), own=0.2), modality="XA")
    known = modality_difference(xray, echo, common_zero=True)
    blind = modality_difference(xray, echo)
    assert not blind.directions_known
    assert blind.predicted.u > 3 * known.predicted.u
    # Cauchy: the mean shadow is the perimeter-derived diameter
    chords = float(np.mean(OVAL.chord([0, 45, 90, 135])))
    assert blind.predicted.value == pytest.approx(OVAL.perimeter_diameter - chords, abs=1e-3)


def test_the_published_band_is_mean_and_scatter_of_its_source():
    from annot.measurement.section_difference import BAND_MM

    # 2.04 ± 3.43 mm over 185 patients (PMID 31728875)
    low, high = BAND_MM
    assert low == pytest.approx(2.04 - 1.96 * 3.43, abs=0.05)
    assert high == pytest.approx(2.04 + 1.96 * 3.43, abs=0.05)


def test_no_ellipse_no_comparison():
    echo = section_of(echo_rows(OVAL, (0, 90)))
    xray = section_of(xray_rows(OVAL), modality="XA")
    assert modality_difference(xray, echo) is None
    assert pairs_of([echo], "largest") == ()


def test_a_traced_outline_is_compared_in_the_diameter_that_it_gives():
    echo = section_of(echo_rows(OVAL))
    area = row(OVAL.area, quantity="landing_zone_area", unit="mm2", own=6.0, scale_rel=0.03)
    around = row(OVAL.perimeter, quantity="landing_zone_perimeter", own=1.0)
    derived = row(OVAL.area_diameter, quantity="landing_zone_area_diameter", own=0.2)
    others = [row(20.0), row(400.0, quantity="ostium_area", unit="mm2")]
    checks = outline_checks([echo], [area, around, derived, *others])
    assert [one.diameter for one in checks] == ["area_diameter", "perimeter_diameter"]
    assert checks[0].traced.value == pytest.approx(OVAL.area_diameter)
    assert checks[0].difference.value == pytest.approx(0, abs=1e-4)
    assert abs(checks[0].e_n) < 0.01
    # one scale for both: its 1.5 % of 21 mm, 0.32 mm, is not in the difference
    assert checks[0].difference.u < np.hypot(checks[0].traced.u, echo.estimates["mean"].u) - 0.1
    assert outline_checks([echo], [derived])[0].traced.value == pytest.approx(OVAL.area_diameter)
    assert outline_diameter(row(90.0, quantity="neck_angle", unit="deg"), "landing_zone") is None


def test_a_scale_that_both_modalities_share_cancels_out_of_what_is_left():
    """Signs of the covariance: 4 % on 21 mm is 0.8 mm if nothing is shared, next to nothing if."""
    echo = section_of(echo_rows(OVAL, scale_rel=0.04, own=0.1))
    left = {}
    for scale in ("us-1", "xa-1"):
        xray = section_of(xray_rows(OVAL, scale_rel=0.04, own=0.1, scale_id=scale), modality="XA")
        left[scale] = modality_difference(xray, echo, common_zero=True)
    assert left["us-1"].remaining.u < 0.15
    assert left["us-1"].observed.u < 0.2
    assert left["xa-1"].remaining.u > 1.0
    assert left["xa-1"].observed.u > 1.0
