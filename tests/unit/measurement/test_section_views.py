"""The covariance that a table's rows share, rebuilt; repeats and beats averaged."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from annot.measurement.section_views import (
    covariance_of,
    cross_covariance,
    mean_length,
    off_centre,
    rescaled,
    seen_length,
    shared_parts,
    views_of,
)
from tests.strategies import positives
from tests.unit.measurement.section_rows import row


def test_rows_of_one_scale_share_its_error_fully_and_nothing_else():
    first, second = seen_length(row(20.0)), seen_length(row(24.0))
    matrix = covariance_of([first, second])
    assert matrix[0, 1] == pytest.approx(0.015 * 20 * 0.015 * 24)
    assert np.sqrt(np.diag(matrix)) == pytest.approx([row(20.0).u, row(24.0).u])


def test_rows_of_two_scales_made_from_one_object_share_the_objects_size_only():
    parts = {"share_scale": 0.3, "share_object": 0.2, "object_id": "catheter-1"}
    first = seen_length(row(20.0, **parts, scale_id="a"))
    second = seen_length(row(20.0, **parts, scale_id="b"))
    assert covariance_of([first, second])[0, 1] == pytest.approx(0.2 * row(20.0).u ** 2)


def test_header_scales_of_one_imaging_system_share_the_systems_part_only():
    """Four echo loops of one machine carry four scales and one machine's error."""
    parts = {"share_scale": 0.2, "share_system": 0.35, "system_id": "system-1"}
    first = seen_length(row(20.0, **parts, scale_id="a"))
    second = seen_length(row(24.0, **parts, scale_id="b"))
    expected = 0.35 * row(20.0).u * row(24.0).u
    assert covariance_of([first, second])[0, 1] == pytest.approx(expected)


def test_echo_loops_of_one_study_share_the_speed_of_sound():
    parts = {"share_scale": 0.2, "share_speed": 0.3, "speed_group": "sound-1"}
    first = seen_length(row(20.0, **parts, scale_id="a"))
    second = seen_length(row(24.0, **parts, scale_id="b"))
    expected = 0.3 * row(20.0).u * row(24.0).u
    assert covariance_of([first, second])[0, 1] == pytest.approx(expected)
    # a table from before the column counted it among everything else
    old = seen_length(row(20.0, share_scale=0.2, scale_id="a"))
    assert covariance_of([old, second])[0, 1] == 0.0
    assert old.u == pytest.approx(first.u)


def test_a_depth_group_is_shared_and_a_share_without_a_name_is_not():
    named = row(20.0, share_depth=0.25, depth_group="loop-1", share_scale=0.0)
    nameless = replace(named, depth_group="")
    pair = [seen_length(named), seen_length(named)]
    assert covariance_of(pair)[0, 1] == pytest.approx(0.25 * named.u**2)
    assert shared_parts(nameless) == {}
    assert covariance_of([seen_length(nameless)] * 2)[0, 1] == 0.0


@given(st.lists(positives, min_size=1, max_size=5), st.floats(0, 1))
def test_splitting_the_variance_never_changes_it(values, share):
    for value in values:
        one = replace(row(value), share_scale=share)
        assert seen_length(one).u == pytest.approx(one.u, rel=1e-5)


def test_rows_that_share_all_of_their_error_can_still_be_weighed():
    pair = [seen_length(replace(row(20.0), share_scale=share)) for share in (1.0, 1.2)]
    assert np.linalg.cond(covariance_of(pair)) < 1e8


def test_one_direction_seen_in_two_loops_is_two_views():
    rows = [row(20.0, view_deg=0.0, loop=name) for name in ("a.dcm", "b.dcm", "b.dcm")]
    assert [one.words for one in views_of(rows)] == [
        "US 0° view of a.dcm",
        "US 0° view of b.dcm (2 rows)",
    ]


def test_repeats_of_a_view_average_their_own_error_and_keep_the_shared_one():
    pair = [seen_length(row(20.0)), seen_length(row(20.0))]
    mean = mean_length(pair)
    assert mean.own_u == pytest.approx(0.4 / math.sqrt(2))
    assert mean.shared["scale:us-1"] == pytest.approx(0.015 * 20)


def test_repeats_do_not_average_the_tilt_of_their_loop():
    """By hand: of u = 0.5 mm tilt makes 0.4 and the ends 0.3; a loop's tilt is one for all."""
    one = replace(row(24.0, loop="L001"), u=0.5, share_scale=None, share_tilt=0.64, share_ends=0.36)
    three = mean_length([seen_length(one)] * 3)
    assert three.u == pytest.approx(math.hypot(0.4, 0.3 / math.sqrt(3)))
    assert mean_length([three, three]).u == pytest.approx(math.hypot(0.4, 0.3 / math.sqrt(6)))
    all_tilt = seen_length(replace(one, share_tilt=1.0, share_ends=0.0))
    assert mean_length([all_tilt]).u == pytest.approx(0.5)
    elsewhere = [seen_length(replace(one, loop=name)) for name in ("L001", "L002")]
    assert mean_length(elsewhere).u == pytest.approx(0.5 / math.sqrt(2))


def test_beats_that_scatter_more_than_their_ends_are_believed():
    beats = [row(value, view_deg=0.0, beat=k) for k, value in enumerate([18.0, 20.0, 22.0])]
    [mean] = views_of(beats)
    assert mean.value == pytest.approx(20.0)
    assert mean.own_u == pytest.approx(2.0 / math.sqrt(3))
    assert "3 rows" in mean.words


def test_opposite_directions_are_one_view_and_views_without_direction_go_by_projection():
    rows = [row(20.0, view_deg=0.0), row(21.0, view_deg=180.0)]
    assert len(views_of(rows)) == 1
    turned = [row(20.0, modality="XA", primary_deg=p, secondary_deg=10.0) for p in (-30, -30, 40)]
    assert [len(one.rows) for one in views_of(turned)] == [2, 1]


def test_a_derived_quantity_inherits_the_shared_errors():
    area = seen_length(row(400.0, unit="mm2", scale_rel=0.03, own=8.0))
    diameter = rescaled(area, 22.57, 22.57 / 800)
    width = seen_length(row(20.0))
    shared = cross_covariance([diameter], [width])[0, 0]
    assert shared == pytest.approx(0.015 * 22.57 * 0.015 * 20)


def test_a_plane_off_the_centre_reads_short_by_the_mean_of_its_chords():
    """Against the mean and scatter of drawn chords of a circle of 20 mm."""
    offsets = np.random.default_rng(1).uniform(-2, 2, 200_000)
    chords = 20 * np.sqrt(1 - (2 * offsets / 20) ** 2)
    seen = seen_length(row(float(np.mean(chords)), own=1e-3))
    true = off_centre(seen, 2.0)
    assert true.value == pytest.approx(20.0, abs=2e-3)
    assert true.own_u == pytest.approx(np.std(chords), rel=0.05)
    shadow = seen_length(row(20.0, modality="XA"))
    assert off_centre(shadow, 2.0) == shadow
