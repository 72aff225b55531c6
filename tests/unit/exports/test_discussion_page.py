"""The page to discuss a table by: complete, escaped, without network, without advice."""

import csv
import re
from html.parser import HTMLParser

import pytest
from typer.testing import CliRunner

from annot.cli.main import app
from annot.errors import InputError
from annot.exports.axis import Axis
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
    found = seen(page_of(tmp_path, [row(23.0)], planning=before))
    text = " ".join(found.text)
    assert "Landing zone width, echo 0°" in text
    # no share but the scale's is common: u² = 2·0.5²·0.7, and 1.96 u either way
    assert "+3.00 mm (+1.84 to +4.16)" in text
    [change] = [
        one
        for _, one in found.tags
        if "echo 0°" in one.get("aria-label", "").split(": ")[0]
        and "Landing" in one.get("aria-label", "")
    ]
    assert change["width"] == "380"


def test_the_spread_of_the_views_stands_first_and_counts_intervals_apart(tmp_path):
    text = " ".join(" ".join(seen(page_of(tmp_path, [*ROWS, SHADOW])).text).split())
    # 19 to 21, 21 to 23, 23 to 25, 21.1 to 23.1 and 24 to 26: touching ends are in common
    assert "5 of 10 pairs of intervals have nothing in common" in text
    assert text.index("How far apart the views are") < text.index("Landing zone width (mm)")
    assert "no error by itself" in text


def test_conditions_and_warnings_stand_once_with_all_whom_they_are_for(tmp_path):
    rows = [row(20.0 + n, loop=f"{n}.dcm", caliper_id=f"c{n}") for n in range(9)]
    text = " ".join(" ".join(seen(page_of(tmp_path, rows)).text).split())
    assert text.count("loading: not stated") == 1
    _, warned = text.split("What the rows warn of")
    assert warned.count("tilt not stated") == 1
    assert "(0.dcm, 1.dcm, 2.dcm, 3.dcm, 4.dcm, 5.dcm and 3 more)" in text


def test_the_charts_rows_are_drawn_against_the_measured_width(tmp_path):
    chart = tmp_path / "chart.csv"
    chart.write_text("label,nominal_mm,width_from_mm,width_to_mm\nA,24,18,21\nB,27,21,24\n")
    found = seen(page_of(tmp_path, ROWS, chart=chart))
    ranges = [one for tag, one in found.tags if tag == "rect" and one["class"] == "range"]
    bands = {
        (one["x"], one["width"])
        for tag, one in found.tags
        if tag == "rect" and one["class"] == "band"
    }
    assert len(ranges) == 2
    assert len(bands) == 1
    # 18 to 21 and 21 to 24: as wide, and one begins where the other ends
    first, second = ((float(one["x"]), float(one["width"])) for one in ranges)
    assert first[1] == pytest.approx(second[1], abs=0.2)
    assert sum(first) == pytest.approx(second[0], abs=0.2)


@pytest.mark.parametrize(
    ("low", "high", "texts"),
    [
        (18.8, 27.58, ["20", "22", "24", "26"]),
        (0.568, 0.663, ["0.58", "0.60", "0.62", "0.64", "0.66"]),
        (-1.2, 1.2, ["-1.0", "-0.5", "0.0", "0.5", "1.0"]),
        (123.3, 178.5, ["140", "160"]),
        (5.0, 5.0, ["5.0"]),
    ],
)
def test_ticks_stand_at_round_numbers(low, high, texts):
    axis = Axis(low=low, high=high, wide_px=400)
    found = axis.ticks()
    assert [text for _, text in found] == texts
    places = [place for place, _ in found]
    assert places == sorted(places)
    assert all(12 <= place <= 388 for place in places)


def test_an_empty_table_or_another_kind_of_file_is_refused(tmp_path):
    with pytest.raises(InputError):
        page_of(tmp_path, [])
    (tmp_path / "sheet.html").write_text("a letter")
    with pytest.raises(InputError, match="something else"):
        page_of(tmp_path, ROWS)
    assert (tmp_path / "sheet.html").read_text() == "a letter"


def test_tables_of_two_readers_stand_together(tmp_path):
    first = table_at(tmp_path / "a.csv", ROWS)
    second = table_at(
        tmp_path / "b.csv",
        [
            {
                **one,
                "reader": "B",
                "value": one["value"] + 1.5,
                "low": one["low"] + 1.5,
                "high": one["high"] + 1.5,
            }
            for one in ROWS
        ],
    )
    page = tmp_path / "p.html"
    done = CliRunner().invoke(app, ["discuss", str(first), str(second), "-o", str(page)])
    assert done.exit_code == 0, done.output
    found = seen(page.read_text(encoding="utf-8"))
    assert sum(tag == "circle" for tag, _ in found.tags) == 8
    text = " ".join(" ".join(found.text).split())
    assert "8 20.00 to 25.50 mm, 5.50 mm apart" in text
    assert "reader B" in text


def test_the_command_writes_it(tmp_path):
    table = table_at(tmp_path / "table.csv", ROWS)
    page = tmp_path / "p.html"
    done = CliRunner().invoke(app, ["discuss", str(table), "-o", str(page), "--json"])
    assert done.exit_code == 0, done.output
    assert page.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
