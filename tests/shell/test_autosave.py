"""Unsaved work lies beside the read file at every change; a killed process loses a stroke."""

import signal
import subprocess
import sys
from pathlib import Path

import pytest

from annot.calibration import GivenRequest
from annot.geometry import PixelPoint
from annot.tasks.open import open_loop
from annot.tasks.read import load_read
from annot.vocabulary import MEASURANDS
from napari_annot import read_edits as edits
from napari_annot.autosave import Autosave, autosave_of, left_behind
from napari_annot.desk import Desk
from napari_annot.filing import save, take_up
from napari_annot.pen import Pen
from napari_annot.tools import tool_of

OSTIUM = tool_of(MEASURANDS["ostium_width"])
GIVEN = GivenRequest(mm_per_px=(0.2, 0.2), u_rel=0.02)

KILLED = """
import os, signal, sys
from pathlib import Path
from annot.geometry import PixelPoint
from annot.tasks.open import open_loop
from annot.vocabulary import MEASURANDS
from napari_annot.autosave import Autosave
from napari_annot.desk import Desk
from napari_annot.filing import save
from napari_annot.pen import Pen
from napari_annot.tools import tool_of

desk = Desk()
Keeper = Autosave(desk)
desk.show(desk.add(open_loop(Path(sys.argv[1]))))
desk.state_reader("A", "S1")
save(desk, Path(sys.argv[2]))
pen = Pen(desk)
for row in (100, 150, 200):
    start, end = PixelPoint(row, 100), PixelPoint(row, 160)
    desk.arm(tool_of(MEASURANDS["ostium_width"]))
    pen.press(start, reach_px=1)
    pen.drag(start, end)
    if row < 200:
        pen.release(end, travelled=True)
os.kill(os.getpid(), signal.SIGKILL)
"""


EVERY_ACT = """
from dataclasses import replace
from annot.geometry import PixelPoint
from annot.reads import Conditions
from annot.reads.read import Implant
from napari_annot.pen import Pen
from napari_annot.tools import CALIPER_TOOLS, LANDMARK_TOOLS

def click(desk, tool, *places):
    pen = Pen(desk)
    desk.arm(tool)
    for place in places:
        pen.press(PixelPoint(*place), reach_px=1)
        pen.release(PixelPoint(*place), travelled=False)

def redone(desk):
    desk.undo()
    desk.redo()

# a read may be looked up by its cell, which then numbers the repeat
def read_a_cell(desk):
    desk.read_repeat("ostium_width", 0, 2)
    click_on(desk, (100, 100), (160, 120))

def click_on(desk, *places):
    pen = Pen(desk)
    for place in places:
        pen.press(PixelPoint(*place), reach_px=1)
        pen.release(PixelPoint(*place), travelled=False)

def copied(desk):
    desk.stand_on(2)
    desk.copy_here()

ACTS = (
    lambda desk: click(desk, LANDMARK_TOOLS[0], (50, 60)),
    lambda desk: click(desk, LANDMARK_TOOLS[1], (55, 60)),
    lambda desk: desk.state_conditions(
        Conditions(loading="fasting", moment="largest", atrial_pressure_mmhg=12.0)
    ),
    lambda desk: desk.state_protocol("closure-follow-up"),
    lambda desk: desk.state_implant(Implant(nominal_width_mm=24.0, tolerance_mm=0.2)),
    lambda desk: desk.state_protocol("closure-planning"),
    read_a_cell,
    lambda desk: desk.nudge(1, 0),
    copied,
    lambda desk: desk.confirm(),
    redone,
    lambda desk: desk.clear_landmarks(),
    lambda desk: desk.stand_on(0),
    lambda desk: desk.clear_landmarks(),
    lambda desk: desk.undo(),
)
"""
KILLED_AFTER = (
    EVERY_ACT
    + """
import os, signal, sys
from pathlib import Path
from annot.tasks.open import open_loop
from napari_annot.autosave import Autosave
from napari_annot.desk import Desk
from napari_annot.filing import save

desk = Desk()
Keeper = Autosave(desk)
desk.show(desk.add(open_loop(Path(sys.argv[1]))))
desk.state_reader("A", "S1")
save(desk, Path(sys.argv[2]))
for act in ACTS[: int(sys.argv[3])]:
    act(desk)
os.kill(os.getpid(), signal.SIGKILL)
"""
)


def draw_one(desk, row):
    start, end = PixelPoint(row, 100), PixelPoint(row, 160)
    pen = Pen(desk)
    desk.arm(OSTIUM)
    pen.press(start, reach_px=1)
    pen.drag(start, end)
    pen.release(end, travelled=True)


@pytest.fixture
def kept(on_xray):
    keeper = Autosave(on_xray)
    yield on_xray
    keeper.close()


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no SIGKILL")
def test_a_killed_process_loses_the_stroke_in_hand_and_no_more(xray, tmp_path, desk):
    read_file = tmp_path / "read.json"
    died = subprocess.run(
        [sys.executable, "-c", KILLED, str(xray.path), str(read_file)], check=False
    )
    assert died.returncode == -signal.SIGKILL
    assert len(load_read(read_file).loops[0].calipers) == 0
    take_up(desk, autosave_of(read_file), read_file)
    assert [one.points[0].row for one in desk.read.loops[0].calipers] == [100, 150]
    assert desk.read.reader == "A"
    assert desk.read_file == read_file
    assert desk.unsaved


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no SIGKILL")
@pytest.mark.parametrize("count", [1, 5, 9, 15])
def test_whatever_was_done_last_outlives_a_kill(xray, tmp_path, on_xray, desk, count):
    read_file = tmp_path / "read.json"
    words = [sys.executable, "-c", KILLED_AFTER, str(xray.path), str(read_file), str(count)]
    assert subprocess.run(words, check=False).returncode == -signal.SIGKILL
    acts = {}
    exec(EVERY_ACT, acts)  # the same acts here, where nobody is killed
    on_xray.state_reader("A", "S1")
    for act in acts["ACTS"][:count]:
        act(on_xray)
    expected = on_xray.read
    other = Desk()
    take_up(other, autosave_of(read_file), read_file)
    assert other.read == expected
    assert other.unsaved


@pytest.mark.parametrize("act", range(5))
def test_every_statement_is_one_step_back_and_forth(on_xray, act):
    acts = {}
    exec(EVERY_ACT, acts)
    before = on_xray.read
    acts["ACTS"][act](on_xray)
    after = on_xray.read
    assert after != before
    on_xray.undo()
    assert on_xray.read == before
    on_xray.redo()
    assert on_xray.read == after


def test_saving_takes_the_kept_work_away(kept, tmp_path):
    kept.state_reader("A", "S1")
    draw_one(kept, 100)
    unnamed = autosave_of(None)
    assert len(load_read(unnamed).loops[0].calipers) == 1
    save(kept, tmp_path / "read.json")
    assert not unnamed.exists()
    draw_one(kept, 150)
    beside = autosave_of(tmp_path / "read.json")
    assert beside.parent == tmp_path
    assert len(load_read(beside).loops[0].calipers) == 2
    kept.undo()
    assert not beside.exists(), "as saved again"


def test_a_read_nobody_signed_is_kept_and_taken_up_unsigned(kept, tmp_path):
    draw_one(kept, 100)
    other = Desk()
    take_up(other, autosave_of(None), None)
    assert other.read.reader == ""
    assert len(other.read.loops[0].calipers) == 1
    assert other.unsaved


def test_work_of_another_window_is_found(kept):
    draw_one(kept, 100)
    mine = autosave_of(None)
    assert left_behind() == []
    theirs = mine.with_name("read-1.unsaved.json")
    theirs.write_bytes(mine.read_bytes())
    assert left_behind() == [theirs]


def test_a_folder_that_cannot_be_written_is_told_once(kept, monkeypatch):
    monkeypatch.setattr("napari_annot.autosave.key_file", lambda: Path("/proc/nowhere/key"))
    draw_one(kept, 100)
    assert kept.message_is_fault
    assert "Unsaved work is not kept" in kept.message
    draw_one(kept, 150)
    assert "not kept" not in kept.message


def test_a_moving_line_writes_nothing(kept, monkeypatch):
    draw_one(kept, 100)
    writes = []
    monkeypatch.setattr("napari_annot.autosave.save_read", lambda *_: writes.append(1))
    pen, start = Pen(kept), PixelPoint(200, 100)
    kept.arm(OSTIUM)
    pen.press(start, reach_px=1)
    for step in range(20):
        pen.drag(start, PixelPoint(200, 120 + step))
    assert writes == []
    pen.release(PixelPoint(200, 140), travelled=True)
    assert writes == [1]


def test_kept_work_names_its_loops_beside_itself(kept, tmp_path, xray):
    kept.ask_scale(GIVEN)
    read = load_read(autosave_of(None))
    assert (autosave_of(None).parent / read.loops[0].file).resolve() == xray.path.resolve()
    assert edits.loop_of(read, read.loops[0].file).scale == GIVEN
    assert open_loop(xray.path).header.sop_instance_uid == read.loops[0].sop_instance_uid
