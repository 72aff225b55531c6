"""Spoiled protocols: refused in one sentence with a line, or read whole; nothing between."""

import re
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from annot.errors import InputError
from annot.reads.protocol_file import parse_protocol, shipped_protocols, shipped_text
from annot.vocabulary.gap_schemes import GAP_SCHEMES
from annot.vocabulary.landmarks import QUANTITIES
from annot.vocabulary.protocol import Protocol

TEXTS = {name: shipped_text(name) for name in shipped_protocols()}
LINES = {name: text.splitlines() for name, text in TEXTS.items()}
JUNK = st.one_of(
    st.sampled_from(
        ["", " ", ":", "- x", "? y", "&a *a", "!!int x", "{", "]", "'", '"', "\t", "%"]
    ),
    st.sampled_from(["null", "yes", "1e999", ".nan", "-1", "0x10", "2001-01-01", "~", "<<: *a"]),
    st.text(max_size=12),
)


def outcome(text: str) -> Protocol | str:
    """Return the protocol, or the one sentence by which it was refused."""
    try:
        return parse_protocol(text, name="own.yaml")
    except InputError as fault:
        return fault.message


def whole(found: Protocol) -> None:
    """Check that nothing of a protocol that was taken is half there."""
    assert found.quantities
    for rule in found.quantities:
        assert rule.quantity in QUANTITIES
        assert rule.views
        assert rule.definition
        assert rule.source
        assert rule.repeats >= 1
        assert rule.beats >= 1
    assert found.gap_scheme is None or found.gap_scheme in GAP_SCHEMES
    assert len(found.fingerprint) == 12


def judge(text: str) -> None:
    found = outcome(text)
    if isinstance(found, Protocol):
        whole(found)
        return
    assert found.startswith("own.yaml")
    assert "\n" not in found
    assert found.endswith(".")
    lines = [int(number) for number in re.findall(r"line (\d+)", found)]
    assert all(1 <= number <= text.count("\n") + 2 for number in lines)


COMMON = settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])


@COMMON
@given(st.sampled_from(sorted(TEXTS)), st.data())
def test_a_line_taken_out_or_put_in_or_replaced(name, data):
    lines = list(LINES[name])
    at = data.draw(st.integers(0, len(lines) - 1))
    way = data.draw(st.sampled_from(["out", "in", "for", "twice"]))
    if way == "out":
        del lines[at]
    elif way == "twice":
        lines.insert(at, lines[at])
    elif way == "in":
        lines.insert(at, data.draw(JUNK))
    else:
        lines[at] = data.draw(JUNK)
    judge("\n".join(lines) + "\n")


@COMMON
@given(st.sampled_from(sorted(TEXTS)), st.data())
def test_a_value_replaced(name, data):
    lines = list(LINES[name])
    keyed = [n for n, line in enumerate(lines) if re.match(r"\s*\w+:", line)]
    at = data.draw(st.sampled_from(keyed))
    key = lines[at].split(":", 1)[0]
    lines[at] = f"{key}: {data.draw(JUNK)}"
    judge("\n".join(lines) + "\n")


@COMMON
@given(st.sampled_from(sorted(TEXTS)), st.integers(0, 10_000), st.integers(0, 10_000), JUNK)
def test_a_piece_cut_out_and_something_put_there(name, first, length, junk):
    text = TEXTS[name]
    first %= len(text)
    judge(text[:first] + junk + text[first + length % 200 :])


@COMMON
@given(st.text(max_size=300))
def test_any_text_at_all(text):
    judge(text)
    judge("annot_protocol: 1\n" + text)


@pytest.mark.parametrize("name", shipped_protocols())
def test_a_wrong_name_or_unit_in_any_quantity_is_named_with_its_own_line(name):
    """Every quantity in turn: an unknown name, and a unit that is not its own."""
    lines = LINES[name]
    begin = lines.index("quantities:")
    places = [n for n in range(begin, len(lines)) if re.match(r"  \w+:$", lines[n])]
    assert len(places) == len(parse_protocol(TEXTS[name], name=name).quantities)
    for at in places:
        quantity = lines[at].strip(" :")
        spoiled = [*lines[:at], f"  {quantity}x:", *lines[at + 1 :]]
        message: Any = outcome("\n".join(spoiled))
        assert f"line {at + 1}, quantities.{quantity}x: there is no such quantity" in message
        unit = QUANTITIES[quantity].outcomes[0].unit
        other = "deg" if unit != "deg" else "mm"
        end = next((n for n in places if n > at), len(lines))
        rest = [line for line in lines[at + 1 : end] if not line.startswith("    unit:")]
        spoiled = [*lines[: at + 1], f"    unit: {other}", *rest, *lines[end:]]
        message = outcome("\n".join(spoiled))
        assert f"line {at + 2}, quantities.{quantity}.unit" in message
        assert f"so write unit: {unit}" in message


CONTRADICTIONS = {
    "closure-planning": [
        ("landing_zone_inside_mm: 10", "", "a landing zone needs landing_zone_inside_mm"),
        ("  limits: both", "  limits: either\n  apart_mm: 3", "apart_mm"),
        ("  apart_percent: 10\n", "", "needs apart_mm and apart_percent"),
        ("scale_comparison, repeats]", "scale_comparison]", "hidden repeats need 'repeats'"),
        (
            "  echo_0: {modality: US, plane_deg: 0}",
            "  echo_0: {modality: US, plane_deg: 45}",
            "this is the same view as",
        ),
    ],
    "closure-follow-up": [
        ("gap_scheme: registry", "", "a gap's class needs gap_scheme"),
        ("gap_scheme: registry", "gap_scheme: other", "there is no such scheme"),
    ],
}


@pytest.mark.parametrize(
    ("name", "old", "new", "words"),
    [(name, *one) for name, several in CONTRADICTIONS.items() for one in several],
)
def test_a_contradiction_is_named_with_its_line(name, old, new, words):
    assert old in TEXTS[name]
    message = outcome(TEXTS[name].replace(old, new, 1))
    assert isinstance(message, str)
    assert words in message
    assert re.search(r"line \d+", message)
