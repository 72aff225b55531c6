"""Bands along a wire: counted, set aside, refused; their truth is in tests/against_truth."""

import numpy as np
import pytest

from annot.calibration.band_fit import BandFit, fit_bands
from annot.calibration.scale import NoScale
from annot.geometry import PixelPoint
from tests.unit.calibration.conftest import chord, detected, fine_grid

SPACING = 38.4
FIRST = 30.2
ROW = 40.3
TRACE = (PixelPoint(41.5, 18.0), PixelPoint(39.0, 232.0))


def wire(bands=range(6), *, extra=(), seed=1, photons=2500.0):
    """A rod of 4 px along a row with bands of 8 by 5 px, and strangers at columns of their own."""
    row, column = fine_grid(80, 250)
    depth = 0.03 * chord(4.0, row - ROW)
    centres = [FIRST + SPACING * one for one in bands] + list(extra)
    for centre in centres:
        depth = depth + 0.12 * chord(8.0, row - ROW) * (np.abs(column - centre) <= 2.5)
    return detected(depth, blur_px=1.1, veil=0.1, seed=seed, photons=photons)


def fitted(picture, **options) -> BandFit:
    found = fit_bands(picture, TRACE, **{"bands": None, "u_gap_rel": 1e-4, **options})
    assert isinstance(found, BandFit), found
    return found


def refusal(picture, trace=TRACE, **options) -> str:
    found = fit_bands(picture, trace, **{"bands": None, "u_gap_rel": 1e-4, **options})
    assert isinstance(found, NoScale), found
    return found.reason


def test_every_band_is_found_where_it_is():
    found = fitted(wire())
    true = [(ROW, FIRST + SPACING * one) for one in range(6)]
    assert np.allclose(found.centres, true, atol=0.15)
    assert found.spacing.spacing_px == pytest.approx(SPACING, abs=3 * found.spacing.u_marks_px)
    assert (found.missing, found.set_aside) == (0, ())


@pytest.mark.parametrize("gone", [1, 2, 3])
def test_a_missing_band_is_a_place_left_out_and_not_a_longer_gap(gone):
    found = fitted(wire([one for one in range(6) if one != gone]))
    assert found.missing == 1
    assert found.spacing.spacing_px == pytest.approx(SPACING, abs=0.05)


@pytest.mark.parametrize("count", [5, 6])
def test_a_person_may_count_the_bands_that_are_seen_or_their_places(count):
    assert fitted(wire([0, 1, 3, 4, 5]), bands=count).missing == 1


def test_a_stranger_on_the_wire_is_set_aside():
    found = fitted(wire(extra=[FIRST + 2.4 * SPACING]))
    assert len(found.centres) == 6
    [stranger] = found.set_aside
    assert stranger.column == pytest.approx(FIRST + 2.4 * SPACING, abs=0.3)
    assert found.spacing.spacing_px == pytest.approx(SPACING, abs=0.05)


def test_pixels_wider_than_high_are_counted_in_the_row_pitch():
    found = fitted(wire(), aspect=1.25)
    assert found.spacing.spacing_px == pytest.approx(1.25 * SPACING, abs=0.06)


def test_another_count_than_the_pictures_is_refused():
    assert "6 bands were found, and no 7 of them stand" in refusal(wire(), bands=7)


def test_a_row_that_can_be_counted_two_ways_is_not_counted_without_a_person():
    """Bands at 0, 2, 3, 4 are five with one missing, or three and a stranger in the middle."""
    picture = wire([0, 2, 3, 4])
    assert "in more than one way" in refusal(picture)
    assert fitted(picture, bands=5).spacing.spacing_px == pytest.approx(SPACING, abs=0.05)
    assert fitted(picture, bands=3).spacing.spacing_px == pytest.approx(2 * SPACING, abs=0.1)


def test_two_bands_are_taken_only_from_who_has_counted_them():
    near = (PixelPoint(41.0, 18.0), PixelPoint(40.0, 82.0))
    assert "state how many" in refusal(wire(), near)
    found = fit_bands(wire(), near, bands=2, u_gap_rel=1e-4)
    assert isinstance(found, BandFit)
    assert found.spacing.spacing_px == pytest.approx(SPACING, abs=0.15)


def test_a_wire_without_bands_gives_no_spacing():
    assert "along the trace; at least 2" in refusal(wire([])) or "bands" in refusal(wire([]))


def test_a_trace_must_lie_on_the_image_and_be_long_enough():
    assert "leaves the image at row 90" in refusal(wire(), (TRACE[0], PixelPoint(90.0, 30.0)))
    assert "px long" in refusal(wire(), (TRACE[0], PixelPoint(41.0, 30.0)))
