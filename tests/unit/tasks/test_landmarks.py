"""Landmarks of a read: what follows from them, how far a width is off, when they are stale."""

import itertools
import json

import numpy as np
import pytest
from pydicom import dcmread
from typer.testing import CliRunner

from annot.cli.main import app
from annot.errors import InputError
from annot.exports import rows_of
from annot.measurement.placed_landmark import sets_by_frame
from annot.measurement.rule_deviation import rule_deviations
from annot.tasks.handover import hand_over
from annot.tasks.measure import measure_read
from annot.tasks.read import load_read, save_read
from annot.uncertainty import covariance
from tests.unit.tasks.test_measure import caliper, write_loop

MM = 0.2 * 750 / 1000
# the neck runs down the rows; the ostium is level, 100 px = 15 mm wide
CIRCUMFLEX = {"name": "circumflex", "frame": 0, "points_px": [[40, 30]]}
RIDGE = {"name": "ridge_tip", "frame": 0, "points_px": [[40, 130]]}
AXIS = {"name": "neck_axis", "frame": 0, "points_px": [[40, 80], [120, 80]]}
END = {"name": "appendage_end", "frame": 0, "points_px": [[120, 140]]}
ALL = [CIRCUMFLEX, RIDGE, AXIS, END]


def moving(frames: int, step_px: int) -> np.ndarray:
    """Return a smooth texture that is carried down the rows frame by frame."""
    from scipy.ndimage import gaussian_filter

    still = gaussian_filter(np.random.default_rng(4).normal(size=(160, 160)), 4, mode="wrap")
    grey = np.asarray(1000 + 3000 * still, dtype=float)
    return np.stack([np.roll(grey, step_px * n, axis=0) for n in range(frames)]).astype(np.uint16)


def measured(folder, *calipers, landmarks=ALL, pixels=None, **loop):
    write_loop(folder / "x.dcm", pixels=moving(1, 0) if pixels is None else pixels)
    part = {
        "file": "x.dcm",
        "scale": {"kind": "header"},
        "calipers": list(calipers),
        "landmarks": landmarks,
        **loop,
    }
    path = folder / "read.json"
    path.write_text(json.dumps({"annot_read": 1, "reader": "A", "study": "S", "loops": [part]}))
    read = load_read(path)
    return read, measure_read(read, folder)


def zone(rows=(107, 107), **more):
    points = [[rows[0], 40], [rows[1], 120]]
    return caliper(id="z", quantity="landing_zone_width", points_px=points, **more)


def test_ostium_depths_and_angle_follow_from_points_placed_once(tmp_path):
    _, entries = measured(tmp_path)
    rows = {row["quantity"]: row for row in rows_of(entries)}
    assert rows["ostium_by_landmarks"]["value"] == pytest.approx(100 * MM, rel=1e-3)
    # 80 down and 60 across; then straight down 80 and across 60 with a right angle between
    assert rows["depth_straight"]["value"] == pytest.approx(100 * MM, rel=1e-3)
    assert rows["depth_bent"]["value"] == pytest.approx(140 * MM, rel=1e-3)
    assert rows["neck_angle_by_landmarks"]["value"] == pytest.approx(90.0, abs=0.1)
    assert all(row["u"] > 0 and row["origin"] == "derived" for row in rows.values())
    assert "half way" in rows["depth_straight"]["warnings"]
    assert "half way" not in rows["ostium_by_landmarks"]["warnings"]


def test_a_placed_middle_of_the_ostium_is_taken_as_it_is(tmp_path):
    middle = {"name": "ostium_centre", "frame": 0, "points_px": [[50, 80]], "u_px": 2.0}
    _, entries = measured(tmp_path, landmarks=[*ALL, middle])
    rows = {row["quantity"]: row for row in rows_of(entries)}
    assert rows["depth_bent"]["value"] == pytest.approx(130 * MM, rel=1e-3)
    assert "half way" not in rows["depth_bent"]["warnings"]


def test_what_the_landmarks_do_not_give_is_not_given(tmp_path):
    _, entries = measured(tmp_path, landmarks=[CIRCUMFLEX, END])
    assert entries == []
    _, entries = measured(tmp_path, landmarks=[CIRCUMFLEX, RIDGE])
    assert [row["quantity"] for row in rows_of(entries)] == ["ostium_by_landmarks"]


@pytest.mark.parametrize(
    ("rows", "degrees", "inside"),
    [
        # 10 mm inside lie 66.67 px below row 40; 28 px over 80 px are 19.29 degrees
        ((106.667, 106.667), 0.0, 0.0),
        ((126.667, 126.667), 0.0, 3.0),
        ((86.667, 86.667), 0.0, -3.0),
        ((92.667, 120.667), 19.29, 0.0),
        ((120.667, 92.667), 19.29, 0.0),
    ],
)
def test_a_drawn_landing_zone_is_set_against_the_rule(tmp_path, rows, degrees, inside):
    read, [entry, *_] = measured(tmp_path, zone(rows))
    marks = sets_by_frame(read.loops[0].landmarks)[0]
    caliper_, scale = entry.measurement.caliper, entry.measurement.scale
    square, distance = rule_deviations(caliper_, marks, scale, inside_mm=10.0)
    assert square.result.value == pytest.approx(degrees, abs=0.01)
    assert distance.result.value == pytest.approx(inside, abs=0.01)
    assert square.result.u > 0.5  # 1 px at an end of an 80 px line and of an 80 px axis
    assert 0.1 < distance.result.u < 0.6
    off = hand_over(read, [entry]).facts()["off_rule"]
    assert [one["name"] for one in off] == ["off_square", "off_distance"]
    assert all(one["low"] < one["value"] < one["high"] for one in off)
    assert {one.words in entry.measurement.warnings for one in (square, distance)} == {True}


def test_the_words_say_which_way(tmp_path):
    for row, words in ((127, "mm (u) deeper than"), (87, "mm (u) nearer the ostium than")):
        _, [entry, *_] = measured(tmp_path, zone((row, row)))
        assert any(words in text for text in entry.measurement.warnings)


def test_without_a_scale_only_the_angle_is_known(tmp_path):
    _, [entry, *_] = measured(tmp_path, zone(), scale=None)
    assert any("off square" in text for text in entry.measurement.warnings)
    assert not any("landing zone" in text for text in entry.measurement.warnings)


def test_a_drawn_ostium_is_set_against_its_landmarks(tmp_path):
    for last, words in (([40, 140], "wider"), ([40, 120], "narrower")):
        _, [entry, *_] = measured(tmp_path, caliper(points_px=[[40, 30], last]))
        [text] = [one for one in entry.measurement.warnings if "landmark to landmark" in one]
        assert text.startswith("1.5 ± ")
        assert words in text


def test_landmarks_are_carried_to_a_near_frame_and_stale_on_a_far_one(tmp_path):
    near, far = zone(frame=1), zone(frame=12) | {"id": "far"}
    read, entries = measured(tmp_path, near, far, pixels=moving(13, 2))
    rows = {row["caliper_id"]: row for row in rows_of(entries)}
    assert "off square" in rows["z"]["warnings"]
    assert "stale: landmarks of frame 0 moved by 3." in rows["far"]["warnings"]
    assert "off square" not in rows["far"]["warnings"]
    [(key, why)] = hand_over(read, entries).stale
    assert key == "far"
    assert "more than the 2 mm allowed" in why


def test_where_the_picture_changed_they_are_stale(tmp_path):
    pixels = np.concatenate([moving(1, 0), moving(1, 0)[:, ::-1, ::-1]])
    _, entries = measured(tmp_path, zone(frame=1), pixels=pixels)
    [row] = [one for one in rows_of(entries) if one["caliper_id"] == "z"]
    assert "stale: landmarks of frame 0 cannot be followed" in row["warnings"]


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        (
            {
                "PositionerMotion": "DYNAMIC",
                "PositionerPrimaryAngle": -30,
                "PositionerSecondaryAngle": 0,
                "PositionerPrimaryAngleIncrement": [0, 12],
                "PositionerSecondaryAngleIncrement": [0, 0],
            },
            "angle",
        ),
        (
            {
                "TableMotion": "DYNAMIC",
                "TableVerticalIncrement": [0, 0],
                "TableLateralIncrement": [0, 0],
                "TableLongitudinalIncrement": [0, 25],
            },
            "table's position",
        ),
    ],
)
def test_where_stand_or_table_moved_they_are_stale_in_table_and_list(tmp_path, changes, words):
    """PS3.3 C.8.7.5 and C.8.7.4: offsets of angles, and of the table, frame by frame."""
    write_loop(tmp_path / "x.dcm", pixels=moving(2, 0))
    stored = dcmread(tmp_path / "x.dcm")
    for keyword, value in changes.items():
        setattr(stored, keyword, value)
    stored.save_as(tmp_path / "x.dcm")
    part = {"file": "x.dcm", "scale": {"kind": "header"}, "landmarks": ALL}
    content = {"annot_read": 1, "reader": "A", "study": "S"}
    path = tmp_path / "read.json"
    path.write_text(json.dumps(content | {"loops": [part | {"calipers": [zone(frame=1)]}]}))
    read = load_read(path)
    entries = measure_read(read, tmp_path)
    [row] = [one for one in rows_of(entries) if one["caliper_id"] == "z"]
    assert "stale: landmarks of frame 0 do not hold on frame 1" in row["warnings"]
    assert words in row["warnings"]
    assert "off square" not in row["warnings"]
    [(key, why)] = hand_over(read, entries).stale
    assert key == "z"
    shown = CliRunner().invoke(app, ["protocol", "missing", str(path)])
    assert why.split(":")[0] in shown.stdout
    assert "do not hold on frame 1" in " ".join(shown.stdout.split())


def test_the_nearest_frames_landmarks_serve(tmp_path):
    later = [one | {"frame": 12} for one in ALL]
    _, entries = measured(tmp_path, zone(frame=12), landmarks=[*ALL, *later], pixels=moving(13, 2))
    [row] = [one for one in rows_of(entries) if one["caliper_id"] == "z"]
    assert "off square" in row["warnings"]
    assert "stale" not in row["warnings"]


@pytest.mark.parametrize(
    ("landmarks", "words"),
    [
        ([{"name": "tip", "frame": 0, "points_px": [[1, 2]]}], "no landmark 'tip'; known are"),
        ([RIDGE, RIDGE], "ridge_tip on frame 0 is placed twice"),
        ([AXIS | {"points_px": [[1, 2]]}], "neck_axis takes 2 point"),
        ([AXIS | {"points_px": [[1, 2], [1, 2]]}], "its points coincide"),
        ([RIDGE | {"points_px": [[1, 2], [3, 4]]}], "ridge_tip takes 1 point"),
        ([RIDGE | {"points_px": [[500, 2]]}], "the landmark ridge_tip"),
        ([RIDGE | {"frame": 5}], "frame 5"),
        ([CIRCUMFLEX, RIDGE | {"points_px": [[40, 30.5]]}], "two landmarks of ostium_by"),
    ],
)
def test_landmarks_that_cannot_be_are_refused_in_one_sentence(tmp_path, landmarks, words):
    with pytest.raises(InputError, match=words.replace("(", r"\(")) as fault:
        measured(tmp_path, landmarks=landmarks)
    assert "\n" not in fault.value.message


def test_a_saved_read_keeps_its_landmarks(tmp_path):
    read, _ = measured(tmp_path, landmarks=[*ALL[:3], END | {"u_px": 2.5}])
    save_read(read, tmp_path / "again.json")
    assert load_read(tmp_path / "again.json") == read


def test_the_commands_take_a_reads_landmarks(tmp_path):
    measured(tmp_path, zone())
    done = CliRunner().invoke(app, ["protocol", "missing", str(tmp_path / "read.json")])
    assert done.exit_code == 0
    x = str(tmp_path / "x.dcm")
    words = ["geometry", x, x, "--read", str(tmp_path / "read.json")]
    refused = CliRunner().invoke(app, [*words, "--points", "a=1,2:3,4"])
    assert refused.exit_code == 2
    assert CliRunner().invoke(app, ["geometry", x, x]).exit_code == 2


def test_landmarks_on_different_frames_are_not_taken_together_and_the_list_says_so(tmp_path):
    apart = [CIRCUMFLEX, RIDGE | {"frame": 1}]
    read, entries = measured(tmp_path, landmarks=apart, pixels=moving(2, 0))
    assert entries == []
    [(file, why)] = hand_over(read, entries).scattered
    assert file == "x.dcm"
    assert "frame 0: circumflex; frame 1: ridge_tip" in why
    assert any(why in line for line in hand_over(read, entries).sentences())
    again = [*apart, CIRCUMFLEX | {"frame": 1}]
    read, entries = measured(tmp_path, landmarks=again, pixels=moving(2, 0))
    assert hand_over(read, entries).scattered == ()


def test_a_placed_bend_is_taken_and_a_missing_one_is_said(tmp_path):
    bend = {"name": "bend", "frame": 0, "points_px": [[100, 80]]}
    rows = {}
    for name, landmarks in (("placed", [*ALL, bend]), ("axis", ALL)):
        _, entries = measured(tmp_path, landmarks=landmarks)
        rows[name] = {row["quantity"]: row for row in rows_of(entries)}
    assert rows["placed"]["bend_distance"]["value"] == pytest.approx(60 * MM, rel=1e-3)
    assert rows["axis"]["bend_distance"]["value"] == pytest.approx(80 * MM, rel=1e-3)
    assert "bend taken at" in rows["axis"]["depth_bent"]["warnings"]
    assert "bend taken at" not in rows["placed"]["depth_bent"]["warnings"]


def test_rows_on_one_landmark_share_the_error_of_placing_it(tmp_path):
    """Covariances against landmarks drawn anew many thousand times, by plain geometry."""
    _, entries = measured(tmp_path)
    found = {one.measurement.outcome.name: one.measurement.result for one in entries}
    names = ("ostium_by_landmarks", "depth_straight", "depth_bent", "bend_distance")
    rng, count = np.random.default_rng(8), 200_000

    def drawn(part, index=0):
        # the default placing of 1 px and the grid's half pixel either way, along both axes
        place = np.array(part["points_px"][index], dtype=float)
        hand = rng.normal(0, 1.0, (count, 2)) + rng.uniform(-0.5, 0.5, (count, 2))
        return (place + hand) * MM

    wall, ridge, inner, end = drawn(CIRCUMFLEX), drawn(RIDGE), drawn(AXIS, 1), drawn(END)
    middle = (wall + ridge) / 2

    def length(*way):
        return sum(np.linalg.norm(b - a, axis=1) for a, b in itertools.pairwise(way))

    values = [
        length(wall, ridge),
        length(middle, end),
        length(middle, inner, end),
        length(middle, inner),
    ]
    wanted = np.cov(values)
    for a, first in enumerate(names):
        for b, second in enumerate(names):
            got = covariance(found[first], found[second])
            # the scale's own part is shared in proportion to both
            parts = got - found[first].value * found[second].value * scale_u_rel(entries) ** 2
            assert parts == pytest.approx(wanted[a, b], abs=6e-4)
    assert wanted[1, 2] > 0.01


def scale_u_rel(entries):
    """Return the relative uncertainty of the scale under which all rows stand."""
    return entries[0].measurement.scale.u_rel
