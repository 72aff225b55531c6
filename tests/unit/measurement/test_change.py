"""Changes between two reads: only like is set against like, and shared errors keep their sign."""

import math
from dataclasses import replace

import pytest

from annot.measurement.change import changes_between
from tests.unit.measurement.section_rows import row


def test_moments_of_the_cycle_are_not_mixed():
    early = row(20.0, view_deg=45.0, moment="end-systole")
    late = row(24.0, view_deg=45.0, moment="End diastole")
    after = row(24.5, view_deg=45.0, moment="end_diastole")
    [found] = changes_between([early, late], [after])
    assert found.difference.value == pytest.approx(0.5)
    assert found.where == "echo 45°, end_diastole"
    assert not changes_between([early], [after])


def test_a_moment_that_one_side_does_not_state_is_said():
    after = row(24.5, view_deg=45.0, moment="end_diastole")
    [found] = changes_between([row(24.0, view_deg=45.0)], [after])
    assert any("stated on one side only" in text for text in found.warnings)


def test_what_stretches_lengths_moves_offsets_away_from_zero_on_either_side():
    """By hand: a scale known to 10 % moves -4 mm and +4 mm apart, so their distance by 0.8 mm."""
    there = row(4.0, quantity="protrusion", own=0.1, scale_rel=0.1)
    [found] = changes_between([replace(there, value=-4.0)], [there])
    assert found.difference.u == pytest.approx(math.hypot(0.8, math.sqrt(2) * 0.1), rel=1e-3)
    [same] = changes_between([there], [there])
    assert same.difference.u == pytest.approx(math.sqrt(2) * 0.1, rel=1e-3)
