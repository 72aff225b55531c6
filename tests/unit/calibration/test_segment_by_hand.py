"""A known length by hand: one reading rests on a statement, several on their own scatter."""

import numpy as np
import pytest

from annot.calibration import KnownSize, ObjectReading, ObjectRequest, Placing
from annot.calibration.scale import NoScale
from annot.calibration.segment_by_hand import segment_by_hand
from annot.geometry import PixelPoint

SIZE = KnownSize(size_mm=20.0, tolerance_mm=0.1, source="measured", name="length")


def seen(lengths, **options):
    readings = tuple(
        ObjectReading(frame=0, points=(PixelPoint(10.0, 10.0), PixelPoint(10.0, 10.0 + length)))
        for length in lengths
    )
    request = ObjectRequest(kind="segment", size=SIZE, readings=readings, **options)
    return segment_by_hand(request, key="k", aspect=1.0)


def test_one_reading_rests_on_the_default_of_one_pixel_for_each_end():
    assert seen([100.0]).size.u == pytest.approx(np.sqrt(2))


def test_repeats_are_their_mean_with_its_experimental_standard_deviation():
    """JCGM 100:2008 4.2.3: s/√n with n − 1 degrees of freedom."""
    lengths = [100.0, 101.0, 99.5, 100.7]
    found = seen(lengths)
    assert found.size.value == pytest.approx(np.mean(lengths))
    assert found.size.u == pytest.approx(np.std(lengths, ddof=1) / 2)
    assert found.size.dof == pytest.approx(3)
    assert "the hand's scatter" in found.notes[0]


def test_two_repeats_show_too_little_scatter_to_go_by():
    assert seen([100.0, 100.1]).size.u == pytest.approx(1.0)


def test_a_statement_goes_before_the_scatter():
    assert seen([100.0, 101.0, 99.5, 100.7], u_end_px=0.5).size.u == pytest.approx(
        0.5 * np.sqrt(2) / 2
    )


def test_copies_of_one_reading_count_once():
    found = seen([100.0, 100.0, 100.0])
    assert found.size.u == pytest.approx(np.sqrt(2))
    assert found.sections_used == 1
    assert "2 reading(s) of the known length copy another" in found.notes[0]


def test_copies_among_repeats_add_no_degrees_of_freedom():
    lengths = [100.0, 101.0, 99.5]
    found = seen([*lengths, *lengths])
    assert found.size.u == pytest.approx(np.std(lengths, ddof=1) / np.sqrt(3))
    assert found.size.dof == pytest.approx(2)


def test_readings_of_one_length_in_other_places_show_no_scatter():
    readings = tuple(
        ObjectReading(frame=0, points=(PixelPoint(row, 10.0), PixelPoint(row, 110.0)))
        for row in (10.0, 11.0, 12.0)
    )
    request = ObjectRequest(kind="segment", size=SIZE, readings=readings)
    found = segment_by_hand(request, key="k", aspect=1.0)
    assert found.size.u == pytest.approx(np.sqrt(2 / 3))
    assert "equally long" in found.notes[0]


def test_tilt_makes_the_length_longer_than_it_is_seen():
    found = seen([100.0], placing=Placing(tilt_deg=20.0))
    assert found.size.value == pytest.approx(100.0 / (np.sin(np.deg2rad(20)) / np.deg2rad(20)))


def test_a_length_of_a_few_pixels_is_refused():
    found = seen([100.0, 4.0])
    assert isinstance(found, NoScale)
    assert "drawn 4.0 px long" in found.reason
