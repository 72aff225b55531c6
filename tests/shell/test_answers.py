"""While a line moves its number is first order's and says so; at rest it is the final one."""

import sys
import time

import numpy as np
import pytest

from annot.calibration import HeaderRequest
from annot.geometry import PixelPoint
from annot.measurement import Caliper
from annot.tasks.open import open_loop
from annot.vocabulary import MEASURANDS, FrameReference
from napari_annot import draft_numbers as numbers
from napari_annot import measured
from napari_annot import read_edits as edits
from napari_annot.desk import Desk
from napari_annot.filing import export
from napari_annot.pen import Pen
from napari_annot.tools import tool_of

OSTIUM = tool_of(MEASURANDS["ostium_width"])


@pytest.fixture
def unanswered(echo):
    """Give a desk that nobody simulates for, and what it asked for."""
    desk, asked = Desk(), []
    desk.answers_wanted.connect(asked.append)
    desk.show(desk.add(open_loop(echo.path)))
    desk.ask_scale(HeaderRequest())
    yield desk, asked
    desk.answers_wanted.disconnect()


def short_in_echo(desk):
    """Draw a line so short that its coordinates' errors bend its length."""
    pen = Pen(desk)
    desk.arm(OSTIUM)
    start = PixelPoint(200, 300)
    pen.press(start, reach_px=5)
    pen.drag(start, PixelPoint(206, 303))
    return pen


def test_nothing_is_simulated_while_a_line_moves(unanswered, monkeypatch):
    desk, asked = unanswered

    def refuse(*_, **__):
        raise AssertionError("simulated on the screen's thread")

    # the module has the name of its function
    monkeypatch.setattr(sys.modules["annot.uncertainty.estimate"], "simulate", refuse)
    pen = short_in_echo(desk)
    for step in range(5):
        pen.drag(PixelPoint(200, 300), PixelPoint(206 + step, 303))
        assert desk.state().lines[-1].label.endswith("provisional")
    asked.clear()
    desk.rest()
    assert asked[-1], "at rest the answer is asked for"
    assert desk.state().lines[-1].label.endswith("provisional"), "until it has come"
    pen.release(PixelPoint(210, 303), travelled=True)
    assert desk.state().rows[0].provisional
    assert asked[-1]


def test_the_final_answer_takes_the_provisional_ones_place(unanswered):
    desk, asked = unanswered
    pen = short_in_echo(desk)
    pen.release(PixelPoint(206, 303), travelled=True)
    before = desk.state().rows[0]
    assert before.provisional
    (measurement,) = asked[-1]
    assert measurement.estimate.method == "monte carlo"
    desk.take_answers()
    after = desk.state().rows[0]
    assert not after.provisional
    assert after.interval != before.interval
    assert not desk.state().lines[-1].label.endswith("provisional")


def test_the_table_has_the_final_answer_though_the_screen_has_not(unanswered, tmp_path):
    desk, _ = unanswered
    pen = short_in_echo(desk)
    pen.release(PixelPoint(206, 303), travelled=True)
    desk.state_reader("A", "S")
    assert desk.state().rows[0].provisional
    export(desk, tmp_path / "table.csv")
    assert ",monte carlo," in (tmp_path / "table.csv").read_text(encoding="utf-8")


@pytest.fixture
def crowded(unanswered):
    """Put 200 calipers on the loop."""
    desk, _ = unanswered
    rng = np.random.default_rng(1)
    read, frames = desk.read, desk.loop.frames
    names = ("ostium_width", "landing_zone_width", "depth")
    for number in range(200):
        row, column = rng.uniform(150, 300, 2)
        caliper = Caliper(
            key=f"c{number}",
            measurand=MEASURANDS[names[number % 3]],
            frame=FrameReference(sop_instance_uid="", frame=number % frames),
            points=(PixelPoint(row, column), PixelPoint(row + 40, column + 30)),
            repeat=number // 3 + 1,
        )
        read = edits.with_caliper(read, desk.shown, caliper)
    desk._do(read)
    return desk


def test_a_step_of_a_drag_is_short_with_200_calipers_on_the_loop(crowded):
    """At most 16 ms of arithmetic and model, a frame of a 60 Hz screen; CPU time, half of them."""
    desk, pen, spent = crowded, Pen(crowded), []
    desk.changed.connect(desk.state)
    desk.arm(OSTIUM)
    start = PixelPoint(200, 300)
    pen.press(start, reach_px=1)
    for step in range(40):
        began = time.thread_time()
        pen.drag(start, PixelPoint(220 + step, 310 + step))
        spent.append(1e3 * (time.thread_time() - began))
    assert np.median(spent) < 16


def test_a_step_of_a_drag_measures_one_caliper_however_many_there_are(crowded, monkeypatch):
    calls = []
    live = numbers.measure_live
    monkeypatch.setattr(numbers, "measure_live", lambda *a, **k: calls.append(1) or live(*a, **k))
    monkeypatch.setattr(measured, "measure_live", lambda *a, **k: calls.append(1) or live(*a, **k))
    pen = Pen(crowded)
    crowded.changed.connect(lambda: [crowded.state() for _ in range(4)])
    crowded.arm(OSTIUM)
    start = PixelPoint(200, 300)
    pen.press(start, reach_px=1)
    calls.clear()
    for step in range(10):
        pen.drag(start, PixelPoint(220 + step, 310))
    assert len(calls) == 10
