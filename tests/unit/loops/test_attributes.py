"""Reading attributes that are wrong: a sentence each, said once."""

from pydicom.dataset import Dataset

from annot.loops.attributes import Attributes


def attributes(**values) -> Attributes:
    dataset = Dataset()
    for keyword, value in values.items():
        setattr(dataset, keyword, value)
    return Attributes(dataset, [])


def test_a_fault_met_twice_is_said_once():
    read = attributes(DistanceSourceToDetector=-1)
    assert read.positive("DistanceSourceToDetector") is None
    assert read.positive("DistanceSourceToDetector") is None
    assert read.warnings == [
        "DistanceSourceToDetector is -1, not a positive number, and is not used."
    ]


def test_absent_is_no_fault():
    read = attributes()
    assert read.text("Modality") is None
    assert read.number("FrameTime") is None
    assert read.pixel_sides("PixelSpacing") is None
    assert read.items("SequenceOfUltrasoundRegions") == ()
    assert not read.present("FrameTime")
    assert not read.empty("FrameTime")
    assert read.warnings == []


def test_empty_is_a_fault_only_where_a_value_is_needed():
    read = attributes(PositionerPrimaryAngle=None, PixelSpacing=None)
    assert read.number("PositionerPrimaryAngle") is None
    assert read.warnings == []
    assert read.empty("PixelSpacing")
    assert read.pixel_sides("PixelSpacing") is None
    assert read.warnings == ["PixelSpacing is present but empty."]


def test_padding_is_no_part_of_a_text():
    assert attributes(Modality="US ").text("Modality") == "US"


def test_a_whole_number_is_whole():
    read = attributes(FrameTime=33.3)
    assert read.whole("FrameTime") is None
    assert read.warnings == ["FrameTime is 33.3, not a whole number, and is not used."]


def test_a_sentence_names_its_place():
    noted: list[str] = []
    Attributes(Dataset(), noted, place="Region 2: ").warn("it is odd.")
    assert noted == ["Region 2: it is odd."]


def test_a_long_value_is_quoted_short():
    read = attributes(ImageComments="x" * 500)
    assert read.numbers("ImageComments") is None
    assert len(read.warnings[0]) < 120
