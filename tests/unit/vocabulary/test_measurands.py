"""The names in files and tables, what each means, and the cautions."""

import pytest

from annot.errors import AnnotError, InputError, LoopError
from annot.vocabulary import CAUTION, MEASURANDS, OUTCOMES, SCOPE_OF_INTERVAL, FrameReference
from annot.vocabulary.measurands import SIGNED


def test_quantities_of_the_read_file_are_known_under_their_names():
    assert {"ostium_width", "landing_zone_width", "depth"} <= set(MEASURANDS)
    assert all(one.name == name for name, one in MEASURANDS.items())


@pytest.mark.parametrize("name", MEASURANDS)
def test_each_says_where_its_ends_lie_and_where_that_comes_from(name):
    one = MEASURANDS[name]
    assert len(one.meaning.split()) > 4
    assert one.source
    low, high = one.plausible_mm
    assert low < high
    assert low >= 0 or name in SIGNED
    assert one.max_points >= 2


def test_only_the_depth_may_follow_a_bend():
    lengths = {name: one for name, one in MEASURANDS.items() if one.kind == "length"}
    assert [name for name, one in lengths.items() if one.max_points > 2] == ["depth"]
    assert all(one.min_points == 2 for one in lengths.values())


def test_a_contour_gives_four_numbers_each_with_its_unit():
    found = {one.name: one.unit for one in MEASURANDS["ostium_contour"].outcomes}
    assert found == {
        "ostium_area": "mm2",
        "ostium_perimeter": "mm",
        "ostium_area_diameter": "mm",
        "ostium_perimeter_diameter": "mm",
    }
    [angle] = MEASURANDS["neck_angle"].outcomes
    assert (angle.name, angle.unit, angle.unit_px) == ("neck_angle", "deg", "deg")
    assert MEASURANDS["ostium_contour"].outcomes[0].unit_px == "px2"


def test_no_two_measurands_give_one_number():
    count = sum(len(one.outcomes) for one in MEASURANDS.values())
    assert len(OUTCOMES) == count


@pytest.mark.parametrize(
    ("name", "in_projection", "in_plane"),
    [
        # the sign table of tilt: modality by quantity
        ("ostium_width", "none", "seen_long"),
        ("landing_zone_width", "none", "seen_long"),
        ("depth", "seen_short", "seen_short"),
        ("distance", "none", "none"),
    ],
)
def test_how_a_tilt_shows(name, in_projection, in_plane):
    one = MEASURANDS[name]
    assert (one.tilt_in_projection, one.tilt_in_plane) == (in_projection, in_plane)


def test_cautions_say_what_the_tool_is_not():
    assert "Not a medical device" in CAUTION
    assert "known object" in CAUTION
    assert "does not cover a wrong" in SCOPE_OF_INTERVAL


def test_frames_count_from_zero_inside_and_from_one_in_the_standard():
    assert FrameReference(sop_instance_uid="1.2", frame=0).dicom_frame == 1


def test_a_frame_before_the_first_is_refused():
    with pytest.raises(InputError, match="Frame -1 does not exist: frames are counted from 0"):
        FrameReference(sop_instance_uid="1.2", frame=-1)


@pytest.mark.parametrize("kind", [InputError, LoopError])
def test_every_refusal_is_of_one_family_and_keeps_its_sentence(kind):
    error = kind("What, where, what to do.")
    assert isinstance(error, AnnotError)
    assert error.message == str(error) == "What, where, what to do."
