"""The landing zone by rule and walls against the true chord, from landmarks that stray."""

import json
import random

import numpy as np
import pytest
from typer.testing import CliRunner

from annot.calibration import PixelScale
from annot.cli.main import app
from annot.errors import InputError
from annot.measurement.placed_landmark import sets_by_frame
from annot.measurement.rule_deviation import rule_deviations
from annot.tasks.read import load_read
from annot.tasks.zone import zone_proposals
from synthetic_dicom import write_case

FRAMES = {"us_000": 2, "us_045": 2, "us_135": 2, "xa_clean": 20, "xa_caudal": 20}


@pytest.fixture(scope="module")
def case(tmp_path_factory):
    folder, hand, parts, truths = tmp_path_factory.mktemp("zone"), random.Random(5), [], {}
    for name, frame in FRAMES.items():
        truth = write_case(name, folder, frames=frame + 1).truth
        truths[f"{name}.dcm"] = truth
        scale = {"kind": "given", "mm_per_px": truth.anatomy.mm_per_px[0], "u_rel": 0.005}
        parts.append(
            {
                "file": f"{name}.dcm",
                "scale": {"kind": "header"} if name.startswith("us") else scale,
                "landmarks": [
                    {
                        "name": one.name,
                        "frame": frame,
                        "points_px": [[p + hand.gauss(0, 0.8) for p in q] for q in one.points_px],
                    }
                    for one in truth.landmarks
                    if one.frame == frame
                ],
            }
        )
    path = folder / "read.json"
    path.write_text(json.dumps({"annot_read": 1, "reader": "A", "study": "S", "loops": parts}))
    read = load_read(path)
    return path, read, {one.file: one for one in zone_proposals(read, folder)}, truths


@pytest.mark.parametrize("name", FRAMES)
def test_the_proposed_width_holds_the_true_one(case, name):
    """The neck's waist is there, so a millimetre of depth changes the width by under 0.3 %."""
    one, truth = case[2][f"{name}.dcm"], case[3][f"{name}.dcm"]
    assert one.reason == ""
    true = truth.caliper("landing_zone_width", FRAMES[name])
    assert one.measurement.interval.holds(true.value_mm)
    assert one.measurement.estimate.u < 1.0
    assert (one.measurement.caliper.origin, one.measurement.caliper.confirmed) == ("refined", False)
    # its first end is the one on the circumflex's side
    first, last = (np.array(p) for p in one.measurement.caliper.points)
    wall, ridge = (np.array(p) for p in true.points_px)
    assert np.linalg.norm(first - wall) < np.linalg.norm(first - ridge)
    assert np.linalg.norm(last - ridge) < np.linalg.norm(last - wall)


@pytest.mark.parametrize("name", FRAMES)
def test_the_proposed_line_obeys_the_rule(case, name):
    one = case[2][f"{name}.dcm"]
    part = next(each for each in case[1].loops if each.file == one.file)
    scale = one.measurement.scale
    assert isinstance(scale, PixelScale)
    found = rule_deviations(
        one.measurement.caliper, sets_by_frame(part.landmarks)[0], scale, inside_mm=10.0
    )
    by_name = {each.name: each.result.value for each in found}
    assert by_name["off_square"] == pytest.approx(0.0, abs=1e-6)
    assert by_name["off_distance"] == pytest.approx(0.0, abs=1e-6)


def test_the_command_prints_calipers_to_take_over(case):
    path = case[0]
    answer = json.loads(CliRunner().invoke(app, ["protocol", "zone", str(path), "--json"]).stdout)
    assert [one["loop"] for one in answer] == [f"{name}.dcm" for name in FRAMES]
    # taken into the read, each is measured as proposed
    content = json.loads(path.read_text())
    for part, one in zip(content["loops"], answer, strict=True):
        part["calipers"] = [one["caliper"] | {"confirmed": True}]
    taken = path.with_name("taken.json")
    taken.write_text(json.dumps(content))
    rows = json.loads(CliRunner().invoke(app, ["measure", str(taken), "--json"]).stdout)
    widths = {row["loop"]: row for row in rows if row["quantity"] == "landing_zone_width"}
    for one in answer:
        assert widths[one["loop"]]["value"] == pytest.approx(one["width"]["value"], abs=0.01)
        assert widths[one["loop"]]["origin"] == "refined"
    text = CliRunner().invoke(app, ["protocol", "zone", str(path)]).stdout
    assert "none counts until taken" in text


def test_without_landmarks_axis_or_scale_it_says_why(case):
    path = case[0]
    content = json.loads(path.read_text())
    part = content["loops"][0]
    axis = [one for one in part["landmarks"] if one["name"] != "neck_axis"]
    for change, words in (
        ({"landmarks": axis}, "the neck's axis and the ostium's middle"),
        ({"scale": None}, "no distance in mm without a scale"),
    ):
        other = path.with_name("other.json")
        other.write_text(json.dumps(content | {"loops": [part | change]}))
        [one] = zone_proposals(load_read(other), path.parent)
        assert one.measurement is None
        assert words in one.reason
        assert one.facts()["caliper"] is None
    other.write_text(json.dumps(content | {"loops": [part | {"landmarks": []}]}))
    with pytest.raises(InputError, match="places no landmarks"):
        zone_proposals(load_read(other), path.parent)
    other.write_text(json.dumps(content | {"protocol": "closure-follow-up"}))
    with pytest.raises(InputError, match="no landing_zone_inside_mm"):
        zone_proposals(load_read(other), path.parent)
