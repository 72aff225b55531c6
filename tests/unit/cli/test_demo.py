"""The demonstration does the whole job, before and after an implant, and lies about nothing."""

import csv
import json
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from annot.reads.protocol_file import load_protocol, shipped_protocols
from annot.tasks.rehearse import ECHO, XRAY
from annot.vocabulary.landmarks import QUANTITIES
from annot.vocabulary.measurands import OUTCOMES
from annot.vocabulary.protocol import QuantityRule


@pytest.fixture(scope="module")
def done(tmp_path_factory):
    folder = tmp_path_factory.mktemp("demo")
    words = ["demo", "--out", str(folder), "--seed", "3", "--json"]
    process = subprocess.run(
        [sys.executable, "-m", "annot.cli", *words], capture_output=True, text=True, check=False
    )
    assert (process.returncode, process.stderr) == (0, "")
    return json.loads(process.stdout)


def both(done):
    """Return the rows of planning and follow-up by their protocol's name."""
    return {
        "closure-planning": done["measurements"],
        "closure-follow-up": done["follow_up"]["measurements"],
    }


def without_truth(protocol, rows):
    """Return the quantities of a protocol for which no row has a truth beside it."""
    judged = {row["quantity"] for row in rows if row["true_value"] is not None}
    return [
        rule.quantity
        for rule in protocol.quantities
        if not {one.name for one in QUANTITIES[rule.quantity].outcomes} <= judged
    ]


def test_it_writes_loops_read_files_tables_pictures_and_pages(done):
    names = {path.name for path in Path(done["folder"]).iterdir()}
    for case in (*XRAY, *ECHO, "us_implant", "xa_implant"):
        assert {f"{case}.dcm", f"{case}.truth.json"} <= names
    later = done["follow_up"]
    for where, keys in ((done, ("read_file", "table")), (later, ("read_file", "table", "chart"))):
        assert {Path(where[key]).name for key in keys} <= names
    for picture in (done["picture"], later["picture"]):
        assert Path(picture).read_bytes().startswith(b"\x89PNG")
    for page in (later["page"], later["later_page"]):
        text = Path(page).read_text(encoding="utf-8")
        assert text.startswith("<!DOCTYPE html>")
        assert "HARBOUR-01" in text


@pytest.mark.parametrize("part", ["closure-planning", "closure-follow-up"])
def test_every_row_of_the_table_is_in_the_answer_and_of_the_read(done, part):
    where = done if part == "closure-planning" else done["follow_up"]
    with Path(where["table"]).open(newline="", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    read = json.loads(Path(where["read_file"]).read_text())
    ids = [caliper["id"] for loop in read["loops"] for caliper in loop["calipers"]]
    written = [row["caliper_id"] for row in rows]
    assert written == [row["caliper_id"] for row in where["measurements"]]
    assert list(dict.fromkeys(one for one in written if one in ids)) == ids
    assert {row["protocol"] for row in rows} == {f"{part} 1"}
    lengths = [row for row in rows if row["unit"] in ("px", "mm")]
    assert all((row["unit"] == "px") == ("us_no_region" in row["loop"]) for row in lengths)


@pytest.mark.parametrize("name", shipped_protocols())
def test_every_quantity_of_both_protocols_has_a_truth_and_a_place_in_the_table(done, name):
    protocol, rows = load_protocol(name), both(done)[name]
    assert without_truth(protocol, rows) == []
    # and the check can fail: a quantity that nothing rendered shows
    strange = QuantityRule(quantity="distance", definition="d", source="s", views=())
    more = replace(protocol, quantities=(*protocol.quantities, strange))
    assert without_truth(more, rows) == ["distance"]


@pytest.mark.parametrize("name", shipped_protocols())
def test_every_quantity_lies_within_its_intervals_as_often_as_they_promise(done, name):
    judged = [row for row in both(done)[name] if row["true_value"] is not None]
    for row in judged:
        assert row["holds"] == (row["low"] <= row["true_value"] <= row["high"])
    of_name = {}
    for row in judged:
        of_name.setdefault(row["quantity"], []).append(row["holds"])
    # intervals of 95 %; rows under one scale err together, so fewer than 90 % of them would be odd
    assert sum(row["holds"] for row in judged) >= 0.9 * len(judged)
    # of one quantity in up to seven loops at most one may miss (more is a chance of 1 in 20)
    assert {name: held for name, held in of_name.items() if sum(held) < len(held) - 1} == {}
    assert all(any(held) for held in of_name.values())


def test_the_answer_says_how_each_quantity_of_the_protocol_fares(done):
    for where in (done, done["follow_up"]):
        rows = where["measurements"]
        for one in where["quantities"]:
            names = {outcome.name for outcome in QUANTITIES[one["quantity"]].outcomes}
            own = [row for row in rows if row["quantity"] in names and row["holds"] is not None]
            assert (one["rows"], one["held"]) == (len(own), sum(row["holds"] for row in own))
            assert one["rows"] > 0
    assert all(scale["holds"] for scale in done["scales"])


def test_changes_since_planning_are_paired_and_hold_the_truth(done):
    changes = done["follow_up"]["changes"]
    assert {"ostium_by_landmarks", "depth_bent"} <= {one["quantity"] for one in changes}
    assert {one["view"] for one in changes} == {"echo 45°", "X-ray RAO 25° cranial 15°"}
    for one in changes:
        found = one["difference"]
        assert one["holds"] == (found["low"] <= one["true_value"] <= found["high"])
        # the two X-ray loops share no scale, the echo loops one system's
        assert (one["correlation"] > 0) or one["view"].startswith("X-ray")
    assert sum(one["holds"] for one in changes) >= len(changes) - 2


def test_it_says_what_the_protocols_still_ask_for(done):
    asked = {one["quantity"] for one in done["owed"]["standings"] if not one["complete"]}
    assert "landing_zone_width" in asked
    assert not done["owed"]["moments"]
    swings = [one for one in done["follow_up"]["owed"]["unconfirmed"] if "ridge_swing" in one]
    assert len(swings) == 2


def test_no_shipped_quantity_is_a_check_object_or_unknown():
    for name in shipped_protocols():
        for rule in load_protocol(name).quantities:
            assert rule.quantity in QUANTITIES
            assert rule.quantity != "distance"
    assert "distance" in OUTCOMES


def test_it_leaves_a_frozen_study_whose_store_can_be_looked_into(done):
    study = done["study"]
    words = ["audit", "verify", study["store"], "--json"]
    process = subprocess.run(
        [sys.executable, "-m", "annot.cli", *words], capture_output=True, text=True, check=False
    )
    assert (process.returncode, process.stderr) == (0, "")
    [report] = json.loads(process.stdout)
    assert (report["holds"], report["head"]) == (True, study["head"])
    [apart] = study["apart"]
    assert "ostium_width" in apart
    with Path(study["final"]).open(newline="", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    assert {row["reader"] for row in rows} == {"A+B", "C"}
    assert all(float(row["low"]) < float(row["value"]) < float(row["high"]) for row in rows)
