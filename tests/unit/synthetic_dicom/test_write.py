"""Files: deterministic, whole, decodable in every encoding, and with the header they promise."""

import numpy as np
import pydicom
import pytest
from pydicom.pixels import pixel_array

from synthetic_dicom.case import Identity
from synthetic_dicom.cases import CASES, render_case, write_case
from synthetic_dicom.encode import ENCODINGS, put_pixels
from synthetic_dicom.headers import capture_header
from synthetic_dicom.write import write_loop

SYNTAXES = {
    "explicit": "1.2.840.10008.1.2.1",
    "implicit": "1.2.840.10008.1.2",
    "rle": "1.2.840.10008.1.2.5",
    "jpeg": "1.2.840.10008.1.2.4.50",
    "jpeg-lossless": "1.2.840.10008.1.2.4.70",
    "jpeg-ls": "1.2.840.10008.1.2.4.80",
    "jpeg-2000": "1.2.840.10008.1.2.4.90",
    "htj2k": "1.2.840.10008.1.2.4.201",
}


def read(path):
    return pydicom.dcmread(path)


@pytest.mark.parametrize(
    ("name", "encoding"),
    [("xa_sphere", "explicit"), *(("us_000", encoding) for encoding in ENCODINGS)],
)
def test_the_same_seed_gives_the_same_bytes(name, encoding, tmp_path):
    first = write_case(name, tmp_path / "a", seed=11, frames=2, encoding=encoding)
    second = write_case(name, tmp_path / "b", seed=11, frames=2, encoding=encoding)
    other = write_case(name, tmp_path / "c", seed=12, frames=2, encoding=encoding)
    assert first.path.read_bytes() == second.path.read_bytes()
    assert first.truth_path.read_bytes() == second.truth_path.read_bytes()
    assert first.path.read_bytes() != other.path.read_bytes()


def test_identifiers_tell_files_apart_and_keep_a_study_together(tmp_path):
    loops = [
        write_case("xa_clean", tmp_path / "1", frames=2),
        write_case("us_000", tmp_path / "2", frames=2),
        write_case("xa_clean", tmp_path / "3", frames=2, encoding="rle"),
        write_case("xa_clean", tmp_path / "4", frames=3),
    ]
    headers = [read(loop.path) for loop in loops]
    assert len({header.SOPInstanceUID for header in headers}) == 4
    assert len({header.StudyInstanceUID for header in headers}) == 1
    for header, loop in zip(headers, loops, strict=True):
        assert header.SOPInstanceUID == loop.truth.sop_instance_uid
        assert header.file_meta.MediaStorageSOPInstanceUID == header.SOPInstanceUID


@pytest.mark.parametrize("encoding", ENCODINGS)
@pytest.mark.parametrize("name", ["xa_clean", "us_000", "us_grey", "sc_single"])
def test_pixels_come_back_in_every_encoding(name, encoding, tmp_path):
    frames = min(2, CASES[name].frames)
    made = write_case(name, tmp_path, frames=frames, encoding=encoding)
    header = read(made.path)
    assert header.file_meta.TransferSyntaxUID == SYNTAXES[encoding]
    stored, _ = render_case(name, frames=frames)
    back = pixel_array(header).reshape(stored.shape)
    if encoding != "jpeg":
        assert (back == stored).all()
        assert header.LossyImageCompression == "00"
        return
    expected = (stored >> 4) if stored.dtype == np.uint16 else stored
    difference = np.abs(back.astype(int) - expected.astype(int))
    assert difference.mean() < 4.0
    assert header.LossyImageCompression == "01"
    assert header.BitsStored == 8


def test_runs_and_literals_are_packed_as_an_independent_decoder_reads_them():
    # The other party is pydicom's own decoder.
    rng = np.random.default_rng(1)
    noisy = rng.integers(0, 4096, (2, 7, 300), dtype=np.uint16)
    runs = np.repeat(rng.integers(0, 255, (1, 5, 3)), [1, 2, 260], axis=2).astype(np.uint16)
    colour = rng.integers(0, 3, (2, 6, 131, 3), dtype=np.uint8)
    lone = np.ones((1, 2, 1), np.uint16)
    for frames in (noisy, runs, colour, lone, np.zeros((2, 3, 129), np.uint8)):
        identity = Identity(case="x", seed=1, frames=len(frames), encoding="rle")
        header = capture_header(identity, frame_time_ms=40.0)
        put_pixels(header, frames, encoding="rle")
        assert (pixel_array(header).reshape(frames.shape) == frames).all()


def test_an_unknown_encoding_case_or_length_is_refused(tmp_path):
    with pytest.raises(ValueError, match="Unknown encoding 'zip'"):
        write_case("xa_clean", tmp_path, frames=1, encoding="zip")
    with pytest.raises(ValueError, match="No case 'xa'"):
        write_case("xa", tmp_path)
    with pytest.raises(ValueError, match="1 frame or more"):
        write_case("xa_clean", tmp_path, frames=0)
    with pytest.raises(ValueError, match="seed must be 0 or more"):
        write_case("xa_clean", tmp_path, seed=-1)
    with pytest.raises(ValueError, match="single image"):
        write_case("sc_single", tmp_path, frames=2)
    assert list(tmp_path.iterdir()) == []


def test_a_failed_write_leaves_the_old_file_and_no_rest(tmp_path):
    class Failing:
        def save_as(self, stream, **_):
            stream.write(b"half")
            raise OSError("disk full")

    made = write_case("us_grey", tmp_path, frames=1)
    before = made.path.read_bytes()
    with pytest.raises(OSError, match="disk full"):
        write_loop(Failing(), made.truth, tmp_path)
    assert made.path.read_bytes() == before
    assert sorted(item.name for item in tmp_path.iterdir()) == [
        "us_grey.dcm",
        "us_grey.truth.json",
    ]


@pytest.mark.parametrize("name", ["xa_clean", "xa_caudal"])
def test_an_angiography_header_says_what_the_truth_says(name, tmp_path):
    made = write_case(name, tmp_path, frames=4)
    header, geometry = read(made.path), made.truth.geometry
    assert header.Modality == "XA"
    assert tuple(header.ImagerPixelSpacing) == geometry.imager_spacing_mm
    assert header.DistanceSourceToDetector == geometry.sid_mm
    assert header.DistanceSourceToPatient == geometry.sod_mm
    assert header.PositionerPrimaryAngle == geometry.primary_deg
    assert header.PositionerSecondaryAngle == geometry.secondary_deg
    assert header.PixelIntensityRelationship == "LIN"
    assert "PixelSpacing" not in header
    times = [float(header.FrameTime) * index for index in range(4)]
    assert made.truth.frame_times_ms == pytest.approx(times, abs=1e-6)


def test_missing_geometry_is_really_missing(tmp_path):
    header = read(write_case("xa_no_spacing", tmp_path, frames=2).path)
    absent = (
        "ImagerPixelSpacing",
        "PixelSpacing",
        "DistanceSourceToDetector",
        "DistanceSourceToPatient",
        "EstimatedRadiographicMagnificationFactor",
    )
    assert not [name for name in absent if name in header]


def test_an_echo_header_declares_the_sector_in_centimetres(tmp_path):
    made = write_case("us_045", tmp_path, frames=3)
    header, geometry = read(made.path), made.truth.geometry
    sector, trace = header.SequenceOfUltrasoundRegions
    assert (sector.RegionSpatialFormat, trace.RegionSpatialFormat) == (1, 4)
    assert (sector.PhysicalUnitsXDirection, sector.PhysicalUnitsYDirection) == (3, 3)
    assert 10.0 * sector.PhysicalDeltaY == pytest.approx(geometry.mm_per_px[0])
    assert 10.0 * sector.PhysicalDeltaX == pytest.approx(geometry.mm_per_px[1])
    assert sector.PhysicalDeltaX != sector.PhysicalDeltaY
    box = (
        sector.RegionLocationMinX0,
        sector.RegionLocationMinY0,
        sector.RegionLocationMaxX1,
        sector.RegionLocationMaxY1,
    )
    assert box == geometry.region
    assert box[2] < header.Columns
    assert box[3] < header.Rows
    assert np.cumsum([float(v) for v in header.FrameTimeVector]) == pytest.approx(
        made.truth.frame_times_ms
    )
    assert "FrameTime" not in header


def test_the_grey_loop_has_one_frame_time_and_r_waves(tmp_path):
    made = write_case("us_grey", tmp_path)
    header = read(made.path)
    assert "FrameTimeVector" not in header
    assert header.PhotometricInterpretation == "MONOCHROME2"
    assert header.RWaveTimeVector == pytest.approx(made.truth.r_wave_times_ms, abs=1e-3)
    assert 2 <= len(made.truth.r_wave_times_ms) <= 3


def test_regions_are_wrong_or_absent_only_on_purpose(tmp_path):
    stale = read(write_case("us_stale_region", tmp_path, frames=1).path)
    sector = stale.SequenceOfUltrasoundRegions[0]
    assert sector.RegionLocationMaxX1 >= stale.Columns
    none = read(write_case("us_no_region", tmp_path, frames=1).path)
    assert "SequenceOfUltrasoundRegions" not in none
    two = read(write_case("us_two_regions", tmp_path, frames=1).path)
    formats = [item.RegionSpatialFormat for item in two.SequenceOfUltrasoundRegions]
    assert formats == [1, 1, 4]
    first, second = two.SequenceOfUltrasoundRegions[:2]
    assert first.PhysicalDeltaX != second.PhysicalDeltaX
    assert first.RegionLocationMaxX1 < second.RegionLocationMinX0


@pytest.mark.parametrize("name", sorted(CASES))
def test_no_header_carries_an_identity_or_an_overlong_number(name, tmp_path):
    made = write_case(name, tmp_path, frames=1)
    header = read(made.path)
    assert header.PatientName == "SYNTHETIC^LOOP"
    assert header.PatientIdentityRemoved == "YES"
    assert header.StudyDate == ""
    assert header.BurnedInAnnotation == "NO"
    # Decimal strings hold 16 characters at most (PS3.5); pydicom writes longer ones unasked.
    for element in header.iterall():
        if element.VR == "DS" and element.value not in (None, ""):
            values = element.value if element.VM > 1 else [element.value]
            assert all(len(str(value)) <= 16 for value in values), element


def test_screen_captures_have_no_scale(tmp_path):
    for name in ("sc_single", "sc_multi"):
        header = read(write_case(name, tmp_path, frames=1).path)
        assert header.Modality == "OT"
        assert "PixelSpacing" not in header
        assert "ImagerPixelSpacing" not in header
    assert "NumberOfFrames" not in read(tmp_path / "sc_single.dcm")
