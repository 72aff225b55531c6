"""The demonstration does the whole job and lies about nothing."""

import csv
import json
import subprocess
import sys
from pathlib import Path

import pytest

from annot.tasks.rehearse import ECHO, XRAY


@pytest.fixture(scope="module")
def done(tmp_path_factory):
    folder = tmp_path_factory.mktemp("demo")
    words = ["demo", "--out", str(folder), "--seed", "3", "--json"]
    process = subprocess.run(
        [sys.executable, "-m", "annot.cli", *words], capture_output=True, text=True, check=False
    )
    assert (process.returncode, process.stderr) == (0, "")
    return json.loads(process.stdout)


def test_it_writes_loops_read_file_table_and_picture(done):
    names = {path.name for path in Path(done["folder"]).iterdir()}
    for case in (*XRAY, *ECHO):
        assert {f"{case}.dcm", f"{case}.truth.json"} <= names
    assert {Path(done[key]).name for key in ("read_file", "table", "picture")} <= names
    assert Path(done["picture"]).read_bytes().startswith(b"\x89PNG")


def test_every_row_of_the_table_is_a_measurement_of_the_read(done):
    with Path(done["table"]).open(newline="", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    read = json.loads(Path(done["read_file"]).read_text())
    ids = [caliper["id"] for loop in read["loops"] for caliper in loop["calipers"]]
    assert [row["caliper_id"] for row in rows] == ids
    assert [row["caliper_id"] for row in done["measurements"]] == ids
    assert {row["unit"] for row in rows if "us_no_region" in row["loop"]} == {"px"}
    assert {row["unit"] for row in rows if "us_no_region" not in row["loop"]} == {"mm"}


def test_truth_stands_beside_every_millimetre_and_the_intervals_mostly_hold_it(done):
    judged = [row for row in done["measurements"] if row["true_value"] is not None]
    assert len(judged) == 21
    for row in judged:
        assert row["holds"] == (row["low"] <= row["true_value"] <= row["high"])
    # 21 intervals of 95 %, some sharing a scale: fewer than 17 would be a chance of about 1 in 500
    assert sum(row["holds"] for row in judged) >= 17
    assert all(scale["holds"] for scale in done["scales"])


def test_the_follow_up_has_a_truth_beside_each_quantity_and_mostly_holds_it(done):
    later = done["follow_up"]
    judged = [row for row in later["measurements"] if row["true_value"] is not None]
    assert len(judged) == len(later["measurements"]) == 26
    for row in judged:
        assert row["holds"] == (row["low"] <= row["true_value"] <= row["high"])
    # 26 intervals of 95 %, many sharing a scale or a point: fewer than 21 is a chance of 1 in 200
    assert sum(row["holds"] for row in judged) >= 21
    names = {row["quantity"] for row in judged}
    assert {"protrusion", "axis_tilt", "ostium_cover", "gap_width", "depth_bent"} <= names
    page = Path(later["page"]).read_text(encoding="utf-8")
    assert page.startswith("<!DOCTYPE html>")
    assert "HARBOUR-01" in page


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
