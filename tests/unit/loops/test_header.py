"""The header as a whole: what it says, what it keeps to itself."""

import logging
from dataclasses import fields

import pytest

from annot.loops import open_loop, read_header

IDENTITY = {
    "PatientName": "HIDDEN^NAME",
    "PatientID": "HIDDENID",
    "PatientBirthDate": "19010203",
    "AccessionNumber": "HIDDENACC",
    "InstitutionName": "HIDDEN HOUSE",
    "OperatorsName": "HIDDEN^HAND",
    "StudyDescription": "HIDDEN WORDS",
    "DeviceSerialNumber": "HIDDENSERIAL",
    "StudyDate": "19010203",
    "ImageComments": "HIDDEN COMMENT",
}


def test_the_header_holds_no_identity(write_loop):
    header = read_header(write_loop(**IDENTITY))
    told = " ".join(repr(getattr(header, field.name)) for field in fields(header))
    assert "HIDDEN" not in told
    assert "1901" not in told


def test_faults_of_identifying_attributes_are_neither_shown_nor_logged(write_loop, caplog, capsys):
    path = write_loop(
        PatientBirthDate=b"HIDDEN DATE", PatientID=b"HIDDEN" * 40, StudyInstanceUID=b"HIDDEN.UID"
    )
    caplog.clear()
    with caplog.at_level(logging.DEBUG):
        header = open_loop(path).header
    assert "HIDDEN" not in caplog.text + "".join(capsys.readouterr()) + "".join(header.warnings)


def test_the_sizes_and_names_are_the_files(write_loop):
    path = write_loop(bits_stored=12)
    header = read_header(str(path))
    assert header.path == path
    assert header.sop_instance_uid == "1.2.826.0.1.3680043.10.511.1"
    assert header.study_instance_uid == "1.2.826.0.1.3680043.10.511.1.2"
    assert header.series_instance_uid == "1.2.826.0.1.3680043.10.511.1.3"
    assert header.sop_class_uid == "1.2.840.10008.5.1.4.1.1.12.1"
    assert header.modality == "XA"
    assert header.transfer_syntax_uid == "1.2.840.10008.1.2.1"
    assert header.transfer_syntax_name == "Explicit VR Little Endian"
    assert (header.frames, header.rows, header.columns) == (3, 4, 5)
    assert (header.bits_allocated, header.bits_stored, header.pixel_representation) == (16, 12, 0)
    assert (header.samples_per_pixel, header.photometric) == (1, "MONOCHROME2")
    assert not header.colour
    assert header.warnings == ()


@pytest.mark.parametrize(
    ("changes", "field", "value", "words"),
    [
        ({"WindowCenter": [100, 5], "WindowWidth": [400, 6]}, "window", (100, 400), None),
        ({"WindowCenter": 100, "WindowWidth": 0}, "window", None, "WindowWidth is 0"),
        ({"WindowCenter": 100}, "window", None, None),
        ({"WindowCenter": b"mid", "WindowWidth": 40}, "window", None, "'mid'"),
        ({"BurnedInAnnotation": "YES"}, "burned_in", True, None),
        ({"BurnedInAnnotation": "NO"}, "burned_in", False, None),
        ({"BurnedInAnnotation": "PERHAPS"}, "burned_in", None, "none of YES, NO"),
        ({}, "burned_in", None, None),
        ({"LossyImageCompression": "01"}, "lossy", True, None),
        ({"LossyImageCompression": "00"}, "lossy", False, None),
        ({}, "lossy", None, None),
        ({"Modality": None}, "modality", "", "Modality is missing"),
        ({"Modality": "US"}, "modality", "US", "another kind of image"),
        ({"StudyInstanceUID": None}, "study_instance_uid", "", "StudyInstanceUID is missing"),
        ({"SequenceOfUltrasoundRegions": b""}, "regions", (), None),
    ],
)
def test_optional_facts(write_loop, changes, field, value, words):
    header = read_header(write_loop(**changes))
    assert getattr(header, field) == value
    if words is None:
        assert header.warnings == ()
    else:
        assert any(words in sentence for sentence in header.warnings), header.warnings


def test_a_missing_sop_instance_uid_is_taken_from_the_file_meta_and_said(write_loop):
    header = read_header(write_loop(SOPInstanceUID=""))
    assert header.sop_instance_uid == "1.2.826.0.1.3680043.10.511.1"
    assert any("file meta information is used" in sentence for sentence in header.warnings)


def test_two_sop_instance_uids_are_noted_and_the_images_own_counts(write_loop):
    path = write_loop()
    own = b"1.2.826.0.1.3680043.10.511.1"
    path.write_bytes(path.read_bytes().replace(own, own[:-1] + b"9", 1))
    header = read_header(path)
    assert header.sop_instance_uid == own.decode()
    assert any("another SOP Instance UID" in sentence for sentence in header.warnings)


def test_a_warning_is_said_once(write_loop):
    header = read_header(write_loop(ImagerPixelSpacing=[0, 0]))
    assert len(header.warnings) == len(set(header.warnings)) == 1
