"""Real ultrasound files that packages ship, opened, measured and exported by the command's tasks.

`examples_palette.dcm` (pydicom's wheel) has two crosses burned in by the machine that made it, and
its own reading of their distance, 1.06 cm, beside them: a length from outside this project.
`color3d_jpeg_baseline.dcm` (package pydicom-data) is a loop of 120 frames with one region.
`examples_ybr_color.dcm` (pydicom's wheel) is a half-size copy that kept the full-size region.
"""

import csv
import json
from pathlib import Path

import numpy as np
import pytest
from pydicom.data import get_testdata_file

from annot.exports import rows_of
from annot.loops import open_loop
from annot.tasks.export import write_table
from annot.tasks.measure import measure_read
from annot.tasks.read import load_read

CROSSES = ((290.5, 459.5), (301.5, 498.5))


def shipped(name):
    path = get_testdata_file(name, download=False)
    assert path is not None, f"{name} is not shipped by the installed packages"
    return Path(path)


def measured(tmp_path, name, points, frame=0, quantity="distance"):
    caliper = {"id": "c", "quantity": quantity, "frame": frame, "points_px": points}
    loop = {"file": str(shipped(name)), "scale": {"kind": "header"}, "calipers": [caliper]}
    path = tmp_path / "read.json"
    path.write_text(json.dumps({"annot_read": 1, "reader": "A", "study": "R", "loops": [loop]}))
    entries = measure_read(load_read(path), tmp_path)
    write_table(entries, tmp_path / "table.csv")
    with (tmp_path / "table.csv").open(newline="", encoding="utf-8") as stream:
        [written] = csv.DictReader(stream)
    [row] = rows_of(entries)
    assert float(written["value"]) == row["value"]
    return row


def test_crosses_are_where_the_caliper_is_put():
    frame = np.asarray(open_loop(shipped("examples_palette.dcm")).frame(0), dtype=int).max(axis=2)
    for row, column in CROSSES:
        top, left = int(row) - 6, int(column) - 6
        patch = frame[top : top + 14, left : left + 14]
        bright = np.argwhere(patch > 0.8 * patch.max())
        centre = bright.mean(axis=0) + np.array([top, left])
        assert centre == pytest.approx((row, column), abs=1.0)


def test_length_between_the_crosses_is_what_the_machine_printed(tmp_path):
    row = measured(tmp_path, "examples_palette.dcm", [list(point) for point in CROSSES])
    assert row["unit"] == "mm"
    assert row["value"] == pytest.approx(10.6, abs=0.3)
    assert row["low"] <= 10.6 <= row["high"]
    assert "was cut after calibration" in row["warnings"]


def test_region_of_a_resized_copy_is_refused(tmp_path):
    row = measured(tmp_path, "examples_ybr_color.dcm", [[100, 150], [120, 170]], frame=3)
    assert row["unit"] == "px"
    assert row["mm_per_px_row"] is None
    assert "resized after calibration" in row["warnings"]


def test_loop_of_120_frames_takes_millimetres_from_its_region(tmp_path):
    points = [[100, 250], [160, 330]]
    row = measured(
        tmp_path, "color3d_jpeg_baseline.dcm", points, frame=119, quantity="ostium_width"
    )
    loop = open_loop(shipped("color3d_jpeg_baseline.dcm"))
    [region] = loop.header.regions
    # PS3.3 C.8.5.5.1.15: PhysicalDelta is in cm per pixel
    assert row["mm_per_px_row"] == pytest.approx(10 * abs(region.delta_y))
    assert row["value"] == pytest.approx(100 * 10 * abs(region.delta_y))
    assert row["time_ms"] == pytest.approx(119 * 33.333, abs=0.1)
    assert loop.frames == 120


def test_points_outside_the_region_have_no_millimetres(tmp_path):
    row = measured(tmp_path, "color3d_jpeg_baseline.dcm", [[5, 5], [5, 60]])
    assert row["unit"] == "px"
    assert "outside every ultrasound region" in row["warnings"]
