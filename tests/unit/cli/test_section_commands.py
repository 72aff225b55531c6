"""`annot section`, `annot sizes` and `annot geometry` as a person meets them."""

import csv
import json

import pytest
from typer.testing import CliRunner

from annot.cli.main import app
from annot.geometry.ellipse import Ellipse
from synthetic_dicom import write_case
from tests.unit.cli.test_commands import assert_one_line_fault, run
from tests.unit.measurement.section_rows import echo_rows, row, xray_rows

OVAL = Ellipse(largest=25.0, smallest=19.0, orientation_deg=30.0)
ESTIMATE = {"value", "u", "low", "high", "unit"}
NAMES = {
    "largest",
    "smallest",
    "mean",
    "area_diameter",
    "perimeter_diameter",
    "eccentricity",
    "orientation",
}
CHART = (
    "label,nominal_mm,width_from_mm,width_to_mm,least_depth_mm\n"
    "S,22,18,20,12\nM,24,20,22,13\nL,26,22,24,14\nXL,28,24,26,15\n"
)


def write_table(path, rows):
    names = [name for name in rows[0].__slots__ if name != "line"]
    with path.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.writer(stream)
        writer.writerow(names)
        for one in rows:
            cells = [getattr(one, name) for name in names]
            writer.writerow(["" if cell is None else cell for cell in cells])


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    place = tmp_path_factory.mktemp("sections")
    off = (0.3, -0.2, 0.1, 0.2)
    depths = [row(25.0, quantity="depth", view_deg=turn) for turn in (0.0, 90.0)]
    readers = [
        one
        for name in "AB"
        for one in echo_rows(OVAL, noise=off if name == "A" else off[::-1], reader=name)
    ]
    write_table(place / "table.csv", [*readers, *xray_rows(OVAL, (20, 80)), *depths])
    (place / "chart.csv").write_text(CHART, encoding="utf-8")
    return place


def test_section_answers_as_other_programs_expect(folder):
    done = run("section", folder / "table.csv", "--json")
    sections = json.loads(done.stdout)
    assert done.returncode == 0
    assert [(one["reader"], one["modality"]) for one in sections] == [
        ("A", "US"),
        ("B", "US"),
        ("A", "XA"),
    ]
    echo, xray = sections[0], sections[2]
    assert all(set(echo[name]) == ESTIMATE for name in NAMES)
    assert echo["largest"]["low"] < OVAL.largest < echo["largest"]["high"]
    assert [one["kind"] for one in echo["views"]] == ["chord"] * 4
    assert {"chi2", "dof", "p", "without_view", "warnings", "study", "quantity"} <= set(echo)
    assert len(echo["without_view"]) == 4
    assert [one["kind"] for one in xray["views"]] == ["silhouette"] * 2
    assert all(xray[name] is None for name in NAMES)
    assert any("cannot tell an ellipse" in text for text in xray["warnings"])


def test_section_speaks_to_a_person_and_draws(folder):
    picture = folder / "forest.png"
    done = run("section", folder / "table.csv", "--together", "--picture", picture)
    assert done.returncode == 0
    for words in (
        "perimeter diameter",
        "without the US 0° view",
        "geometry alone predicts",
        "shared errors taken out",
        "Birge ratio",
        "Not a medical device",
    ):
        assert words in " ".join(done.stdout.split()), words
    assert picture.read_bytes().startswith(b"\x89PNG")


def test_section_side_by_side_for_machines_and_with_a_common_zero(folder):
    done = run("section", folder / "table.csv", "--together", "--common-zero", "--json")
    [group] = json.loads(done.stdout)
    assert {one["modality"] for one in group["sections"]} == {"US", "XA", "US+XA"}
    joint = next(one for one in group["sections"] if one["modality"] == "US+XA")
    assert joint["dof"] == 3
    assert {one["diameter"] for one in group["pairs"]} == {
        "largest",
        "area_diameter",
        "perimeter_diameter",
    }
    assert group["differences"][0]["directions_known"] is True
    assert len(group["combinations"]) == 3


def test_sizes_answer_as_other_programs_expect(folder):
    done = run("sizes", folder / "table.csv", "--chart", folder / "chart.csv", "--json")
    rows = json.loads(done.stdout)
    first = [one for one in rows if (one["reader"], one["modality"]) == ("A", "US")]
    assert done.returncode == 0
    assert [one["label"] for one in first[:4]] == ["S", "M", "L", "XL"]
    assert [one["kind"] for one in first[4:]] == ["outside"] * 3
    assert sum(one["probability"] for one in first) == pytest.approx(1)
    for one in first[:4]:
        assert set(one["compression_percent"]) == ESTIMATE
        assert set(one["depth_margin_mm"]) == ESTIMATE
        assert isinstance(one["warnings"], list)
    assert first[0]["second_readers"][0]["reader"] == "B"
    xray = [one for one in rows if one["modality"] == "XA"]
    assert any("other modality" in text for one in xray for text in one["warnings"])


@pytest.mark.parametrize("basis", ["largest", "area", "perimeter"])
def test_sizes_say_that_they_recommend_nothing(folder, basis):
    picture = folder / f"{basis}.png"
    words = ("sizes", folder / "table.csv", "--chart", folder / "chart.csv", "--basis", basis)
    done = run(*words, "--picture", picture)
    text = " ".join(done.stdout.split())
    assert done.returncode == 0
    assert "This is no recommendation" in text
    assert "should" not in text
    assert "by width alone" in text
    assert "100 %" not in text.replace("> 99 %", "")
    assert picture.read_bytes().startswith(b"\x89PNG")


def test_a_table_at_fault_is_one_sentence(folder, tmp_path):
    (tmp_path / "t.csv").write_text("study,value\nS,1\n", encoding="utf-8")
    assert_one_line_fault(run("section", tmp_path / "t.csv"), "t.csv", "quantity, reader")


# ---------------------------------------------------------------- geometry
@pytest.fixture(scope="module")
def loops(tmp_path_factory):
    place = tmp_path_factory.mktemp("loops")
    written = {name: write_case(name, place, frames=3) for name in ("xa_clean", "xa_caudal")}
    marks = []
    for index, name in enumerate(("ostium", "tip")):
        first, second = (one.truth.caliper("depth", 0).points_px[index] for one in written.values())
        marks += [
            "--points",
            f"{name}={first[0]:.3f},{first[1]:.3f}:{second[0]:.3f},{second[1]:.3f}",
        ]
    true = written["xa_clean"].truth.anatomy.depth_mm[0]
    return place / "xa_clean.dcm", place / "xa_caudal.dcm", marks, true


def test_geometry_gives_the_true_length_for_machines(loops):
    first, second, marks, true = loops
    facts = json.loads(run("geometry", first, second, *marks, "--json").stdout)
    [length] = facts["lengths"]
    assert length["value"] == pytest.approx(true, abs=0.01)
    assert length["low"] < true < length["high"]
    assert set(length) >= ESTIMATE
    assert [one["name"] for one in facts["landmarks"]] == ["ostium", "tip"]
    assert len(facts["landmarks"][0]["height_mm"]) == 2


def test_geometry_speaks_to_a_person_and_draws(loops, tmp_path):
    first, second, marks, _ = loops
    picture = tmp_path / "two.png"
    done = run("geometry", first, second, *marks, "--picture", picture)
    text = " ".join(done.stdout.split())
    assert done.returncode == 0
    for words in ("not foreshortened", "RAO 25 CRA", "90° sees it in full length", "35° apart"):
        assert words in text, words
    assert picture.read_bytes().startswith(b"\x89PNG")


def test_geometry_refuses_what_it_cannot_place(loops):
    first, second, _, _ = loops
    assert_one_line_fault(run("geometry", first, second, "--points", "a=900,1:2,3"), "xa_clean")


@pytest.mark.parametrize(
    "words",
    [
        ["--points", "a=1,2"],
        ["--points", "1,2:3,4"],
        ["--points", "a=1:2,3"],
        ["--points", "a=x,2:3,4"],
        ["--points", "a=1,2:3,4", "--points", "a=1,2:3,4"],
        ["--points", "a=1,2:3,4", "--neck", "tip"],
        ["--points", "a=1,2:3,4", "--reach", "60"],
    ],
)
def test_wrong_usage_of_geometry_is_told_apart_from_wrong_input(loops, words):
    first, second, _, _ = loops
    done = CliRunner().invoke(app, ["geometry", str(first), str(second), *words])
    assert done.exit_code == 2
