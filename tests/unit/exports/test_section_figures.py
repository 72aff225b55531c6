"""Pictures of cross-sections and charts say what they show, and come out whole."""

import io

import numpy as np
import pytest
from PIL import Image

from annot.exports.section_figures import forest_lines, section_png
from annot.exports.sizing_figures import sizes_png
from annot.geometry.ellipse import Ellipse
from annot.sizing import match_rows, parse_chart, size_basis
from annot.tasks.section import sections_of
from tests.unit.measurement.section_rows import echo_rows, row, xray_rows

OVAL = Ellipse(largest=25.0, smallest=19.0, orientation_deg=30.0)


@pytest.fixture(scope="module")
def sections():
    return sections_of([*echo_rows(OVAL, frame=12), *xray_rows(OVAL, (20, 80)), row(24.0)])


def test_every_view_and_diameter_has_its_line_with_its_interval(sections):
    lines = forest_lines(sections)
    labels = [line.label for line in lines]
    assert "chord, 45° view, frame 12" in labels
    assert "shadow, 20° view" in labels
    assert labels.count("perimeter-derived") == 1
    for line in lines:
        assert line.value is None or line.low < line.value < line.high


def test_pictures_are_whole_and_grow_with_what_they_show(sections):
    one = Image.open(io.BytesIO(section_png([sections[:1]])))
    both = Image.open(io.BytesIO(section_png([sections, sections])))
    assert both.height > 1.5 * one.height
    assert one.mode in ("RGB", "RGBA")
    assert np.asarray(one.convert("L")).std() > 5


def test_a_chart_is_drawn_with_what_lies_in_it(sections):
    chart = parse_chart(
        "label,nominal_mm,width_from_mm,width_to_mm\nM,24,20,24\nL,28,24,27\n", name="c.csv"
    )
    found = size_basis(sections[0], (), basis="largest", rng=np.random.default_rng(1))
    picture = Image.open(io.BytesIO(sizes_png([(found, match_rows(chart, found))], chart)))
    assert picture.width > 800
