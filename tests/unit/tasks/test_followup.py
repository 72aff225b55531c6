"""A follow-up read: compression and gap class in the table, changes between two tables."""

import json

import pytest
from typer.testing import CliRunner

from annot.cli.main import app
from annot.errors import InputError
from annot.exports import rows_of
from annot.tasks.export import write_table
from annot.tasks.followup import changes_of_tables
from annot.tasks.measure import measure_read
from annot.tasks.read import load_read, save_read
from annot.tasks.section import load_rows
from tests.unit.tasks.test_measure import caliper, write_loop

FACE = {"id": "p", "quantity": "protrusion", "points_px": [[30, 10], [30, 70], [50, 40], [40, 40]]}


def table_of(folder, *calipers, study="S", name="later", **more):
    write_loop(folder / "x.dcm")
    part = {"file": "x.dcm", "scale": {"kind": "header"}, "calipers": list(calipers)}
    content = {"annot_read": 1, "reader": "A", "study": study, "loops": [part], **more}
    path = folder / f"{name}.json"
    path.write_text(json.dumps({"protocol": "closure-follow-up"} | content))
    read = load_read(path)
    entries = measure_read(read, folder)
    write_table(entries, folder / f"{name}.csv")
    return read, rows_of(entries)


IMPLANT = {"nominal_width_mm": 10.0, "tolerance_mm": 0.1}


def test_a_devices_width_is_followed_by_its_compression(tmp_path):
    device = caliper(quantity="device_shoulder_width")
    read, rows = table_of(tmp_path, device, implant=IMPLANT)
    width, compression = rows
    assert width["value"] == pytest.approx(7.5)
    assert compression["quantity"] == "device_shoulder_compression"
    assert compression["value"] == pytest.approx(0.25)
    assert (compression["unit"], compression["protocol"]) == ("1", "closure-follow-up 1")
    assert compression["share_object"] > 0
    save_read(read, tmp_path / "again.json")
    assert load_read(tmp_path / "again.json") == read


def test_without_an_implant_there_is_no_compression_and_the_row_says_so(tmp_path):
    _, [width] = table_of(tmp_path, caliper(quantity="device_shoulder_width"))
    assert "states no implant" in width["warnings"]


def test_a_distance_to_the_ridge_in_a_loop_without_times_has_no_swing_and_says_why(tmp_path):
    _, [row] = table_of(tmp_path, caliper(quantity="ridge_distance"))
    assert row["quantity"] == "ridge_distance"
    assert "no swing against the ridge: x.dcm does not state when its frames" in row["warnings"]


def test_a_gaps_row_carries_scheme_rule_and_class(tmp_path):
    _, [gap] = table_of(tmp_path, caliper(quantity="gap_width", points_px=[[10, 10], [10, 30]]))
    assert (
        "class by the scheme registry (none: up to and with 0 mm; small: up to" in gap["warnings"]
    )
    assert "small; probabilities: none 0%, small 100%" in gap["warnings"]


def test_a_table_with_a_negative_protrusion_is_read_back(tmp_path):
    _, [row] = table_of(tmp_path, caliper(**FACE))
    assert row["value"] == pytest.approx(-1.5)
    [back] = load_rows(tmp_path / "later.csv")
    assert (back.quantity, back.value) == ("protrusion", pytest.approx(-1.5))


def test_two_tables_of_one_study_are_paired(tmp_path):
    table_of(tmp_path, caliper(), name="before")
    table_of(tmp_path, caliper(id="b", points_px=[[10, 10], [40, 60]]), name="later")
    [found] = changes_of_tables(tmp_path / "before.csv", tmp_path / "later.csv")
    assert found.difference.value == pytest.approx((3400**0.5 - 50) * 0.15, rel=1e-3)
    # one header scale under both: most of it cancels
    assert found.correlation > 0.3
    assert found.difference.u < (found.before.u**2 + found.after.u**2) ** 0.5
    words = ["followup", str(tmp_path / "before.csv"), str(tmp_path / "later.csv")]
    assert "ostium_width" in CliRunner().invoke(app, words).stdout
    [facts] = json.loads(CliRunner().invoke(app, [*words, "--json"]).stdout)
    assert facts["difference"]["unit"] == "mm"


def test_tables_that_cannot_be_paired_are_refused(tmp_path):
    table_of(tmp_path, caliper(), name="before")
    table_of(tmp_path, caliper(), name="later", study="T")
    with pytest.raises(InputError, match="one and the same study"):
        changes_of_tables(tmp_path / "before.csv", tmp_path / "later.csv")
    table_of(tmp_path, caliper(**FACE), name="later")
    with pytest.raises(InputError, match="no quantity in one view in common"):
        changes_of_tables(tmp_path / "before.csv", tmp_path / "later.csv")


def test_a_table_against_itself_is_no_follow_up(tmp_path):
    text = "study,quantity,reader,value,unit,u\nS1,ostium_width,A,24.0,mm,0.5\n"
    first, second = tmp_path / "a.csv", tmp_path / "b.csv"
    first.write_text(text)
    second.write_text(text + "\n")
    with pytest.raises(InputError, match="same rows"):
        changes_of_tables(first, second)
