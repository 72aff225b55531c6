"""Protocols as a person meets them: started, checked, shown, owed; the hash in every row."""

import json

import pytest
from typer.testing import CliRunner

from annot.cli.main import app
from annot.errors import InputError
from annot.exports import rows_of
from annot.tasks.handover import hand_over
from annot.tasks.measure import measure_read
from annot.tasks.protocol import protocol_facts, start_protocol
from annot.tasks.read import load_read
from tests.unit.tasks.test_measure import caliper, write_loop

OWN = """annot_protocol: 1
name: own
version: 2
title: t
conditions: [loading, filling]
adjudication: {apart_mm: 2}
views:
  side: {modality: XA}
quantities:
  ostium_width: {definition: d, source: s, views: [side], repeats: 2}
"""


@pytest.fixture
def folder(tmp_path):
    write_loop(tmp_path / "x.dcm")
    (tmp_path / "own.yaml").write_text(OWN, encoding="utf-8")
    return tmp_path


def read_in(folder, *calipers, protocol="own.yaml", **loop):
    part = {"file": "x.dcm", "scale": {"kind": "header"}, "calipers": list(calipers), **loop}
    content = {"annot_read": 1, "reader": "A", "study": "S", "loops": [part]}
    path = folder / "read.json"
    path.write_text(json.dumps(content | ({"protocol": protocol} if protocol else {})))
    return path


def over(folder, *calipers, **loop):
    read = load_read(read_in(folder, *calipers, **loop))
    return hand_over(read, measure_read(read, folder))


def annot(*words):
    return CliRunner().invoke(app, [str(word) for word in words])


def test_a_row_names_the_protocol_and_follows_its_content(folder):
    hashes = []
    for text in (OWN, OWN.replace("repeats: 2", "repeats: 3"), OWN):
        (folder / "own.yaml").write_text(text, encoding="utf-8")
        [row] = rows_of(measure_read(load_read(read_in(folder, caliper())), folder))
        assert row["protocol"] == "own 2"
        hashes.append(row["protocol_hash"])
    assert hashes[0] == hashes[2] != hashes[1]


def test_a_read_that_names_none_is_read_by_the_planning_protocol(folder):
    [row] = rows_of(measure_read(load_read(read_in(folder, caliper(), protocol=None)), folder))
    assert row["protocol"] == "closure-planning 1"


@pytest.mark.parametrize("name", ["closure", "gone.yaml"])
def test_an_unknown_protocol_is_refused_before_anything_is_measured(folder, name):
    with pytest.raises(InputError) as fault:
        load_read(read_in(folder, caliper(), protocol=name))
    words = "known are closure-follow-up, closure-planning" if name == "closure" else "gone.yaml"
    assert words in fault.value.message
    assert fault.value.message.startswith("read.json, protocol: ")


def test_the_list_says_what_is_missing_and_what_nobody_stated(folder):
    found = over(folder, caliper(), conditions={"atrial_pressure_mmhg": 12})
    assert [one.missing for one in found.missing] == ["1 of 2 repeats"]
    assert found.unstated == (("x.dcm", ("filling",)),)
    assert found.sentences() == (
        "ostium_width, X-ray, any projection: 1 of 2 repeats",
        "x.dcm: not stated: filling",
    )
    facts = found.facts()
    assert facts["complete"] is False
    assert facts["standings"][0]["repeats_read"] == 1
    json.dumps(facts)


def test_two_repeats_complete_it_unless_they_are_too_far_apart(folder):
    near = caliper(id="b", repeat=2, points_px=[[10, 10], [40, 50.5]])
    assert over(folder, caliper(), near).missing == ()
    assert over(folder, caliper(), near).over_limit == ()
    far = caliper(id="b", repeat=2, points_px=[[10, 10], [40, 70]])
    # 50 px and 67.08 px of 0.15 mm are 2.56 mm apart, more than the 2 mm allowed
    [sentence] = over(folder, caliper(), far).over_limit
    assert sentence == "ostium_width, X-ray, any projection: a and b are 2.6 mm apart"


def test_a_doubtful_scale_and_an_unasked_quantity_are_listed(folder):
    found = over(folder, caliper(quantity="depth"), scale=None)
    assert found.unasked == ("a",)
    assert found.scale_doubtful == (("a", "the read states no scale for this loop"),)
    assert over(folder, caliper()).scale_doubtful == ()
    at_odds = {"kind": "given", "mm_per_px": 0.2, "u_rel": 0.02}
    [(key, why)] = over(folder, caliper(), scale=at_odds).scale_doubtful
    assert key == "a"
    assert "E_n" in why


def test_starting_one_gives_a_file_that_is_read_back(tmp_path):
    made = start_protocol(tmp_path / "Harbour 1.yaml", like="closure-follow-up")
    assert made.label == "harbour-1 1"
    assert (tmp_path / "Harbour 1.yaml").read_text(encoding="utf-8").startswith("#")
    facts = json.loads(json.dumps(protocol_facts(made)))
    assert facts["quantities"][0]["views"][0]["title"] == "echo 0°"
    with pytest.raises(InputError, match="is there already"):
        start_protocol(tmp_path / "Harbour 1.yaml")
    with pytest.raises(InputError, match=r"ends in \.yaml"):
        start_protocol(tmp_path / "own.txt")
    with pytest.raises(InputError, match="cannot be written"):
        start_protocol(tmp_path / "no" / "own.yaml")


def test_the_command_checks_shows_and_starts(folder):
    done = annot("protocol", "check", folder / "own.yaml", "--json")
    assert json.loads(done.stdout)["protocol"] == "own 2"
    (folder / "own.yaml").write_text(OWN.replace("repeats: 2", "repeats: -2"), encoding="utf-8")
    refused = annot("protocol", "check", folder / "own.yaml")
    assert isinstance(refused.exception, InputError)
    assert "line 10, quantities.ostium_width.repeats" in refused.exception.message
    shown = json.loads(annot("protocol", "show", "--json").stdout)
    assert [one["name"] for one in shown] == ["closure-follow-up", "closure-planning"]
    text = annot("protocol", "show", "closure-follow-up").stdout
    assert "registry: none: up to and with 0 mm" in text
    assert "ostium_cover" in text
    new = annot("protocol", "new", folder / "mine.yaml")
    assert "mine 1" in new.stdout
    assert "closure-planning 1" in annot("protocol", "show").stdout


def test_the_command_lists_what_a_read_owes(folder):
    path = read_in(folder, caliper())
    answer = json.loads(annot("protocol", "missing", path, "--json").stdout)
    assert answer["standings"][0]["view"] == "X-ray, any projection"
    assert "1 of 2 repeats" in annot("protocol", "missing", path).stdout
    assert "1 of 2 repeats" in annot("measure", path).stdout
