"""The demonstration does the whole job and lies about nothing."""

import csv
import json

import pytest

from annot.tasks.rehearse import ECHO, XRAY, rehearse


@pytest.fixture(scope="module")
def done(tmp_path_factory):
    return rehearse(tmp_path_factory.mktemp("demo"), seed=3)


def test_it_writes_loops_read_file_table_and_picture(done):
    names = {path.name for path in done.folder.iterdir()}
    for case in (*XRAY, *ECHO):
        assert {f"{case}.dcm", f"{case}.truth.json"} <= names
    assert {"read.json", "table.csv", "picture.png"} <= names
    assert done.picture.read_bytes().startswith(b"\x89PNG")


def test_every_row_of_the_table_is_a_measurement_of_the_read(done):
    with done.table.open(newline="", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    read = json.loads(done.read_file.read_text())
    assert [row["caliper_id"] for row in rows] == [
        caliper["id"] for loop in read["loops"] for caliper in loop["calipers"]
    ]
    assert {row["unit"] for row in rows if "us_no_region" in row["loop"]} == {"px"}
    assert {row["unit"] for row in rows if "us_no_region" not in row["loop"]} == {"mm"}


def test_truth_stands_beside_every_millimetre_and_the_intervals_mostly_hold_it(done):
    judged = [one.holds for one in done.rows if one.true_value is not None]
    assert len(judged) == 21
    # 21 intervals of 95 %, some sharing a scale: fewer than 17 would be a chance of about 1 in 500
    assert sum(judged) >= 17
    assert all(one.scale.interval(probability=0.99).holds(one.true_value) for one in done.scales)
