"""Sizes of reference objects: French, labels and tolerances; what is refused."""

import math

import pytest

from annot.calibration import KnownSize, ObjectReading, ObjectRequest, all_allowances, french_to_mm
from annot.errors import InputError
from annot.geometry import PixelPoint
from tests.strategies import NOT_NUMBERS

TRACE = (PixelPoint(10.0, 10.0), PixelPoint(10.0, 110.0))


def size(**changes: object) -> KnownSize:
    plain = {"size_mm": 2.0, "tolerance_mm": 0.05, "source": "measured", "name": "catheter"}
    return KnownSize(**{**plain, **changes})  # type: ignore[arg-type]  # a test's own dict


def request(**changes: object) -> ObjectRequest:
    plain = {
        "kind": "catheter",
        "size": size(),
        "readings": (ObjectReading(frame=0, points=TRACE),),
    }
    return ObjectRequest(**{**plain, **changes})  # type: ignore[arg-type]  # a test's own dict


@pytest.mark.parametrize(
    ("french", "mm"),
    [(4, 1.333), (5, 1.667), (6, 2.0), (7, 2.333), (8, 2.667), (9, 3.0), (12, 4.0), (14, 4.667)],
)
def test_one_french_is_a_third_of_a_millimetre(french, mm):
    """Convention of the trade, from memory."""
    assert french_to_mm(french) == pytest.approx(mm, abs=5e-4)


def test_a_measured_size_is_what_it_says_plus_or_minus_its_tolerance():
    quantity = size(tolerance_mm=0.03).quantity()
    assert quantity.value == 2.0
    assert quantity.u == pytest.approx(0.03 / math.sqrt(3))
    assert quantity.component == "object"


def test_a_label_is_rounded_up_so_the_true_size_lies_below_it():
    """ISO 10555-1, from memory: true in (label − 0.1, label], so −0.05 mm and 0.1/√12 = 0.0289."""
    quantity = size(source="label").quantity()
    assert quantity.value == pytest.approx(1.95)
    assert quantity.u == pytest.approx(0.1 / math.sqrt(12))
    assert quantity.u == pytest.approx(0.0289, abs=5e-5)
    assert "0.05 mm is taken off" in quantity.source


def test_one_object_is_one_input_wherever_it_is_used():
    assert size().quantity() == size().quantity()
    assert size().object_id == size().quantity().key
    assert size().object_id != size(tolerance_mm=0.03).object_id
    assert size().object_id != size(source="label").object_id


@pytest.mark.parametrize("bad", [0.0, -2.0, *NOT_NUMBERS])
def test_a_size_that_is_none_is_refused(bad):
    with pytest.raises(InputError, match=r"A catheter of .* mm is no size: give a number above 0"):
        size(size_mm=bad)


@pytest.mark.parametrize("bad", [0.0, -0.1, 2.0, 5.0, *NOT_NUMBERS])
def test_a_tolerance_that_is_none_or_reaches_the_size_is_refused(bad):
    with pytest.raises(InputError, match=r"A tolerance of .* does not fit a catheter of 2 mm"):
        size(tolerance_mm=bad)


def test_a_label_no_larger_than_its_own_rounding_is_refused():
    with pytest.raises(
        InputError, match=r"A catheter of 0.05 mm is no size: .* above 0.1 and up to"
    ):
        size(size_mm=0.05, tolerance_mm=0.04, source="label")


@pytest.mark.parametrize(
    ("surface", "size_mm", "other_mm"),
    [("outer", 2.0, 2.0), ("outer", 2.0, 3.0), ("inner", 2.0, 1.5), ("outer", 2.0, -1.0)],
)
def test_an_inner_diameter_that_is_not_the_smaller_is_a_blunder(surface, size_mm, other_mm):
    with pytest.raises(InputError, match=r"inner diameter .* check which of the two is which"):
        request(surface=surface, size=size(size_mm=size_mm), other_mm=other_mm)


def test_diameters_in_their_right_order_are_taken():
    assert request(surface="outer", other_mm=1.4).other_mm == 1.4
    assert request(surface="inner", other_mm=2.6).other_mm == 2.6


@pytest.mark.parametrize("kind", ["catheter", "sphere"])
def test_a_fitted_object_read_twice_in_one_frame_is_not_two_readings(kind):
    """Two fits of the same pixels agree to the last digit: their mean is no better than one."""
    readings = (ObjectReading(frame=3, points=TRACE), ObjectReading(frame=3, points=TRACE))
    with pytest.raises(InputError, match=f"The {kind} is read twice in one frame"):
        request(kind=kind, readings=readings)


def test_a_segment_drawn_by_hand_may_be_repeated_on_its_frame():
    readings = (ObjectReading(frame=3, points=TRACE), ObjectReading(frame=3, points=TRACE))
    assert len(request(kind="segment", readings=readings).readings) == 2


def test_an_object_without_a_reading_is_refused():
    with pytest.raises(InputError, match="read in no frame: trace it"):
        request(readings=())


def test_every_allowance_names_its_unit_meaning_and_source():
    allowances = all_allowances()
    assert "catheter_tolerance" in allowances
    for one in allowances.values():
        assert one.value > 0
        assert one.unit in {"mm", "1", "px", "deg"}
        assert one.meaning
        origins = ("memory", "no source", "own ", "PS3.", "ISO ")
        assert any(words in one.source for words in origins), one
