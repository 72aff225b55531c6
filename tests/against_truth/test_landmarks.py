"""Landmarks at their true places give the true quantities, each within its interval."""

import json
import math

import pytest

from annot.measurement.placed_landmark import sets_by_frame
from annot.measurement.rule_deviation import rule_deviations
from annot.tasks.geometry import geometry_of, marked_by_read
from annot.tasks.measure import measure_read
from annot.tasks.open import open_loop
from annot.tasks.read import load_read
from annot.uncertainty import expand
from synthetic_dicom import write_case

FRAME = 2


def marks_of(truth):
    """Return the landmarks of a loop's truth: walls of the ostium, axis, end."""
    ostium, zone, depth = (
        truth.caliper(name, FRAME).points_px
        for name in ("ostium_width", "landing_zone_width", "depth")
    )
    inner = [(a + b) / 2 for a, b in zip(*zone, strict=True)]
    return {
        "circumflex": [list(ostium[0])],
        "ridge_tip": [list(ostium[1])],
        "neck_axis": [list(depth[0]), inner],
        "appendage_end": [list(depth[1])],
    }, [list(point) for point in zone]


@pytest.fixture(scope="module")
def case(tmp_path_factory):
    folder = tmp_path_factory.mktemp("landmarks")
    truths, parts = {}, []
    for name in ("us_045", "us_135", "xa_clean", "xa_caudal"):
        truth = write_case(name, folder, frames=4).truth
        truths[f"{name}.dcm"] = truth
        marks, zone = marks_of(truth)
        scale = truth.anatomy.mm_per_px[0]
        parts.append(
            {
                "file": f"{name}.dcm",
                "scale": {"kind": "header"}
                if name.startswith("us")
                else {"kind": "given", "mm_per_px": scale, "u_rel": 0.01},
                "landmarks": [
                    {"name": key, "frame": FRAME, "points_px": points}
                    for key, points in marks.items()
                ],
                "calipers": [
                    {
                        "id": name,
                        "quantity": "landing_zone_width",
                        "frame": FRAME,
                        "points_px": zone,
                    }
                ],
            }
        )
    path = folder / "read.json"
    path.write_text(
        json.dumps({"annot_read": 1, "reader": "A", "study": "S", "loops": parts}), "utf-8"
    )
    read = load_read(path)
    return folder, read, measure_read(read, folder), truths


def entry_of(case, file, quantity):
    [found] = [
        one for one in case[2] if one.loop.file == file and one.measurement.outcome.name == quantity
    ]
    return found.measurement


@pytest.mark.parametrize("file", ["us_045.dcm", "us_135.dcm", "xa_clean.dcm", "xa_caudal.dcm"])
def test_ostium_and_depth_hold_the_truth(case, file):
    truth = case[3][file]
    ostium = entry_of(case, file, "ostium_by_landmarks")
    assert ostium.interval.holds(truth.caliper("ostium_width", FRAME).value_mm)
    depth, seen = entry_of(case, file, "depth_straight"), truth.caliper("depth", FRAME)
    shown = seen.value_mm * math.cos(math.radians(seen.foreshortening_deg))
    assert depth.interval.holds(shown)
    bent = entry_of(case, file, "depth_bent")
    assert bent.estimate.value >= depth.estimate.value - 1e-6


@pytest.mark.parametrize("file", ["us_045.dcm", "us_135.dcm"])
def test_a_true_landing_zone_is_square_and_at_its_true_distance(case, file):
    _, read, entries, truths = case
    part = next(one for one in read.loops if one.file == file)
    [entry] = [one for one in entries if one.measurement.caliper.key == file.split(".")[0]]
    square, distance = rule_deviations(
        entry.measurement.caliper,
        sets_by_frame(part.landmarks)[0],
        entry.measurement.scale,
        inside_mm=10.0,
    )
    true = truths[file].anatomy.landing_zone_from_ostium_mm[FRAME] - 10.0
    assert expand(square.result).holds(0.0)
    assert expand(distance.result).holds(true)
    assert distance.result.u < 1.0


@pytest.mark.parametrize("file", ["us_045.dcm", "us_135.dcm"])
def test_the_bend_is_the_plane_geometry_of_its_landmarks(case, file):
    """The angle at the axis's inner point, from the places in mm by the law of cosines."""
    truth = case[3][file]
    marks, _ = marks_of(truth)
    size = truth.geometry.mm_per_px
    first, bend, end = (
        [part * mm for part, mm in zip(point, size, strict=True)]
        for point in (*marks["neck_axis"], *marks["appendage_end"])
    )
    a, b, c = math.dist(first, bend), math.dist(bend, end), math.dist(first, end)
    angle = math.degrees(math.acos((a * a + b * b - c * c) / (2 * a * b)))
    found = entry_of(case, file, "neck_angle_by_landmarks")
    assert found.interval.holds(angle)


def test_two_views_give_the_depth_without_foreshortening(case):
    folder, read, _, truths = case
    # walls of a silhouette are other points in another view: only axis and end are common
    marks = ("neck_axis_1", "appendage_end")
    views = []
    for file in ("xa_clean.dcm", "xa_caudal.dcm"):
        one = marked_by_read(read, open_loop(folder / file), file=file)
        points = {name: one.points[name] for name in marks}
        views.append(type(one)(loop=one.loop, frame=one.frame, points=points))
    answer = geometry_of(*views, u_px=1.0)
    [(_, _, length)] = answer.lengths
    assert expand(length).holds(truths["xa_clean.dcm"].caliper("depth", FRAME).value_mm)
