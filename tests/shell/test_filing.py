"""Reads and tables on disk: the table must be what the tasks give for the saved read."""

import csv
import json
import shutil

import pytest

from annot.calibration import GivenRequest, HeaderRequest
from annot.errors import AnnotError, InputError
from annot.reads import Conditions
from annot.tasks.export import write_table
from annot.tasks.measure import measure_read
from annot.tasks.open import open_loop
from annot.tasks.read import load_read
from napari_annot import filing
from napari_annot.desk import Desk
from napari_annot.end_placing import EndPlacing
from napari_annot.scale_entry import ScaleEntry, request_of
from napari_annot.tools import CALIPER_TOOLS

OSTIUM, LANDING, DEPTH, *_ = CALIPER_TOOLS
LINE = ((135.0, 265.0), (289.0, 283.0))


@pytest.fixture
def full_desk(on_xray, draw, scale_xray, echo):
    scale_xray(on_xray)
    draw(on_xray, OSTIUM, LINE)
    on_xray.stand_on(2)
    draw(on_xray, DEPTH, LINE)
    on_xray.revise(on_xray.selected, tilt_deg=10.0, note="=a lobe")
    on_xray.state_conditions(Conditions(loading="after fluids", rhythm="paced"))
    on_xray.show(on_xray.add(open_loop(echo.path)))
    on_xray.ask_scale(HeaderRequest())
    on_xray.state_plane(45.0)
    draw(on_xray, LANDING, echo.truth.caliper("landing_zone_width", 0).points_px)
    on_xray.state_reader("R7", "")
    return on_xray


def test_the_table_is_what_the_tasks_give_for_the_saved_read(full_desk, tmp_path):
    read_file, table, other = tmp_path / "read.json", tmp_path / "t.csv", tmp_path / "u.csv"
    filing.save(full_desk, read_file)
    assert filing.export(full_desk, table) == 3
    write_table(measure_read(load_read(read_file), tmp_path), other)
    assert table.read_bytes() == other.read_bytes()


def test_every_row_of_the_table_has_its_warnings(on_xray, draw, tmp_path):
    draw(on_xray, OSTIUM, LINE)
    on_xray.state_reader("R7", "S01")
    filing.export(on_xray, tmp_path / "t.csv")
    with (tmp_path / "t.csv").open(encoding="utf-8", newline="") as stream:
        (row,) = csv.DictReader(stream)
    assert row["unit"] == "px"
    assert "no scale" in row["warnings"]
    assert row["study"] == "S01"


def test_a_loaded_read_shows_the_same_rows(full_desk, desk, tmp_path):
    filing.save(full_desk, tmp_path / "read.json")
    rows = full_desk.state().rows
    lines = full_desk.state().loops
    fresh = Desk()
    fresh.fit_wanted.connect(
        lambda file, request: fresh.take_answer(file, request, full_desk.standing(file).made)
    )
    filing.load(fresh, tmp_path / "read.json")
    assert [(row.key, row.value, row.interval, row.warnings) for row in fresh.state().rows] == [
        (row.key, row.value, row.interval, row.warnings) for row in rows
    ]
    assert fresh.state().loops == lines
    assert fresh.state().reader == "R7"
    assert fresh.read == full_desk.read
    assert not fresh.state().can_undo


def test_loops_are_named_relative_to_the_read_file(full_desk, tmp_path, xray):
    filing.save(full_desk, tmp_path / "read.json")
    content = json.loads((tmp_path / "read.json").read_text(encoding="utf-8"))
    for loop in content["loops"]:
        assert not loop["file"].startswith("/")
        assert (tmp_path / loop["file"]).resolve().exists()


def test_a_borrowed_scale_is_found_again(on_xray, scale_xray, xray_sphere, draw, tmp_path):
    scale_xray(on_xray)
    lender = on_xray.shown
    on_xray.show(on_xray.add(open_loop(xray_sphere.path)))
    on_xray.ask_scale(request_of(ScaleEntry(kind="borrowed", lender=lender), None))
    draw(on_xray, OSTIUM, LINE)
    on_xray.state_reader("R7", "S01")
    filing.save(on_xray, tmp_path / "read.json")
    filing.export(on_xray, tmp_path / "t.csv")
    write_table(measure_read(load_read(tmp_path / "read.json"), tmp_path), tmp_path / "u.csv")
    assert (tmp_path / "t.csv").read_bytes() == (tmp_path / "u.csv").read_bytes()


def test_end_placing_of_a_loaded_read_is_shown(full_desk, tmp_path, desk):
    full_desk.place_ends(EndPlacing(u_mm=0.4))
    filing.save(full_desk, tmp_path / "read.json")
    filing.load(desk, tmp_path / "read.json")
    assert desk.state().placing == EndPlacing(u_mm=0.4)


@pytest.mark.parametrize("action", [filing.save, filing.export])
def test_nothing_is_filed_without_a_reader(on_xray, draw, tmp_path, action):
    draw(on_xray, OSTIUM, LINE)
    with pytest.raises(InputError, match="who reads"):
        action(on_xray, tmp_path / "file")
    assert list(tmp_path.iterdir()) == []


def test_no_table_while_a_scale_is_being_fitted(xray, draw, scale_xray, tmp_path):
    desk = Desk()  # nobody fits
    desk.show(desk.add(open_loop(xray.path)))
    scale_xray(desk)
    draw(desk, OSTIUM, LINE)
    desk.state_reader("R7", "S01")
    with pytest.raises(InputError, match="still being fitted"):
        filing.export(desk, tmp_path / "t.csv")


def test_a_read_of_another_image_is_refused_and_the_desk_stays(on_xray, draw, tmp_path, xray, echo):
    draw(on_xray, OSTIUM, LINE)
    on_xray.state_reader("R7", "S01")
    shutil.copy(xray.path, tmp_path / "loop.dcm")
    other = Desk()
    other.show(other.add(open_loop(tmp_path / "loop.dcm")))
    other.state_reader("R8", "S02")
    filing.save(other, tmp_path / "read.json")
    shutil.copy(echo.path, tmp_path / "loop.dcm")
    before = on_xray.state()
    with pytest.raises(InputError, match="not the loop that was read"):
        filing.load(on_xray, tmp_path / "read.json")
    (tmp_path / "loop.dcm").unlink()
    with pytest.raises(AnnotError, match=r"loop\.dcm"):
        filing.load(on_xray, tmp_path / "read.json")
    assert on_xray.state() == before


def test_a_read_with_a_caliper_off_the_loop_is_refused(on_xray, draw, tmp_path):
    draw(on_xray, OSTIUM, LINE)
    on_xray.ask_scale(GivenRequest(mm_per_px=(0.2, 0.2), u_rel=0.02))
    on_xray.state_reader("R7", "S01")
    path = tmp_path / "read.json"
    filing.save(on_xray, path)
    content = json.loads(path.read_text(encoding="utf-8"))
    content["loops"][0]["calipers"][0]["frame"] = 99
    path.write_text(json.dumps(content), encoding="utf-8")
    with pytest.raises(InputError, match="frame 99"):
        filing.load(on_xray, path)


def test_a_folder_opens_what_it_holds_and_tells_what_fails(desk, loops_folder, tmp_path, xray):
    shutil.copy(xray.path, tmp_path / "noextension")
    (tmp_path / "broken.dcm").write_bytes(xray.path.read_bytes()[:600])
    (tmp_path / "notes.txt").write_text("no loop", encoding="utf-8")
    faults = filing.open_paths(desk, [tmp_path])
    assert [line.name for line in desk.state().loops] == ["noextension"]
    assert len(faults) == 1
    assert "broken.dcm" in faults[0]
    assert desk.shown is not None


def test_what_is_not_saved_is_known(on_xray, draw, tmp_path):
    assert not on_xray.state().unsaved, "an opened loop alone is no work"
    draw(on_xray, OSTIUM, LINE)
    assert on_xray.state().unsaved
    on_xray.state_reader("R7", "S01")
    filing.save(on_xray, tmp_path / "read.json")
    assert not on_xray.state().unsaved
    on_xray.undo()
    on_xray.redo()
    assert not on_xray.state().unsaved
    on_xray.delete_selected()
    draw(on_xray, LANDING, LINE)
    assert on_xray.state().unsaved
    filing.load(on_xray, tmp_path / "read.json")
    assert not on_xray.state().unsaved
