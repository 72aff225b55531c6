"""Protocol files: the shipped ones, every refusal with its line, nothing loaded half."""

import re

import pytest

from annot.errors import InputError
from annot.reads.protocol_file import (
    load_protocol,
    parse_protocol,
    shipped_protocols,
    shipped_text,
)
from annot.vocabulary.landmarks import QUANTITIES

PLAIN = """annot_protocol: 1
name: own
version: 3
title: A study of our own
gap_scheme: consensus
landing_zone_inside_mm: 10
conditions: [loading]
adjudication: {apart_mm: 2, apart_percent: 10, limits: both}
blinding: {hide: [repeats], hidden_repeat_share: 0.1}
views:
  a: {modality: US, plane_deg: 45}
  b: {modality: XA, primary_deg: -30, secondary_deg: -20}
quantities:
  ostium_width:
    definition: from here
      to there
    source: own definition
    views: [a, b]
    repeats: 2
  neck_angle:
    definition: at the bend
    source: own definition
    unit: deg
    views: [b]
"""


def refusal(text: str) -> str:
    with pytest.raises(InputError) as fault:
        parse_protocol(text, name="own.yaml")
    assert "\n" not in fault.value.message
    assert fault.value.message.startswith("own.yaml")
    return fault.value.message


@pytest.mark.parametrize("name", shipped_protocols())
def test_shipped_protocols_define_every_quantity_with_a_source_or_a_mark(name):
    found = load_protocol(name)
    assert found.name == name
    for rule in found.quantities:
        assert rule.quantity in QUANTITIES
        assert len(rule.definition.split()) > 5
        assert re.search(r"\d{4}|PMC|own definition|common practice, no source|memory", rule.source)
        assert rule.views


def test_there_is_one_for_planning_and_one_for_following_up():
    assert shipped_protocols() == ("closure-follow-up", "closure-planning")
    planning, later = (load_protocol(f"closure-{part}") for part in ("planning", "follow-up"))
    assert {"ostium_width", "landing_zone_width", "depth"} <= set(planning.rules())
    wanted = {"device_shoulder_width", "protrusion", "axis_tilt", "ostium_cover", "gap_width"}
    assert wanted <= set(later.rules())
    assert planning.fingerprint != later.fingerprint


def test_a_laboratorys_own_is_read_whole():
    found = parse_protocol(PLAIN, name="own.yaml")
    assert (found.label, found.gap_scheme) == ("own 3", "consensus")
    width, angle = found.quantities
    assert width.definition == "from here to there"
    assert [view.title for view in width.views] == ["echo 45°", "X-ray RAO 30° caudal 20°"]
    assert (width.repeats, angle.repeats) == (2, 1)
    assert found.blinding.hide == ("repeats",)


@pytest.mark.parametrize(
    ("old", "new", "line", "words"),
    [
        ("  ostium_width:", "  ostium_with:", 14, "no such quantity; known are artery_distance"),
        ("    unit: deg", "    unit: mm", 23, "neck_angle is measured in deg, so write unit: deg"),
        ("    repeats: 2", "    repeats: two", 19, "a whole number is needed"),
        ("    repeats: 2", "    repeats: 0", 19, "greater than or equal to 1"),
        ("    repeats: 2", "    often: 2", 19, "there is no such field"),
        ("views: [a, b]", "views: [a, c]", 18, "there is no view 'c' under views"),
        ("views: [a, b]", "views: [a, a, b]", 18, "the view 'a' stands twice"),
        ("views: [a, b]", "views: [b]", 11, "no quantity asks for this view"),
        ("views: [b]", "views: []", 24, "at least 1 item"),
        ("consensus", "thirds", 5, "no such scheme; known are consensus, registry"),
        ("apart_mm: 2, ", "", 8, "'limits: both' needs apart_mm and apart_percent"),
        ("hide: [repeats]", "hide: [header]", 9, "hidden repeats need 'repeats'"),
        ("hide: [repeats]", "hide: [nothing]", 9, "header"),
        ("plane_deg: 45", "primary_deg: 45", 11, "an ultrasound view has plane_deg"),
        ("primary_deg: -30, ", "", 12, "give both angles of a projection, or neither"),
        ("primary_deg: -30, secondary_deg: -20", "plane_deg: 3", 12, "an X-ray view has primary"),
        ("conditions: [loading]", "conditions: [weather]", 7, "loading"),
        (
            "  a: {modality: US",
            "  c: {modality: US, plane_deg: 45}\n  a: {modality: US",
            12,
            "same",
        ),
        ("version: 3", "version: 3.5", 3, "a whole number is needed"),
        ("name: own", "name: Our Own", 2, "pattern"),
    ],
)
def test_a_fault_is_named_with_its_line_and_what_to_do(old, new, line, words):
    assert old in PLAIN
    message = refusal(PLAIN.replace(old, new, 1))
    assert f"line {line}, " in message
    assert words in message


def test_a_landing_zone_needs_its_distance_and_a_gap_its_scheme():
    zone = PLAIN.replace("ostium_width", "landing_zone_width")
    assert parse_protocol(zone, name="own.yaml")
    message = refusal(zone.replace("landing_zone_inside_mm: 10\n", ""))
    assert "needs landing_zone_inside_mm" in message
    gap = PLAIN.replace("ostium_width", "gap_width").replace("gap_scheme: consensus\n", "")
    assert "a gap's class needs gap_scheme" in refusal(gap)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "own.yaml is empty"),
        ("- a\n- b\n", "no annot_protocol number"),
        ("name: own\n", "no annot_protocol number"),
        (PLAIN.replace("annot_protocol: 1", "annot_protocol: 2"), "of version 2"),
        (PLAIN.replace("version: 3", "version: 3\nversion: 4"), "line 4"),
        (PLAIN.replace("title: A", "title: [A"), "this is not YAML"),
        (PLAIN.replace("  ostium_width:", "%YAML 3.0\n  ostium_width:"), "a directive"),
        (PLAIN.replace("conditions: [loading]", "conditions: &c [*c]"), "line 7, conditions"),
        (PLAIN.replace("title: A", "title: \x1f"), "line 4: this is not YAML: a character"),
        ("annot_protocol: 1\n" + "[" * 4000, "own.yaml"),
        ("a: &x [*x]\nb: !!python/object:os.system 1\n", "no annot_protocol number"),
    ],
)
def test_what_is_no_protocol_is_refused_in_one_sentence(text, words):
    assert words in refusal(text)


def test_every_fault_of_a_kind_is_named_at_once():
    text = PLAIN.replace("    repeats: 2", "    repeats: 0").replace("version: 3", "version: x")
    assert refusal(text).count("line ") == 2


def test_an_unknown_name_is_refused_with_the_known_ones(tmp_path):
    with pytest.raises(InputError, match=r"known are closure-follow-up, closure-planning"):
        load_protocol("closure")
    with pytest.raises(InputError, match="cannot be opened"):
        load_protocol("own.yaml", beside=tmp_path)
    (tmp_path / "own.yaml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="not text in UTF-8"):
        load_protocol("own.yaml", beside=tmp_path)
    (tmp_path / "own.yaml").write_text(PLAIN, encoding="utf-8")
    assert load_protocol("own.yaml", beside=tmp_path).name == "own"


def test_a_shipped_file_is_given_with_its_comments():
    assert shipped_text("closure-planning").startswith("#")
