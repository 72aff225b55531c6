"""The page to discuss a table by: complete, escaped, without network, without advice."""

import csv
import re
from html.parser import HTMLParser

import pytest
from typer.testing import CliRunner

from annot.cli.main import app
from annot.errors import InputError
from annot.tasks.discussion import write_discussion

FIELDS = [
    "study",
    "quantity",
    "reader",
    "value",
    "unit",
    "u",
    "low",
    "high",
    "modality",
    "view_deg",
    "primary_deg",
    "secondary_deg",
    "repeat",
    "scale_id",
    "scale_kind",
    "share_scale",
    "share_ends",
    "caliper_id",
    "loop",
    "frame",
    "conditions",
    "warnings",
]


def row(value=22.0, **more):
    plain = {
        "study": "S",
        "quantity": "landing_zone_width",
        "reader": "A",
        "value": value,
        "unit": "mm",
        "u": 0.5,
        "low": value - 1,
        "high": value + 1,
        "modality": "US",
        "view_deg": 0,
        "repeat": 1,
        "scale_id": "s",
        "scale_kind": "header",
        "share_scale": 0.3,
        "share_ends": 0.7,
        "caliper_id": f"c{value}",
        "loop": "a.dcm",
        "frame": 3,
        "conditions": "loading: not stated",
        "warnings": "tilt not stated",
    }
    return plain | more


ROWS = [
    row(20.0, view_deg=0),
    row(22.0, view_deg=45),
    row(24.0, view_deg=90),
    row(22.1, view_deg=135),
]
SHADOW = row(
    25.0, modality="XA", view_deg="", primary_deg=-30, secondary_deg=-20, loop="x.dcm", reader="B"
)


def table_at(path, rows):
    with path.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.DictWriter(stream, FIELDS)
        writer.writeheader()
        writer.writerows(rows)
    return path


def page_of(folder, rows, **options):
    page = folder / "sheet.html"
    write_discussion(table_at(folder / "table.csv", rows), page, **options)
    return page.read_text(encoding="utf-8")


class Seen(HTMLParser):
    """Every tag with its attributes, and the text between them."""

    def __init__(self):
        super().__init__()
        self.tags, self.text, self.open = [], [], []

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag not in {"meta", "line", "circle"}:
            self.open.append(tag)

    def handle_endtag(self, tag):
        if tag not in {"line", "circle"}:
            assert self.open.pop() == tag

    def handle_data(self, data):
        self.text.append(data)


def seen(page):
    found = Seen()
    found.feed(page)
    assert found.open == []
    return found


def test_every_row_stands_there_with_its_interval_and_its_bar(tmp_path):
    found = seen(page_of(tmp_path, [*ROWS, SHADOW]))
    text = " ".join(" ".join(found.text).split())
    for words in ("20.00 ± 0.50", "RAO 30° caudal 20°", "placing the ends, 70%", "B", "135°"):
        assert words in text
    assert "best estimates from 20.00 to 25.00 mm, 5.00 mm apart" in text
    circles = [attrs for tag, attrs in found.tags if tag == "circle"]
    assert len(circles) == 5
    assert sum(one["fill"] == "#fff" for one in circles) == 4
    places = [float(one["cx"]) for one in circles]
    assert places[0] < places[1] < places[2] < places[4]
    assert "largest diameter of the ellipse through the views" in text
    assert "tilt not stated" in text
    assert "Not a medical device" in text


def test_it_asks_the_network_for_nothing(tmp_path):
    found = seen(page_of(tmp_path, ROWS))
    asking = {"src", "href", "srcset", "action", "data", "xlink:href"}
    assert not any(asking & set(attrs) for _, attrs in found.tags)
    assert not {tag for tag, _ in found.tags} & {"script", "link", "img", "iframe", "object"}
    assert "default-src 'none'" in str(found.tags)


def test_what_a_person_wrote_is_text_and_nothing_else(tmp_path):
    bad = "<script>alert(1)</script>"
    page = page_of(tmp_path, [row(reader=bad, caliper_id=bad, warnings=bad, conditions=bad)])
    assert "<script" not in page
    assert "&lt;script&gt;" in page


ADVICE = re.compile(
    r"\b(recommend|should|choose|suitable|safe|optimal|best size|implant a|we suggest)\b",
    re.IGNORECASE,
)


def test_it_gives_no_advice(tmp_path):
    chart = tmp_path / "chart.csv"
    chart.write_text("label,nominal_mm,width_from_mm,width_to_mm\nA,24,18,21\nB,27,21,24\n")
    text = " ".join(seen(page_of(tmp_path, [*ROWS, SHADOW], chart=chart)).text)
    assert "What would change the picture" in text
    assert "its owner and the treating physician decide" in text
    assert not ADVICE.search(text), ADVICE.search(text)


def test_changes_since_planning_are_shown_with_their_interval(tmp_path):
    before = table_at(tmp_path / "before.csv", [row(20.0)])
    text = " ".join(seen(page_of(tmp_path, [row(23.0)], planning=before)).text)
    assert "landing zone width, echo 0°: +3.00 mm (" in text


def test_an_empty_table_or_another_kind_of_file_is_refused(tmp_path):
    with pytest.raises(InputError):
        page_of(tmp_path, [])
    (tmp_path / "sheet.html").write_text("a letter")
    with pytest.raises(InputError, match="something else"):
        page_of(tmp_path, ROWS)
    assert (tmp_path / "sheet.html").read_text() == "a letter"


def test_the_command_writes_it(tmp_path):
    table = table_at(tmp_path / "table.csv", ROWS)
    page = tmp_path / "p.html"
    done = CliRunner().invoke(app, ["discuss", str(table), "-o", str(page), "--json"])
    assert done.exit_code == 0, done.output
    assert page.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
