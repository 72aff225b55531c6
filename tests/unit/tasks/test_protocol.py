"""Protocols as a person meets them: started, checked, shown, owed; the hash in every row."""

import json
from dataclasses import replace

import pytest
from typer.testing import CliRunner

from annot.cli.main import app
from annot.errors import InputError
from annot.exports import rows_of
from annot.sizing import parse_chart
from annot.tasks.handover import hand_over
from annot.tasks.measure import measure_read
from annot.tasks.protocol import protocol_facts, protocol_hash, start_protocol
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


MOMENT = OWN.replace("repeats: 2", "moment: largest")


def test_a_reading_counts_at_the_moment_asked_for_alone(folder):
    (folder / "own.yaml").write_text(MOMENT, encoding="utf-8")
    stated = {"conditions": {"loading": "full", "filling": "full"}}
    assert over(folder, caliper(moment="Largest"), **stated).sentences() == ()
    [missing] = over(folder, caliper(), **stated).sentences()
    assert "0 of 1 repeats, 1 not counted" in missing
    missing, odd = over(folder, caliper(moment="largest ostium"), **stated).sentences()
    assert "0 of 1 repeats" in missing
    assert odd == (
        "a: the moment 'largest ostium' is none of any, largest, end_systole, end_diastole, so it "
        "counts as not stated"
    )


def test_the_loops_own_moment_stands_in_where_a_caliper_states_none(folder):
    (folder / "own.yaml").write_text(MOMENT, encoding="utf-8")
    conditions = {"loading": "full", "filling": "full", "moment": "largest"}
    assert over(folder, caliper(), conditions=conditions).missing == ()
    found = over(folder, caliper(moment="end systole"), conditions=conditions)
    assert [one.repeats_read for one in found.missing] == [0]


CHARTED = OWN.replace("  ostium_width:", "  landing_zone_width:").replace(
    "adjudication: {apart_mm: 2}",
    "landing_zone_inside_mm: 10\nadjudication: {apart_mm: 5, another_size_row: true}",
)
CHART = """label,nominal_mm,width_from_mm,width_to_mm,least_depth_mm
small,9,5,7.4,5
middle,11,7.4,9,5
large,13,9,12,5
"""


def test_repeats_in_different_rows_of_the_chart_are_too_far_apart(folder):
    (folder / "own.yaml").write_text(CHARTED, encoding="utf-8")
    zone = {"quantity": "landing_zone_width"}
    # 50 px and 53.15 px of 0.15 mm: 7.50 and 7.97 mm, one row; 46 px is 6.9 mm, another
    near = caliper(id="b", repeat=2, points_px=[[10, 10], [40, 53.88]], **zone)
    far = caliper(id="b", repeat=2, points_px=[[10, 10], [10, 56]], **zone)
    path = read_in(folder, caliper(**zone), near)
    read = load_read(path)
    entries = measure_read(read, folder)
    chart = parse_chart(CHART, name="c.csv")
    [unlooked] = hand_over(read, entries).unlooked
    assert "--chart" in unlooked
    assert hand_over(read, entries, chart=chart).over_limit == ()
    assert hand_over(read, entries, chart=chart).unlooked == ()
    read = load_read(read_in(folder, caliper(**zone), far))
    [sentence] = hand_over(read, measure_read(read, folder), chart=chart).over_limit
    assert sentence.endswith("a and b lie in different rows of the chart: middle; small")
    (folder / "c.csv").write_text(CHART, encoding="utf-8")
    words = ("protocol", "missing", path, "--chart", folder / "c.csv")
    assert "different rows" in annot(*words).stdout
    # a protocol that does not mind rows says nothing of them
    (folder / "own.yaml").write_text(CHARTED.replace("true", "false"), encoding="utf-8")
    read = load_read(path)
    assert hand_over(read, measure_read(read, folder), chart=chart).over_limit == ()


def test_the_hash_follows_every_limit_a_landmark_is_held_to(monkeypatch):
    from annot.measurement import placement

    before = protocol_hash()
    for name in ("CARRIED_MM", "CARRIED_PX", "END_PX"):
        one = getattr(placement, name)
        monkeypatch.setattr(placement, name, replace(one, value=one.value * 2))
        assert protocol_hash() != before
        monkeypatch.setattr(placement, name, one)
    assert protocol_hash() == before


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
