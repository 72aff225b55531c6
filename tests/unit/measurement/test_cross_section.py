"""One ellipse out of several views: what it says, and what it refuses to say."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from annot.geometry.ellipse import Ellipse
from annot.measurement.cross_section import NAMES, SectionName, cross_section, slope_of
from annot.measurement.cross_section_draws import corrected_axes, draw_sections
from annot.measurement.section_views import off_centre, views_of
from tests.unit.measurement.section_rows import echo_rows, row, xray_rows

OVAL = Ellipse(largest=25.0, smallest=18.0, orientation_deg=30.0)
NAME = SectionName(study="HARBOUR-01", quantity="landing_zone_width", reader="A", modality="US")
OFF = (0.3, -0.2, 0.1, 0.25)


def fitted(rows):
    return cross_section(NAME, views_of(rows), rng=np.random.default_rng(1))


def test_exact_chords_give_the_ellipse_back_up_to_the_correction_for_selection():
    section = fitted(echo_rows(OVAL))
    assert section.chi2 == pytest.approx(0, abs=1e-9)
    assert section.estimates["area_diameter"].value == pytest.approx(OVAL.area_diameter, rel=1e-6)
    assert section.estimates["orientation"].value == pytest.approx(30.0, abs=1e-4)
    # the correction takes out what noise would have added
    assert 0.01 < OVAL.largest - section.estimates["largest"].value < 0.1
    assert 0.005 < section.estimates["smallest"].value - OVAL.smallest < 0.1


def test_near_a_circle_the_correction_is_the_mean_length_that_noise_adds_to_an_amplitude():
    """An amplitude A of four views with noise σ reads long by σ²/2 / (2A): Rice's law, first order.

    A is half of D − d, the noise of each of its two parts σ·√(2/4).
    """
    one = Ellipse(largest=21.0, smallest=20.0)
    found = fitted(echo_rows(one, own=0.1, scale_rel=1e-6)).estimates
    amplitude, noise = 0.5, 0.1 / np.sqrt(2)
    assert one.largest - found["largest"].value == pytest.approx(
        noise**2 / (2 * amplitude), rel=0.1
    )


def test_drawn_ellipses_centre_on_the_corrected_one_and_not_on_the_selected():
    fit = fitted(echo_rows(Ellipse(largest=22.0, smallest=20.0), own=0.5, scale_rel=1e-6)).fit
    drawn = draw_sections(fit, np.random.default_rng(4), draws=40_000)
    corrected = corrected_axes(fit)[0]
    assert np.mean(drawn.largest) == pytest.approx(corrected, abs=0.03)
    assert 22.0 - corrected > 0.05


def test_a_large_shared_scale_does_not_pull_the_size_to_the_short_views():
    noise = (1.5, -1.5, 1.5, -1.5)
    alone, shared = (
        fitted(echo_rows(OVAL, noise=noise, scale_rel=rel)).estimates["area_diameter"].value
        for rel in (1e-6, 0.1)
    )
    assert shared == pytest.approx(alone, rel=1e-6)


def test_exact_shadows_give_the_same_ellipse():
    section = fitted(xray_rows(OVAL, (0, 45, 90, 135)))
    assert section.estimates["area_diameter"].value == pytest.approx(OVAL.area_diameter, rel=1e-6)
    assert section.estimates["orientation"].value == pytest.approx(30.0, abs=1e-4)


def test_every_estimate_lies_in_its_own_interval_with_its_unit():
    section = fitted(echo_rows(OVAL, noise=OFF))
    assert set(section.estimates) == set(NAMES)
    for name, one in section.estimates.items():
        assert one.low <= one.value <= one.high, name
        assert one.u > 0
        assert one.unit == {"eccentricity": "1", "orientation": "deg"}.get(name, "mm")


@settings(max_examples=12)
@given(st.floats(0, 180), st.floats(0.3, 0.85))
def test_turning_the_probe_turns_the_orientation_and_nothing_else(turn, ratio):
    def section_of(by):
        one = Ellipse(largest=25.0, smallest=25.0 * ratio, orientation_deg=by % 180)
        return fitted(echo_rows(one, [by, by + 45, by + 90, by + 135], noise=OFF)).estimates

    straight, turned = section_of(0.0), section_of(turn)
    for name in ("largest", "smallest", "perimeter_diameter"):
        assert turned[name].value == pytest.approx(straight[name].value, rel=1e-5)
        assert turned[name].u == pytest.approx(straight[name].u, rel=1e-4)
    apart = turned["orientation"].value - straight["orientation"].value - turn
    assert (apart + 90) % 180 - 90 == pytest.approx(0, abs=1e-3)


def test_a_shared_scale_widens_sizes_and_leaves_shape_alone():
    alone = fitted(echo_rows(OVAL, scale_rel=1e-6)).estimates
    shared = fitted(echo_rows(OVAL, scale_rel=0.03)).estimates
    assert shared["mean"].u > 1.5 * alone["mean"].u
    assert shared["eccentricity"].u == pytest.approx(alone["eccentricity"].u, rel=0.02)
    wrong = [
        one.__class__(**{f: getattr(one, f) for f in one.__slots__} | {"share_scale": None})
        for one in echo_rows(OVAL, scale_rel=0.03)
    ]
    section = fitted(wrong)
    assert section.estimates["mean"].u < 0.8 * shared["mean"].u
    assert any("taken as independent" in text for text in section.warnings)


def test_a_view_that_states_no_direction_is_said_to_state_none():
    section = fitted([replace(one, view_deg=None) for one in echo_rows(OVAL, (0,))])
    assert any("views that state no direction cannot tell" in text for text in section.warnings)


@pytest.mark.parametrize("directions", [(0,), (0, 90), (0, 90, 180), (0, 3, 90, 93)])
def test_two_directions_or_one_say_what_they_can_and_no_more(directions):
    section = fitted(echo_rows(OVAL, directions))
    assert section.fit is None
    assert section.estimates == {}
    assert section.ellipse is None
    assert any("cannot tell an ellipse" in text for text in section.warnings)
    widest = max(float(one.value) for one in section.views)
    assert any(f"at least {widest:.1f} mm" in text for text in section.warnings)


def test_directions_close_together_leave_the_largest_open_and_say_so():
    section = fitted(echo_rows(OVAL, (0, 8, 16)))
    if section.fit is not None:
        assert section.estimates["largest"].u > 0.15 * section.estimates["largest"].value
    assert any("too close together" in text or "contradict" in text for text in section.warnings)


def test_views_that_share_all_of_their_error_are_fitted():
    rows = [
        row(one.value, view_deg=one.view_deg, own=1e-9, scale_rel=0.02) for one in echo_rows(OVAL)
    ]
    section = fitted(rows)
    assert section.estimates["mean"].u == pytest.approx(0.02 * OVAL.mean, rel=0.03)


def test_three_directions_are_no_check_and_say_so():
    section = fitted(echo_rows(OVAL, (0, 60, 120)))
    assert (section.dof, section.p) == (0, None)
    assert any("without any check" in text for text in section.warnings)
    assert section.without_view == ()


def test_near_a_circle_there_is_no_orientation():
    round_one = Ellipse(largest=20.1, smallest=20.0)
    section = fitted(echo_rows(round_one, noise=OFF))
    assert section.estimates["orientation"] is None
    assert any("told from a circle" in text for text in section.warnings)


def test_one_view_from_the_wrong_frame_shows_in_p_and_in_what_changes_without_it():
    section = fitted(echo_rows(OVAL, (0, 30, 60, 90, 120, 150), noise=(0, 0, 4.0, 0, 0, 0)))
    assert section.p < 0.01
    assert any("disagree more than" in text for text in section.warnings)
    odd = max(section.without_view, key=lambda one: one.p)
    assert odd.view.direction_deg == 60
    assert odd.change < 0
    assert odd.words.startswith("without the US 60° view the largest falls by")
    assert abs(odd.change) > 2 * odd.u_change
    assert any("without the US 60° view the others agree" in text for text in section.warnings)


def test_a_row_without_direction_is_shown_and_not_fitted():
    section = fitted([*echo_rows(OVAL), row(24.0)])
    assert len(section.views) == 4
    assert len(section.unplaced) == 1
    assert any("1 row without view_deg" in text for text in section.warnings)


def test_a_chord_beside_the_centre_is_lengthened():
    plain = fitted(echo_rows(OVAL)).estimates["area_diameter"]
    lengths = [off_centre(one, 2.0) for one in views_of(echo_rows(OVAL))]
    wider = cross_section(NAME, lengths, rng=np.random.default_rng(1)).estimates["area_diameter"]
    assert wider.value > plain.value
    assert wider.u > plain.u


def test_unconfirmed_and_overruled_rows_are_named():
    rows = echo_rows(OVAL, confirmed=False, overruled="no other scale")
    words = " ".join(fitted(rows).warnings)
    assert "not confirmed by a person" in words
    assert "overruled" in words


def test_slopes_of_a_diameter_follow_a_scale():
    fit = fitted(echo_rows(OVAL)).fit
    for name in ("largest", "smallest", "perimeter_diameter"):
        value = getattr(OVAL, name)
        assert slope_of(fit, name)[0] == pytest.approx(value, rel=1e-4)


def test_the_same_table_gives_the_same_interval_twice():
    first, second = fitted(echo_rows(OVAL, noise=OFF)), fitted(echo_rows(OVAL, noise=OFF))
    assert first.estimates == second.estimates


def test_the_model_of_contour_points_agrees_with_scikit_image():
    """Contour points without noise, fitted by scikit-image's EllipseModel."""
    from skimage.measure import EllipseModel

    turn = np.deg2rad(np.arange(0, 360, 6))
    radius = OVAL.chord(np.rad2deg(turn)) / 2
    points = np.stack([radius * np.cos(turn), radius * np.sin(turn)], axis=1)
    model = EllipseModel.from_estimate(points)
    a, b = model.axis_lengths
    section = fitted(echo_rows(OVAL, (0, 30, 60, 90, 120, 150), scale_rel=1e-6, own=1e-3))
    found = sorted((section.estimates["smallest"].value, section.estimates["largest"].value))
    assert found == pytest.approx(sorted((2 * a, 2 * b)), abs=0.01)


def test_what_rows_warn_of_is_passed_on_once_with_their_number():
    rows = [
        replace(one, warnings="tilt of the plane not stated; drawn twice" if index else "")
        for index, one in enumerate(echo_rows(OVAL))
    ]
    said = fitted(rows).warnings
    assert f"{len(rows) - 1} of {len(rows)} rows: tilt of the plane not stated" in said
    assert sum("drawn twice" in text for text in said) == 1
