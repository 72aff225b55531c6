"""Folders of single images from the list to the table: one line, one loop, each row its image."""

import json
from pathlib import Path

import numpy as np
import pytest
from pydicom import dcmread
from pydicom.dataset import Dataset, FileMetaDataset
from pydicom.uid import ExplicitVRLittleEndian, XRayAngiographicImageStorage

from annot.errors import LoopError
from annot.exports import rows_of
from annot.tasks.measure import measure_read
from annot.tasks.open import list_loops, open_loop
from annot.tasks.read import load_read

COUNTER = Path("/proc/self/io")
SOP = "1.2.826.0.1.3680043.8.498.4"


def write_image(path: Path, n: int, **attributes) -> None:
    image = Dataset()
    image.file_meta = FileMetaDataset()
    image.file_meta.TransferSyntaxUID = ExplicitVRLittleEndian
    image.SOPClassUID, image.SOPInstanceUID = XRayAngiographicImageStorage, f"{SOP}.{n}"
    image.StudyInstanceUID, image.SeriesInstanceUID = f"{SOP}.7", f"{SOP}.8"
    image.Modality, image.InstanceNumber = "XA", n + 1
    image.AcquisitionDateTime = f"20010203120000.{n}"
    image.Rows, image.Columns = 60, 80
    image.SamplesPerPixel, image.PhotometricInterpretation = 1, "MONOCHROME2"
    image.BitsAllocated, image.BitsStored, image.HighBit = 16, 12, 11
    image.PixelRepresentation = 0
    image.ImagerPixelSpacing = [0.2, 0.2]
    image.DistanceSourceToDetector, image.DistanceSourceToPatient = 1000, 750
    image.PixelData = np.full((60, 80), 100 * n, np.uint16).tobytes()
    for keyword, value in attributes.items():
        setattr(image, keyword, value)
    image.save_as(path, enforce_file_format=True)


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "run").mkdir()
    for n in range(4):
        write_image(tmp_path / "run" / f"{n}.dcm", n)
    return tmp_path / "run"


def test_one_line_stands_for_the_files_of_one_loop(folder):
    write_image(folder.parent / "alone.dcm", 9, SeriesInstanceUID=f"{SOP}.9")
    listed = {one.path.name: one for one in list_loops([folder.parent])}
    assert set(listed) == {"alone.dcm", "run"}
    facts = listed["run"].facts()
    assert (facts["files"], facts["frames"], facts["file"]) == (4, 4, str(folder))
    assert facts["frames_per_second"] == pytest.approx(10)
    assert listed["alone.dcm"].facts()["files"] == 1


def test_files_named_one_by_one_are_listed_one_by_one(folder):
    files = sorted(folder.iterdir())
    assert [one.path for one in list_loops(files)] == files


@pytest.mark.parametrize(
    "odd",
    [
        {"SeriesInstanceUID": f"{SOP}.9"},
        {"NumberOfFrames": 2, "PixelData": bytes(2 * 60 * 80 * 2)},
        {"ImagerPixelSpacing": [0.3, 0.3]},
        {"AcquisitionDateTime": "20010203120100.3"},
    ],
)
def test_a_folder_that_is_no_loop_is_listed_file_by_file(folder, odd):
    write_image(folder / "3.dcm", 3, **odd)
    assert [one.path.name for one in list_loops([folder])] == ["0.dcm", "1.dcm", "2.dcm", "3.dcm"]


def test_an_index_that_names_some_files_lists_only_those(folder):
    for n in range(4):
        (folder / f"{n}.dcm").rename(folder / f"I{n}")
    index = Dataset()
    index.file_meta = FileMetaDataset()
    index.file_meta.TransferSyntaxUID = ExplicitVRLittleEndian
    index.SOPClassUID, index.SOPInstanceUID = "1.2.840.10008.1.3.10", f"{SOP}.99"
    index.DirectoryRecordSequence = [Dataset(), Dataset()]
    for record, name in zip(index.DirectoryRecordSequence, ("I0", "I2"), strict=True):
        record.DirectoryRecordType, record.ReferencedFileID = "IMAGE", [folder.name.upper(), name]
    folder = folder.rename(folder.parent / "RUN")
    index.save_as(folder.parent / "DICOMDIR", enforce_file_format=True)
    listed = list(list_loops([folder.parent / "DICOMDIR"]))
    assert [one.path for one in listed] == [folder / "I0", folder / "I2"]


@pytest.mark.skipif(not COUNTER.exists(), reason="needs Linux's byte counter")
def test_listing_a_folder_as_one_loop_reads_no_pixels(tmp_path):
    for n in range(4):
        size = {"Rows": 1000, "Columns": 1000, "PixelData": bytes(2_000_000)}
        write_image(tmp_path / f"{n}.dcm", n, **size)
    before = int(COUNTER.read_text().split("rchar: ")[1].split()[0])
    [one] = list_loops([tmp_path])
    read = int(COUNTER.read_text().split("rchar: ")[1].split()[0]) - before
    assert (one.files, read < 8 << 16) == (4, True)  # of eight million


def test_a_file_at_fault_is_listed_with_its_fault(folder):
    whole = (folder / "1.dcm").read_bytes()
    (folder / "1.dcm").write_bytes(whole[:300])
    listed = list(list_loops([folder]))
    assert [one.header is None for one in listed] == [False, True, False, False]
    assert listed[1].fault


def test_a_row_names_the_image_that_it_was_read_from(folder):
    calipers = [
        {"id": f"c{n}", "quantity": "depth", "frame": n, "points_px": [[10, 10], [40, 50]]}
        for n in (0, 2)
    ]
    loop = {"file": "run", "scale": {"kind": "header"}, "calipers": calipers}
    path = folder.parent / "read.json"
    path.write_text(json.dumps({"annot_read": 1, "reader": "A", "study": "S", "loops": [loop]}))
    rows = rows_of(measure_read(load_read(path), folder.parent))
    for row, n in zip(rows, (0, 2), strict=True):
        # What the row says leads back, with the library alone, to the file and its only frame.
        assert row["sop_instance_uid"] == dcmread(folder / f"{n}.dcm").SOPInstanceUID
        assert (row["frame"], row["dicom_frame"]) == (n, 1)
        assert row["time_ms"] == pytest.approx(100 * n)
        assert (row["value"], row["unit"]) == (pytest.approx(50 * 0.2 * 0.75), "mm")


def test_a_file_opens_as_before_and_a_folder_of_folders_says_what_to_do(folder):
    assert open_loop(folder / "2.dcm").frames == 1
    assert open_loop(folder).frame(3).max() == 300
    with pytest.raises(LoopError, match="name a file or another folder"):
        open_loop(folder.parent)
