"""Calipers drawn at the true ends come back within their intervals, on every kind of loop."""

import json

import pytest

from annot.exports import rows_of
from annot.tasks.measure import measure_read
from annot.tasks.read import load_read
from tests.against_truth.readings import catheter_part

XRAY = ["xa_clean", "xa_filled", "xa_caudal"]
ECHO = ["us_000", "us_045", "us_090", "us_135"]


def true_calipers(truth, frame):
    parts = []
    for quantity in ("ostium_width", "landing_zone_width"):
        true = truth.caliper(quantity, frame)
        parts.append(
            {
                "id": f"{truth.case}-{quantity}",
                "quantity": quantity,
                "frame": frame,
                "points_px": [list(point) for point in true.points_px],
                "tilt_deg": 0,
            }
        )
    return parts


def measured(written, scale, frame, tmp_path):
    part = {
        "file": str(written.path),
        "sop_instance_uid": written.truth.sop_instance_uid,
        "scale": scale,
        "calipers": true_calipers(written.truth, frame),
    }
    path = tmp_path / "read.json"
    path.write_text(json.dumps({"annot_read": 1, "reader": "A", "study": "T", "loops": [part]}))
    return rows_of(measure_read(load_read(path), tmp_path))


def assert_true(rows, truth):
    for row in rows:
        true = truth.caliper(row["quantity"], row["frame"]).value_mm
        assert row["unit"] == "mm"
        assert row["low"] <= true <= row["high"], row["caliper_id"]


@pytest.mark.parametrize("name", XRAY)
def test_xray_widths_hold_the_truth(loop_of, tmp_path, name):
    written = loop_of(name)
    one = written.truth.objects[0]
    scale = catheter_part(written.truth, range(9), other_mm=one.inner_mm, depth_offset_mm=20)
    rows = measured(written, scale, 5, tmp_path)
    assert_true(rows, written.truth)
    assert all(row["u"] / row["value"] < 0.025 for row in rows)


@pytest.mark.parametrize("name", ECHO)
def test_echo_widths_hold_the_truth(loop_of, tmp_path, name):
    written = loop_of(name)
    rows = measured(written, {"kind": "header"}, 3, tmp_path)
    assert_true(rows, written.truth)
    for row in rows:
        true = written.truth.caliper(row["quantity"], row["frame"]).value_mm
        # both ends true and the spacing true: only the arithmetic is left
        assert row["value"] == pytest.approx(true, rel=2e-4)


@pytest.mark.parametrize("name", ["us_no_region", "us_stale_region", "sc_single", "sc_multi"])
def test_a_loop_without_a_scale_never_becomes_millimetres(loop_of, tmp_path, name):
    written = loop_of(name, frames=None if name == "sc_single" else 9)
    rows = measured(written, {"kind": "header"}, 0, tmp_path)
    for row in rows:
        assert row["unit"] == "px"
        assert row["scale_kind"] == "none"
        assert row["mm_per_px_row"] is None
        assert "no scale, so the length is in pixels" in row["warnings"]


def test_two_planes_with_two_scales_take_the_region_they_lie_in(loop_of, tmp_path):
    written = loop_of("us_two_regions")
    truth = written.truth
    parts = [
        {
            "id": f"c{index}",
            "quantity": true.quantity,
            "frame": 2,
            "points_px": [list(point) for point in true.points_px],
            "tilt_deg": 0,
        }
        for index, true in enumerate(truth.calipers)
        if true.frame == 2 and true.quantity != "depth"
    ]
    trues = [true for true in truth.calipers if true.frame == 2 and true.quantity != "depth"]
    crossing = {
        **parts[0],
        "id": "across",
        "points_px": [parts[0]["points_px"][0], parts[-1]["points_px"][1]],
    }
    loop = {"file": str(written.path), "scale": {"kind": "header"}, "calipers": [*parts, crossing]}
    path = tmp_path / "read.json"
    path.write_text(json.dumps({"annot_read": 1, "reader": "A", "study": "T", "loops": [loop]}))
    rows = rows_of(measure_read(load_read(path), tmp_path))
    assert len({row["scale_id"] for row in rows[:-1]}) == 2
    for row, true in zip(rows, trues, strict=False):
        assert row["value"] == pytest.approx(true.value_mm, rel=2e-4)
    assert rows[-1]["unit"] == "px"
