"""An invented implant in both modalities: each follow-up quantity holds its truth, or says why."""

import json
import random

import numpy as np
import pytest

from annot.exports import rows_of
from annot.tasks.measure import measure_read
from annot.tasks.read import load_read
from synthetic_dicom import CASES, render_case, truth_from_json, truth_of, truth_to_json, write_case
from synthetic_dicom.implant import Implant

FRAME, PLACING_PX = 2, 0.7
ECHO_ONLY = {"ostium_cover", "gap_width"}
QUANTITIES = {
    "device_face_width",
    "device_shoulder_width",
    "device_end_width",
    "protrusion",
    "axis_tilt",
    *ECHO_ONLY,
}


@pytest.fixture(scope="module")
def followed(tmp_path_factory):
    folder, hand, parts, truths = tmp_path_factory.mktemp("implant"), random.Random(3), [], {}
    for name in ("us_implant", "xa_implant"):
        truth = write_case(name, folder, frames=4).truth
        truths[f"{name}.dcm"] = truth
        echo = name.startswith("us")
        scale = {"kind": "given", "mm_per_px": truth.anatomy.mm_per_px[0], "u_rel": 0.01}
        parts.append(
            {
                "file": f"{name}.dcm",
                "scale": {"kind": "header"} if echo else scale,
                "view": {"plane_deg": 45.0} if echo else {},
                "calipers": [
                    {
                        "id": f"{name}-{one.quantity}",
                        "quantity": one.quantity,
                        "frame": FRAME,
                        "points_px": [
                            [part + hand.gauss(0, PLACING_PX) for part in point]
                            for point in one.points_px
                        ],
                        "u_end_px": PLACING_PX,
                    }
                    for one in truth.device
                    if one.frame == FRAME
                ],
            }
        )
    content = {
        "annot_read": 1,
        "reader": "A",
        "study": "HARBOUR-01",
        "protocol": "closure-follow-up",
        "implant": {"nominal_width_mm": Implant().nominal_mm, "tolerance_mm": 0.1},
        "loops": parts,
    }
    path = folder / "read.json"
    path.write_text(json.dumps(content), "utf-8")
    return rows_of(measure_read(load_read(path), folder)), truths


def test_both_modalities_have_a_truth_for_every_quantity(followed):
    _, truths = followed
    found = {file: {one.quantity for one in truth.device} for file, truth in truths.items()}
    assert found == {"us_implant.dcm": QUANTITIES, "xa_implant.dcm": QUANTITIES - ECHO_ONLY}


@pytest.mark.parametrize("file", ["us_implant.dcm", "xa_implant.dcm"])
def test_every_interval_holds_its_truth(followed, file):
    rows, truths = followed
    own = {row["quantity"]: row for row in rows if row["loop"] == file}
    for one in truths[file].device:
        if one.frame == FRAME:
            row = own[one.quantity]
            assert row["low"] <= one.value <= row["high"], (one, row["value"], row["u"])
            assert row["unit"] == one.unit
            # wide intervals would hold anything: none is wider than the quantity can be told apart
            assert row["u"] < {"mm": 1.2, "deg": 5.0, "1": 0.06}[one.unit]


def test_the_compression_holds_what_the_implant_was_given(followed):
    rows, _ = followed
    true = 1 - Implant().width_mm / Implant().nominal_mm
    found = [row for row in rows if row["quantity"].endswith("_compression")]
    assert len(found) == 6
    assert all(row["low"] <= true <= row["high"] for row in found)


def test_the_gap_of_nearly_five_is_classed_with_its_doubt(followed):
    rows, truths = followed
    true = next(
        one.value
        for one in truths["us_implant.dcm"].device
        if one.quantity == "gap_width" and one.frame == FRAME
    )
    assert 4 < true < 6
    [row] = [one for one in rows if one["quantity"] == "gap_width"]
    assert "class by the scheme registry" in row["warnings"]
    assert "large 0%" not in row["warnings"]


@pytest.mark.parametrize("name", ["us_implant", "xa_implant"])
def test_the_implant_is_in_the_picture_where_its_truth_says(name):
    with_it, truth = render_case(name, frames=2)
    plain, _ = render_case("us_045" if name.startswith("us") else "xa_clean", frames=2)
    changed = with_it[1].astype(float) - plain[1].astype(float)
    changed = np.abs(changed if changed.ndim == 2 else changed.max(axis=2))
    if name.startswith("xa"):
        from scipy.ndimage import uniform_filter

        # quanta are drawn anew, so the picture's own noise is averaged away
        share = uniform_filter(with_it[1] / np.maximum(plain[1], 1), 5)
        changed = np.maximum(1 - share, 0)
    strong = changed > 0.25 * changed.max()
    points = [
        p
        for one in truth.device
        if one.quantity.endswith("_width") and one.frame == 1 and one.quantity.startswith("device")
        for p in one.points_px
    ]
    low, high = np.min(points, axis=0) - 4, np.max(points, axis=0) + 4
    rows, columns = np.nonzero(strong)
    inside = (rows >= low[0]) & (rows <= high[0]) & (columns >= low[1]) & (columns <= high[1])
    assert inside.mean() > 0.97
    for row, column in points:
        near = strong[round(row) - 4 : round(row) + 5, round(column) - 4 : round(column) + 5]
        assert near.any()


@pytest.mark.parametrize("name", ["us_implant", "xa_implant", "us_045", "xa_clean"])
def test_the_truth_file_keeps_landmarks_and_implant(name):
    truth = truth_of(CASES[name], frames=2)
    assert truth_from_json(truth_to_json(truth)) == truth
    names = {one.name for one in truth.landmarks}
    assert {"circumflex", "ridge_tip", "ostium_centre", "neck_axis", "appendage_end"} <= names
    assert bool(truth.device) == name.endswith("implant")
