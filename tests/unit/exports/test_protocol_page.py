"""A protocol's page: a sketch of every quantity whose points obey the definition beside it."""

import itertools
import math
import re
from html.parser import HTMLParser

import numpy as np
import pytest
from typer.testing import CliRunner

from annot.calibration import NoScale
from annot.cli.main import app
from annot.exports.definition_scheme import (
    LENGTH_MM,
    PROTRUSION_MM,
    TILT_DEG,
    VESSELS,
    WIDTH_MM,
    ZONE_MM,
    device_outline,
    sketched_landmarks,
    sketched_points,
)
from annot.exports.protocol_page import protocol_html, sketch_of
from annot.geometry import PixelPoint
from annot.measurement import Caliper, drawn_value
from annot.measurement.rule_deviation import rule_deviations
from annot.reads.protocol_file import load_protocol, parse_protocol, shipped_protocols
from annot.vocabulary import MEASURANDS, FrameReference
from annot.vocabulary.landmarks import DERIVED, QUANTITIES

NOWHERE = NoScale(reason="one pixel is a millimetre")


def drawn(name):
    """Return a quantity's sketch as a caliper, one pixel a millimetre."""
    measurand = {**MEASURANDS, **DERIVED}[name]
    return Caliper(
        key=name,
        measurand=measurand,
        frame=FrameReference(sop_instance_uid="", frame=0),
        points=tuple(PixelPoint(y, x) for x, y in sketched_points(name)),
    )


def number(name, outcome=0):
    one = drawn(name)
    return drawn_value(one, one.measurand.outcomes[outcome], NOWHERE)


@pytest.mark.parametrize("name", QUANTITIES)
def test_every_quantity_there_is_has_a_sketch(name):
    sketch = sketch_of(QUANTITIES[name])
    assert sketch.lines
    assert sketch.points
    numbers = [float(n) for line in sketch.lines for n in re.split("[ ,]", line)]
    assert min(numbers) > 0
    assert max(numbers) < 340


def test_the_sketched_landing_zone_obeys_the_rule_it_illustrates():
    found = {
        one.name: one.result.value
        for one in rule_deviations(
            drawn("landing_zone_width"), sketched_landmarks(), NOWHERE, inside_mm=ZONE_MM
        )
    }
    assert found["off_square"] == pytest.approx(0.0, abs=1e-9)
    (x0, y0), (x1, y1) = sketched_points("landing_zone_width")
    assert y0 == y1 == ZONE_MM
    assert x0 == -x1


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("ostium_width", 24.0),
        ("ostium_by_landmarks", 24.0),
        ("depth_straight", math.hypot(7, 32)),
        ("depth_bent", 18 + math.hypot(7, 14)),
        ("bend_distance", 18.0),
        ("neck_angle", 180 - math.degrees(math.atan2(7, 14))),
        ("neck_angle_by_landmarks", 180 - math.degrees(math.atan2(7, 14))),
        ("crossing_angle", 180 - math.degrees(math.atan2(6, 22))),
        ("crossing_distance", math.hypot(6, 22)),
        ("device_face_width", WIDTH_MM),
        ("device_shoulder_width", WIDTH_MM),
        ("device_end_width", WIDTH_MM),
        ("protrusion", PROTRUSION_MM),
        ("axis_tilt", TILT_DEG),
        ("ostium_cover", WIDTH_MM * math.cos(math.radians(TILT_DEG)) / 24),
    ],
)
def test_what_a_sketch_measures_is_what_it_was_drawn_with(name, value):
    assert number(name) == pytest.approx(value, abs=1e-6)


def test_sketched_ways_to_neighbours_are_the_shortest():
    corners = np.array([*device_outline(), device_outline()[0]])
    share = np.linspace(0, 1, 501)[:, None]
    outline = np.vstack([a + share * (b - a) for a, b in itertools.pairwise(corners)])
    for name, (centre, radius) in VESSELS.items():
        near = np.linalg.norm(outline - centre, axis=1).min() - radius
        assert number(name) == pytest.approx(near, abs=1e-3)
    assert np.linalg.norm(corners[2] - corners[1]) == pytest.approx(LENGTH_MM)


class Tags(HTMLParser):
    """Every tag with its attributes, and the text."""

    def __init__(self):
        super().__init__()
        self.tags, self.text = [], []

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data):
        self.text.append(data)


def parsed(page):
    found = Tags()
    found.feed(page)
    return found


@pytest.mark.parametrize("name", shipped_protocols())
def test_the_page_has_definition_source_and_drawing_of_every_quantity(name):
    protocol = load_protocol(name)
    page = protocol_html(protocol, table_hash="0123456789ab")
    found = parsed(page)
    ids = [attributes.get("id") for tag, attributes in found.tags if tag == "section"]
    assert ids == [rule.quantity for rule in protocol.quantities]
    assert sum(tag == "svg" for tag, _ in found.tags) == len(ids)
    text = " ".join("".join(found.text).split())
    for rule in protocol.quantities:
        assert rule.definition in text
        assert rule.source in text
    assert protocol.fingerprint in text
    assert "0123456789ab" in text
    # nothing is fetched from anywhere
    assert not re.search(r"(src|href)=|url\(|@import|https?:", page)


def test_what_a_person_wrote_is_text_and_never_markup():
    text = """annot_protocol: 1
name: own
version: 1
title: "<script>alert(1)</script>"
views:
  a: {modality: XA}
quantities:
  ostium_width: {definition: "a <b>bold</b> claim", source: "<img src=x>", views: [a]}
"""
    page = protocol_html(parse_protocol(text, name="own.yaml"), table_hash="x")
    tags = {tag for tag, _ in parsed(page).tags}
    assert not tags & {"script", "b", "img"}


def test_the_command_writes_the_page(tmp_path):
    page = tmp_path / "p.html"
    done = CliRunner().invoke(app, ["protocol", "show", "closure-planning", "-o", str(page)])
    assert done.exit_code == 0
    assert page.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    assert CliRunner().invoke(app, ["protocol", "show", "-o", str(page)]).exit_code == 2
