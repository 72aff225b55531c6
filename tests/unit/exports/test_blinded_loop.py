"""A blinded copy: its source's frames and facts to the last digit, and none of its identifiers."""

import gzip
import shutil
import zipfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import pydicom
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pydicom.datadict import tag_for_keyword
from pydicom.dataelem import RawDataElement
from pydicom.dataset import Dataset
from pydicom.encaps import encapsulate, generate_frames
from pydicom.sequence import Sequence
from pydicom.tag import Tag

from annot.errors import InputError
from annot.exports import deidentification, deidentification_table
from annot.exports.blinded_check import refuse_leak, refuse_unlike
from annot.exports.blinded_loop import BlindedLoop, BlindIdentity, Blinding, write_blinded
from annot.exports.lossless_frames import ENCODINGS
from annot.loops import open_loop, read_header
from annot.reads.blinding import PictureMask, default_mask
from annot.reads.key_file import keyed_uid
from synthetic_dicom.encode import ENCODINGS as STORED
from tests import planted
from tests.leak_search import found_in, holds, shows

SECRET = "5c" * 32


def blinding(path: Path, *, code: str = "K7QXW2M", **changes) -> Blinding:
    mask = changes.pop("mask", None) or default_mask(read_header(path))
    made = Blinding(
        identity=BlindIdentity(code=code, uid_of=lambda uid: keyed_uid(SECRET, code, uid)),
        mask=mask,
        looked=True,
    )
    return replace(made, **changes)


def blind(
    path: Path, folder: Path, *, code: str = "K7QXW2M", **changes
) -> tuple[Path, BlindedLoop]:
    folder.mkdir(exist_ok=True)
    target = folder / f"{code}.dcm"
    return target, write_blinded(path, target, blinding=blinding(path, code=code, **changes))


@pytest.mark.parametrize("encoding", ENCODINGS)
@pytest.mark.parametrize(
    ("case", "burned"), [("us_045", True), ("us_grey", True), ("xa_clean", False)]
)
def test_no_planted_string_is_found_in_any_byte(case, burned, encoding, tmp_path):
    source = planted.planted_loop(tmp_path / "in", case, burned=burned)
    copy, _ = blind(source, tmp_path / "out", encoding=encoding, padding=500)
    assert found_in(tmp_path / "out", planted.STRINGS) == []
    shown = pydicom.dcmread(copy).pixel_array
    assert not shows(shown, planted.glyphs())
    # the search itself finds every string in the source, in its pixels too
    assert {text for _, text in found_in(tmp_path / "in", planted.STRINGS)} == set(planted.STRINGS)
    assert shows(pydicom.dcmread(source).pixel_array, planted.glyphs()) == burned


def test_the_search_looks_into_archives(tmp_path):
    (tmp_path / "one.gz").write_bytes(gzip.compress(b"..Zwiebelturm.."))
    with zipfile.ZipFile(tmp_path / "two.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("inner.gz", gzip.compress(b"Quendoline" * 10))
        archive.writestr("7741903.txt", b"nothing")
    found = found_in(tmp_path, planted.STRINGS)
    assert {text for _, text in found} == {planted.NAME, planted.GIVEN, "7741903"}
    assert holds("Zwiebelturm".encode("utf-16-le"), planted.NAME)


@pytest.mark.parametrize("stored", STORED)
def test_whatever_encoding_a_loop_has_its_copy_has_the_same_frames(stored, tmp_path):
    source = planted.planted_loop(tmp_path / "in", "us_000", encoding=stored)
    copy, _ = blind(source, tmp_path / "out")
    assert found_in(tmp_path / "out", planted.STRINGS) == []
    ours, theirs = open_loop(source), open_loop(copy)
    kept = default_mask(ours.header).visible(ours.header.rows, ours.header.columns)
    for number in range(ours.frames):
        assert np.array_equal(ours.frame(number)[kept], theirs.frame(number)[kept])
        assert not theirs.frame(number)[~kept].any()


LEAKS = {
    "ImageComments": planted.COMMENT,
    "InstitutionName": planted.PLACE,
    "DeviceSerialNumber": "SERIAL-8812",
    "FrameOfReferenceUID": planted.UID,
    "AcquisitionDateTime": planted.DAY,
    "OverlayComments": planted.OVERLAY,
    "RequestAttributesSequence": planted.NESTED,
}


@pytest.mark.parametrize("keyword", sorted(LEAKS))
def test_the_search_finds_what_a_broken_table_lets_pass(keyword, tmp_path, monkeypatch):
    """Break the allow-list by one attribute, the copy's own second look switched off."""
    source = planted.planted_loop(tmp_path / "in", "us_grey")
    stored = pydicom.dcmread(source)
    whole = deidentification.cleaned

    def leaky(dataset, identity):
        result = whole(dataset, identity)
        tag = 0x60001500 if keyword == "OverlayComments" else tag_for_keyword(keyword)
        result[tag] = stored[tag]
        return result

    monkeypatch.setattr("annot.exports.blinded_loop.cleaned", leaky)
    monkeypatch.setattr("annot.exports.blinded_loop.refuse_leak", lambda *_: None)
    blind(source, tmp_path / "out")
    assert LEAKS[keyword] in {text for _, text in found_in(tmp_path / "out", planted.STRINGS)}


@pytest.mark.parametrize("leak", ["PatientName", "InstitutionName", "AccessionNumber"])
def test_a_copy_that_holds_an_identifier_is_refused(leak, tmp_path):
    source = planted.planted_loop(tmp_path / "in", "us_grey")
    copy, _ = blind(source, tmp_path / "out")
    refuse_leak(source, copy)
    dataset = pydicom.dcmread(copy)
    dataset.ImageComments = str(pydicom.dcmread(source)[leak].value)
    dataset.save_as(copy)
    with pytest.raises(InputError, match=leak) as refused:
        refuse_leak(source, copy)
    # the sentence names file and attribute, never the value
    said = refused.value.message.replace(source.name, "").encode()
    assert not any(holds(said, one) for one in planted.STRINGS)


def test_bits_above_the_stored_ones_do_not_reach_a_copy(tmp_path):
    """Old files keep overlays in the unused bits of a pixel; there a text can be drawn too."""
    source = planted.planted_loop(tmp_path / "in", "xa_clean")
    dataset = pydicom.dcmread(source)
    pixels = np.frombuffer(dataset.PixelData, dtype="<u2").copy()
    pixels |= 0xF000
    dataset.PixelData = pixels.tobytes()
    dataset.save_as(source)
    for encoding in ENCODINGS:
        copy, _ = blind(source, tmp_path / "out", code=encoding.upper(), encoding=encoding)
        assert pydicom.dcmread(copy).pixel_array.max() < 4096


def test_a_comment_inside_a_compressed_picture_stays_behind(tmp_path):
    source = planted.planted_loop(tmp_path / "in", "us_000", encoding="jpeg")
    dataset = pydicom.dcmread(source)
    said = b"MARKER-" + planted.NAME.encode()
    comment = b"\xff\xfe" + (len(said) + 2).to_bytes(2) + said
    frames = [
        frame[:2] + comment + frame[2:]
        for frame in generate_frames(dataset.PixelData, number_of_frames=2)
    ]
    dataset.PixelData = encapsulate(frames)
    dataset.save_as(source)
    assert found_in(tmp_path / "in", ["MARKER-"])
    blind(source, tmp_path / "out")
    assert found_in(tmp_path / "out", ["MARKER-", *planted.STRINGS]) == []


def test_two_showings_of_one_loop_share_nothing_but_the_picture(tmp_path):
    source = planted.planted_loop(tmp_path / "in", "xa_clean")
    first, one = blind(source, tmp_path / "out", code="AAAAAAA", padding=100)
    second, two = blind(source, tmp_path / "out", code="BBBBBBB", padding=740)
    assert one.sop_instance_uid != two.sop_instance_uid
    ours, theirs = (pydicom.dcmread(path) for path in (first, second))
    uids = [{str(e.value) for e in each.iterall() if e.VR == "UI"} for each in (ours, theirs)]
    assert uids[0] & uids[1] == {ours.SOPClassUID}
    assert ours.PatientID == "AAAAAAA" != theirs.PatientID
    assert first.stat().st_size != second.stat().st_size
    assert ours.PixelData == theirs.PixelData


def test_a_uid_is_replaced_by_the_same_one_throughout_a_copy(tmp_path):
    source = planted.planted_loop(tmp_path / "in", "xa_clean")
    original = pydicom.dcmread(source)
    original.ReferencedImageSequence[0].ReferencedSOPInstanceUID = original.SOPInstanceUID
    original.save_as(source)
    copy, made = blind(source, tmp_path / "out")
    dataset = pydicom.dcmread(copy)
    assert dataset.ReferencedImageSequence[0].ReferencedSOPInstanceUID == made.sop_instance_uid
    assert dataset.file_meta.MediaStorageSOPInstanceUID == made.sop_instance_uid
    assert len(made.sop_instance_uid) <= 64
    assert dataset.StudyInstanceUID != dataset.SeriesInstanceUID


def test_what_was_done_is_stated(tmp_path):
    """PS3.15 E.1.1 and E.3.1: Burned In Annotation is NO only once the picture was cleaned."""
    source = planted.planted_loop(tmp_path / "in", "us_grey", burned=True)
    copy, made = blind(source, tmp_path / "out")
    dataset = pydicom.dcmread(copy)
    assert made.options == ("113100", "113101")
    assert dataset.PatientIdentityRemoved == "YES"
    assert dataset.BurnedInAnnotation == "NO"
    assert dataset.LongitudinalTemporalInformationModified == "REMOVED"
    unseen, made = blind(source, tmp_path / "out", code="UNSEEN2", looked=False)
    assert made.options == ("113100",)
    assert "BurnedInAnnotation" not in pydicom.dcmread(unseen)


def enhanced(path: Path, moments: list[str]) -> Path:
    """Turn a written loop into one whose frames are timed by moments of a real day alone."""
    dataset = pydicom.dcmread(path)
    dataset.SOPClassUID = "1.2.840.10008.5.1.4.1.1.12.1.1"
    dataset.file_meta.MediaStorageSOPClassUID = dataset.SOPClassUID
    del dataset.FrameTime, dataset.FrameIncrementPointer
    groups = []
    for moment in moments:
        content, group = Dataset(), Dataset()
        content.FrameAcquisitionDateTime = moment
        content.FrameComments = planted.NAME
        group.FrameContentSequence = Sequence([content])
        groups.append(group)
    dataset.PerFrameFunctionalGroupsSequence = Sequence(groups)
    dataset.save_as(path)
    return path


def test_moments_of_frames_move_to_an_invented_day_and_keep_their_distances(tmp_path):
    source = planted.planted_loop(tmp_path / "in", "xa_clean", frames=3)
    moments = ["20190823235959.990000", "20190824000000.056667", "20190824000000.123334"]
    enhanced(source, moments)
    copy, made = blind(source, tmp_path / "out")
    assert found_in(tmp_path / "out", [*planted.STRINGS, "20190824", "235959"]) == []
    assert made.options == ("113100", "113101", "113107")
    times = read_header(copy).frame_times.times_ms
    assert times == read_header(source).frame_times.times_ms == pytest.approx((0, 66.667, 133.334))
    first = pydicom.dcmread(copy).PerFrameFunctionalGroupsSequence[0].FrameContentSequence[0]
    assert str(first.FrameAcquisitionDateTime).startswith("20000101000000")


def test_a_name_that_every_enhanced_copy_bears_is_no_leak(tmp_path):
    """A loop whose names were taken out before, of a patient born on the invented day."""
    source = planted.planted_loop(tmp_path / "in", "xa_clean", frames=2)
    enhanced(source, ["20190823235959.990000", "20190824000000.056667"])
    dataset = pydicom.dcmread(source)
    dataset.PatientName, dataset.PatientBirthDate = "REMOVED", "20000101"
    dataset.save_as(source)
    copy, _ = blind(source, tmp_path / "out")
    assert pydicom.dcmread(copy).DeviceSerialNumber == "REMOVED"


def test_a_table_of_intensities_keeps_its_entries_and_no_byte_more(tmp_path):
    source = planted.planted_loop(tmp_path / "in", "xa_clean")
    dataset = pydicom.dcmread(source)
    table = Dataset()
    table.add_new(0x00283002, "US", [4, 0, 16])
    table.ModalityLUTType, table.LUTExplanation = "US", planted.NAME
    entries = np.array([1, 2, 3, 4], dtype="<u2").tobytes()
    table.add_new(0x00283006, "OW", entries + planted.NAME.encode() + b"\0")
    dataset.ModalityLUTSequence = Sequence([table])
    dataset.PixelIntensityRelationship = "LOG"
    dataset.save_as(source)
    copy, _ = blind(source, tmp_path / "out")
    assert found_in(tmp_path / "out", planted.STRINGS) == []
    assert pydicom.dcmread(copy).ModalityLUTSequence[0].LUTData == entries
    assert open_loop(copy).display.modality_table.entries == (1, 2, 3, 4)


def test_a_fact_that_would_be_lost_refuses_the_copy(tmp_path, monkeypatch):
    source = planted.planted_loop(tmp_path / "in", "xa_clean")
    short = {k: v for k, v in deidentification_table.TABLE.items() if k != "ImagerPixelSpacing"}
    monkeypatch.setattr(deidentification, "TABLE", short)
    with pytest.raises(InputError, match="would lose what the header says of xray"):
        blind(source, tmp_path / "out")
    assert list((tmp_path / "out").iterdir()) == []


def test_a_frame_that_differs_refuses_the_copy(tmp_path):
    source = planted.planted_loop(tmp_path / "in", "xa_clean")
    copy, _ = blind(source, tmp_path / "out")
    with pytest.raises(InputError, match="frame 0 of its blinded copy"):
        refuse_unlike(open_loop(source), copy, ["0" * 64])


def test_a_box_outside_the_picture_is_refused(tmp_path):
    source = planted.planted_loop(tmp_path / "in", "xa_clean")
    with pytest.raises(InputError, match="does not lie in a picture"):
        blind(source, tmp_path / "out", mask=PictureMask(shown=((0, 0, 10**4, 5),)))


TEXT = st.text(alphabet=st.characters(min_codepoint=65, max_codepoint=122), min_size=8, max_size=16)
PLACES = (
    *("PatientName", "ImageComments", "ProtocolName", "KVP", "ImageType", "FrameTime"),
    *("BodyPartExamined", "Modality", "PositionerMotion", "ImagerPixelSpacing", "SOPClassUID"),
    *("StudyInstanceUID", "ShutterShape", "TransducerType", "HeartRate", "LossyImageCompression"),
)


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(text=TEXT, place=st.sampled_from(PLACES), vr=st.sampled_from(["LO", "UN", "CS", "UT", "OB"]))
def test_no_text_passes_whatever_attribute_it_stands_in(text, place, vr):
    """Even where a file gives an attribute a VR that it must not have."""
    tag = Tag(tag_for_keyword(place))
    stored = RawDataElement(tag, vr, len(text), text.encode(), 0, False, True)
    dataset, item = Dataset({tag: stored}), Dataset({tag: stored})
    with deidentification.captured_warnings():
        dataset.SequenceOfUltrasoundRegions = Sequence([item])
        result = deidentification.cleaned(
            dataset, BlindIdentity(code="K7", uid_of=lambda uid: keyed_uid(SECRET, uid))
        )
    assert text not in str(result)


def test_a_copy_is_written_over_nothing_when_the_disc_refuses(tmp_path):
    source = planted.planted_loop(tmp_path / "in", "xa_clean")
    with pytest.raises(InputError, match="cannot be written"):
        write_blinded(source, tmp_path / "no" / "K.dcm", blinding=blinding(source))
    shutil.rmtree(tmp_path / "in")
