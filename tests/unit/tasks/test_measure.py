"""A whole read: what is refused, with which sentence, and what is never half done."""

import json

import numpy as np
import pytest
from pydicom.dataset import Dataset, FileMetaDataset
from pydicom.uid import ExplicitVRLittleEndian, XRayAngiographicImageStorage

from annot.errors import InputError, LoopError
from annot.exports import rows_of
from annot.tasks.export import write_table
from annot.tasks.measure import measure_read
from annot.tasks.read import load_read, save_read

SOP = "1.2.826.0.1.3680043.8.498.1"


def write_loop(path, *, frames=3, uid=SOP, spacing=True, sid=1000, pixels=None):
    ds = Dataset()
    ds.file_meta = FileMetaDataset()
    ds.file_meta.TransferSyntaxUID = ExplicitVRLittleEndian
    ds.SOPClassUID, ds.SOPInstanceUID = XRayAngiographicImageStorage, uid
    ds.StudyInstanceUID, ds.SeriesInstanceUID, ds.Modality = f"{SOP}.7", f"{SOP}.8", "XA"
    ds.Rows, ds.Columns, ds.NumberOfFrames = 60, 80, frames
    ds.SamplesPerPixel, ds.PhotometricInterpretation, ds.PixelRepresentation = 1, "MONOCHROME2", 0
    ds.BitsAllocated, ds.BitsStored, ds.HighBit = 16, 12, 11
    if spacing:
        ds.ImagerPixelSpacing = [0.2, 0.2]
        ds.DistanceSourceToDetector, ds.DistanceSourceToPatient = sid, 750
    if pixels is None:
        pixels = np.full((frames, 60, 80), 900, np.uint16)
    ds.Rows, ds.Columns, ds.NumberOfFrames = *pixels.shape[1:], len(pixels)
    ds.PixelData = pixels.tobytes()
    ds.save_as(path, enforce_file_format=True)
    return path


def caliper(**more):
    return {
        "id": "a",
        "quantity": "ostium_width",
        "frame": 0,
        "points_px": [[10, 10], [40, 50]],
        **more,
    }


def read_at(folder, *loops):
    path = folder / "read.json"
    path.write_text(json.dumps({"annot_read": 1, "reader": "A", "study": "S", "loops": loops}))
    return load_read(path)


def test_a_header_scale_gives_millimetres(tmp_path):
    write_loop(tmp_path / "x.dcm")
    read = read_at(
        tmp_path, {"file": "x.dcm", "scale": {"kind": "header"}, "calipers": [caliper()]}
    )
    [row] = rows_of(measure_read(read, tmp_path))
    assert (row["value"], row["unit"]) == (pytest.approx(50 * 0.2 * 750 / 1000), "mm")
    assert row["sop_instance_uid"] == SOP
    assert row["dicom_frame"] == row["frame"] + 1
    assert sum(
        row[f"share_{part}"]
        for part in ("scale", "object", "system", "ends", "depth", "tilt", "other")
    ) == (pytest.approx(1))


@pytest.mark.parametrize("scale", [None, {"kind": "header"}])
def test_no_scale_stays_in_pixels_and_says_so(tmp_path, scale):
    write_loop(tmp_path / "x.dcm", spacing=False)
    loop = {"file": "x.dcm", "calipers": [caliper()]} | ({"scale": scale} if scale else {})
    [row] = rows_of(measure_read(read_at(tmp_path, loop), tmp_path))
    assert (row["value"], row["unit"]) == (pytest.approx(50), "px")
    assert row["u"] > 0
    assert "no scale" in row["warnings"]


@pytest.mark.parametrize(
    ("loop", "words"),
    [
        ({"file": "x.dcm", "calipers": [caliper(frame=3)]}, "frame 3"),
        (
            {"file": "x.dcm", "calipers": [caliper(points_px=[[1, 1], [60, 1]])]},
            "outside the image",
        ),
        (
            {"file": "x.dcm", "sop_instance_uid": "1.9", "calipers": []},
            "not the loop that was read",
        ),
        ({"file": "x.dcm", "scale": {"from": "y.dcm"}}, "no loop y.dcm"),
        (
            {
                "file": "x.dcm",
                "scale": {"kind": "catheter", "size_mm": 2, "axis_px": [[5, 5], [5, 90]]},
            },
            "lies outside the image of 60 rows and 80 columns",
        ),
        (
            {
                "file": "x.dcm",
                "scale": {
                    "kind": "segment",
                    "length_mm": 9,
                    "frame": 7,
                    "points_px": [[5, 5], [5, 50]],
                },
            },
            "frame 7",
        ),
    ],
)
def test_what_the_loop_does_not_have_is_refused_in_one_sentence(tmp_path, loop, words):
    write_loop(tmp_path / "x.dcm")
    with pytest.raises(InputError, match=words) as fault:
        measure_read(read_at(tmp_path, loop), tmp_path)
    assert "x.dcm" in fault.value.message
    assert "\n" not in fault.value.message


def test_a_missing_loop_is_named(tmp_path):
    with pytest.raises(LoopError, match=r"gone\.dcm"):
        measure_read(read_at(tmp_path, {"file": "gone.dcm"}), tmp_path)


def test_an_object_that_cannot_be_fitted_leaves_pixels_and_the_reason(tmp_path):
    write_loop(tmp_path / "x.dcm")
    scale = {"kind": "catheter", "size_mm": 2, "axis_px": [[30, 5], [30, 75]]}
    loop = {"file": "x.dcm", "scale": scale, "calipers": [caliper()]}
    [row] = rows_of(measure_read(read_at(tmp_path, loop), tmp_path))
    assert row["unit"] == "px"
    assert "no scale" in row["warnings"]


def test_a_borrowed_scale_is_shared_and_refused_under_another_geometry(tmp_path):
    write_loop(tmp_path / "x.dcm")
    write_loop(tmp_path / "y.dcm", uid=f"{SOP}.2")
    write_loop(tmp_path / "z.dcm", uid=f"{SOP}.3", sid=1100)
    own = {"kind": "segment", "length_mm": 9, "points_px": [[5, 5], [5, 50]]}
    read = read_at(
        tmp_path,
        {"file": "x.dcm", "scale": own, "calipers": [caliper(id="x")]},
        {"file": "y.dcm", "scale": {"from": "x.dcm"}, "calipers": [caliper(id="y")]},
        {"file": "z.dcm", "scale": {"from": "x.dcm"}, "calipers": [caliper(id="z")]},
    )
    x, y, z = rows_of(measure_read(read, tmp_path))
    assert x["scale_id"] == y["scale_id"]
    assert x["value"] == pytest.approx(y["value"])
    assert z["unit"] == "px"
    assert "source to detector" in z["warnings"]


def test_a_read_survives_saving(tmp_path):
    write_loop(tmp_path / "x.dcm")
    read = read_at(
        tmp_path,
        {
            "file": "x.dcm",
            "scale": {"kind": "catheter", "size_fr": 6, "axis_px": [[30, 5], [30, 75]]},
            "conditions": {"loading": "8 mmHg"},
            "calipers": [caliper(view_deg=45, repeat=2, u_end_mm=0.4)],
        },
    )
    save_read(read, tmp_path / "again.json")
    assert load_read(tmp_path / "again.json") == read


def test_a_table_is_written_whole_or_not_at_all(tmp_path):
    write_loop(tmp_path / "x.dcm")
    entries = measure_read(
        read_at(tmp_path, {"file": "x.dcm", "scale": {"kind": "header"}, "calipers": [caliper()]}),
        tmp_path,
    )
    with pytest.raises(InputError, match="cannot be written"):
        write_table(entries, tmp_path / "nowhere" / "table.csv")
    assert not (tmp_path / "nowhere").exists()
    write_table(entries, tmp_path / "table.csv")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["read.json", "table.csv", "x.dcm"]
