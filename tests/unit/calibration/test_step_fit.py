"""Edges of a plate at one spacing: drawn here, and what is refused."""

import numpy as np
import pytest

from annot.calibration.scale import NoScale
from annot.calibration.step_fit import StepFit, fit_steps
from annot.geometry import PixelPoint
from tests.unit.calibration.conftest import detected, fine_grid

SPACING = 21.7
FIRST = 35.4
TRACE = (PixelPoint(45.0, 24.0), PixelPoint(45.0, 198.0))


def plate(edges=8, *, turn_deg=0.0, seed=1, strip=1.0):
    """Strips between even edges and the next, as wide as the gap times `strip`."""
    row, column = fine_grid(90, 220)
    turn = np.deg2rad(turn_deg)
    along = (column - 110.0) * np.cos(turn) + (row - 45.0) * np.sin(turn) + 110.0
    step = (along - FIRST) / SPACING
    dark = (np.mod(step, 2.0) <= strip) & (step >= 0) & (step <= edges - 0.5)
    return detected(0.5 * dark, blur_px=1.1, veil=0.1, seed=seed, photons=4000.0)


def fitted(picture, trace=TRACE, **options) -> StepFit:
    found = fit_steps(picture, trace, **{"edges": None, "u_gap_rel": 1e-5, **options})
    assert isinstance(found, StepFit), found
    return found


def refusal(picture, trace=TRACE, **options) -> str:
    found = fit_steps(picture, trace, **{"edges": None, "u_gap_rel": 1e-5, **options})
    assert isinstance(found, NoScale), found
    return found.reason


@pytest.mark.parametrize("turn_deg", [0.0, 4.0, -8.0])
def test_the_spacing_is_taken_square_to_the_edges_however_the_trace_runs(turn_deg):
    found = fitted(plate(turn_deg=turn_deg))
    assert found.spacing.spacing_px == pytest.approx(SPACING, abs=0.02)
    assert abs(found.slant_deg) == pytest.approx(abs(turn_deg), abs=0.6)


def test_strips_a_little_wider_than_their_gaps_leave_it_alone():
    assert fitted(plate(strip=1.04)).spacing.spacing_px == pytest.approx(SPACING, abs=0.02)


def test_the_count_must_agree():
    assert len(fitted(plate(), edges=8).middles) == 8
    assert "8 edges at one spacing were found where 7 are stated" in refusal(plate(), edges=7)


def test_pixels_wider_than_high_are_counted_in_the_row_pitch():
    found = fitted(plate(), aspect=1.1)
    assert found.spacing.spacing_px == pytest.approx(1.1 * SPACING, abs=0.03)


def test_no_plate_and_no_straight_trace_are_refused():
    assert "at least 3 in a row" in refusal(plate(edges=2))
    assert "straight trace of two points" in refusal(plate(), (*TRACE, PixelPoint(60.0, 210.0)))
    assert "leaves the image" in refusal(plate(), (PixelPoint(2.0, 24.0), PixelPoint(2.0, 198.0)))
