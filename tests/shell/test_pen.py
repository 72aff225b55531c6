import pytest

from annot.geometry import PixelPoint
from napari_annot.pen import Pen
from napari_annot.tools import CALIPER_TOOLS, OBJECT_TOOLS

OSTIUM = CALIPER_TOOLS[0]
A, B, C = PixelPoint(100, 100), PixelPoint(100, 160), PixelPoint(140, 160)


@pytest.fixture
def pen(on_xray):
    return Pen(on_xray)


def click(pen, point):
    assert pen.press(point, reach_px=5)
    pen.release(point, travelled=False)


def test_two_clicks_draw_a_caliper(pen, on_xray):
    on_xray.arm(OSTIUM)
    click(pen, A)
    assert on_xray.state().rows == ()
    pen.move(C)
    assert on_xray.state().lines[-1].points == (A, C), "the line follows the pointer"
    click(pen, B)
    assert on_xray.state().selected.points == (A, B)
    assert on_xray.tool is None, "the tool is put down after use"


def test_a_drag_draws_from_where_it_began(pen, on_xray):
    on_xray.arm(OSTIUM)
    pen.press(A, reach_px=5)
    pen.drag(A, C)
    pen.drag(A, B)
    pen.release(B, travelled=True)
    assert on_xray.state().selected.points == (A, B)


def test_an_end_is_corrected_and_the_correction_undone(pen, on_xray, draw):
    draw(on_xray, OSTIUM, (A, B))
    key = on_xray.selected
    assert pen.press(PixelPoint(101, 158), reach_px=5)
    pen.drag(PixelPoint(101, 158), C)
    assert len(on_xray.state().rows) == 1
    pen.release(C, travelled=True)
    assert on_xray.state().selected.points == (A, C)
    assert on_xray.selected == key
    on_xray.undo()
    assert on_xray.calipers_on_show()[0].points == (A, B)


def test_a_click_on_an_end_selects_and_moves_nothing(pen, on_xray, draw):
    draw(on_xray, OSTIUM, (A, B))
    on_xray.select(None)
    pen.press(PixelPoint(102, 101), reach_px=5)
    pen.release(PixelPoint(102, 101), travelled=False)
    assert on_xray.state().selected.points == (A, B)
    on_xray.undo()
    assert on_xray.state().rows == (), "the click left no step of its own to undo"


def test_a_click_on_the_line_selects_and_leaves_the_camera_its_drag(pen, on_xray, draw):
    draw(on_xray, OSTIUM, (A, B))
    on_xray.select(None)
    assert not pen.press(PixelPoint(101, 130), reach_px=5)
    assert on_xray.selected is not None


def test_an_armed_tool_draws_new_lines_on_old_ends(pen, on_xray, draw):
    draw(on_xray, OSTIUM, (A, B))
    draw(on_xray, OSTIUM, (A, C))
    assert [row.repeat for row in on_xray.state().rows] == [1, 2]


def test_points_stay_on_the_picture(pen, on_xray, draw):
    draw(on_xray, OSTIUM, (A, PixelPoint(-50, 9999)))
    assert on_xray.state().selected.points[1] == (0, 511)


def test_a_trace_takes_several_points_and_ends_on_demand(pen, on_xray):
    on_xray.arm(OBJECT_TOOLS["catheter"])
    assert not pen.end_path()
    for point in (A, B, C):
        click(pen, point)
    assert pen.end_path()
    assert on_xray.traces[on_xray.shown].looks == ((0, (A, B, C)),)
    on_xray.stand_on(2)
    on_xray.arm(OBJECT_TOOLS["catheter"])
    pen.press(A, reach_px=5)
    pen.drag(A, B)
    pen.release(B, travelled=True)
    assert [frame for frame, _ in on_xray.traces[on_xray.shown].looks] == [0, 2]


def test_another_kind_of_object_starts_a_new_trace(pen, on_xray, draw):
    draw(on_xray, OBJECT_TOOLS["catheter"], (A, B))
    draw(on_xray, OBJECT_TOOLS["sphere"], (A, B))
    trace = on_xray.traces[on_xray.shown]
    assert trace.kind == "sphere"
    assert trace.readings() == [{"frame": 0, "centre_px": A, "radius_px": 60.0}]


def test_cancel_gives_up_tool_and_line(pen, on_xray):
    on_xray.arm(OSTIUM)
    click(pen, A)
    pen.cancel()
    assert on_xray.tool is None
    assert on_xray.state().lines == ()
    assert not pen.press(B, reach_px=5)
