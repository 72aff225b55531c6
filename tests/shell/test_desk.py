from dataclasses import replace

import pytest

from annot.calibration import GivenRequest, HeaderRequest, NoScale
from annot.errors import InputError
from annot.geometry import PixelPoint
from annot.reads import Conditions
from annot.tasks.calibrate import MadeScale
from annot.tasks.measure import measure_live
from annot.tasks.open import open_loop
from napari_annot.desk import Desk
from napari_annot.end_placing import EndPlacing
from napari_annot.pen import Pen
from napari_annot.scale_entry import ScaleEntry, request_of
from napari_annot.tools import BENT_DEPTH, CALIPER_TOOLS, OBJECT_TOOLS, Trace

OSTIUM, LANDING, DEPTH, DISTANCE, *_ = CALIPER_TOOLS
LINE = ((135.0, 265.0), (289.0, 283.0))
GIVEN = GivenRequest(mm_per_px=(0.2, 0.2), u_rel=0.01)


def values(desk):
    return [row.value for row in desk.state().rows]


def test_without_a_scale_a_length_is_in_pixels_with_a_sign(on_xray, draw):
    draw(on_xray, OSTIUM, LINE)
    (row,) = on_xray.state().rows
    assert not row.scaled
    assert row.value.endswith("px")
    assert "no scale" in row.warnings[0]
    ring, line = on_xray.state().lines
    assert ring.mark == "ring", "about the end that the arrows move"
    assert "(no scale)" in line.label


def test_the_catheter_scales_the_loop_and_the_truth_lies_in_the_interval(
    on_xray, draw, scale_xray, xray
):
    scale_xray(on_xray)
    for tool in (OSTIUM, LANDING):
        truth = xray.truth.caliper(tool.name, 0)
        draw(on_xray, tool, truth.points_px)
        measurement = on_xray.measured[on_xray.selected]
        assert measurement.result.unit == "mm"
        assert measurement.interval.holds(truth.value_mm)


def test_all_values_follow_a_new_scale_at_once(on_xray, draw):
    for tool in (OSTIUM, LANDING):
        draw(on_xray, tool, LINE)
    on_xray.ask_scale(GIVEN)
    length = ((135 - 289) ** 2 + (265 - 283) ** 2) ** 0.5
    shown = [on_xray.measured[key].result.value for key in on_xray.measured]
    assert shown == pytest.approx([0.2 * length] * 2)
    on_xray.ask_scale(replace(GIVEN, mm_per_px=(0.3, 0.3)))
    shown = [on_xray.measured[key].result.value for key in on_xray.measured]
    assert shown == pytest.approx([0.3 * length] * 2)
    on_xray.undo()
    assert "31.0" in values(on_xray)[0]
    on_xray.undo()
    assert values(on_xray)[0].endswith("px")


def test_an_answer_that_nobody_waits_for_is_dropped(xray, catheter_entry):
    desk = Desk()  # nobody fits: the test answers itself
    asked = []
    desk.fit_wanted.connect(lambda file, request: asked.append((file, request)))
    desk.show(desk.add(open_loop(xray.path)))
    trace = Trace(kind="catheter").with_look(0, (PixelPoint(480, 160), PixelPoint(300, 195)))
    desk.ask_scale(request_of(catheter_entry, trace))
    assert desk.state().scale.state == "fitting"
    desk.ask_scale(GIVEN)
    (file, request) = asked[0]
    desk.take_answer(file, request, MadeScale(scale=NoScale(reason="too late")))
    assert desk.state().scale.state == "made"
    assert "0.2" in desk.state().scale.headline
    desk.undo()
    assert desk.state().scale.state == "fitting", "the dropped answer is asked for once more"
    assert asked == [(file, request)] * 2
    desk.take_answer(file, request, MadeScale(scale=NoScale(reason="no edge found")))
    assert desk.state().scale.state == "refused"
    assert "no edge found" in desk.state().scale.headline


def test_undo_and_redo_walk_through_calipers(on_xray, draw):
    draw(on_xray, OSTIUM, LINE)
    draw(on_xray, LANDING, LINE)
    on_xray.delete_selected()
    assert len(values(on_xray)) == 1
    on_xray.undo()
    assert len(values(on_xray)) == 2
    on_xray.undo()
    on_xray.undo()
    assert values(on_xray) == []
    assert not on_xray.state().can_undo
    on_xray.redo()
    on_xray.redo()
    on_xray.redo()
    assert len(values(on_xray)) == 1
    assert not on_xray.state().can_redo


def test_what_was_undone_is_gone_after_a_new_step(on_xray, draw):
    draw(on_xray, OSTIUM, LINE)
    on_xray.undo()
    draw(on_xray, LANDING, LINE)
    assert not on_xray.state().can_redo
    on_xray.redo()
    assert [row.quantity for row in on_xray.state().rows] == ["Landing zone"]


def test_undo_never_takes_a_loop_or_a_name_away(on_xray, draw, echo):
    draw(on_xray, OSTIUM, LINE)
    on_xray.add(open_loop(echo.path))
    on_xray.state_reader("R7", "S01")
    on_xray.undo()
    assert len(on_xray.read.loops) == 2
    assert (on_xray.read.reader, on_xray.read.study) == ("R7", "S01")


def test_a_frame_change_gives_up_what_is_half_drawn(on_xray):
    pen = Pen(on_xray)
    on_xray.arm(OSTIUM)
    pen.press(PixelPoint(100, 100), reach_px=5)
    pen.drag(PixelPoint(100, 100), PixelPoint(100, 150))
    on_xray.stand_on(3)
    pen.release(PixelPoint(100, 180), travelled=True)
    assert on_xray.state().rows == ()
    assert on_xray.state().message_is_fault


def test_only_the_shown_frame_is_drawn_but_the_table_has_all(on_xray, draw):
    draw(on_xray, OSTIUM, LINE)
    on_xray.stand_on(4)
    assert on_xray.state().lines == ()
    draw(on_xray, OSTIUM, LINE)
    assert [row.frame for row in on_xray.state().rows] == [0, 4]
    assert [row.here for row in on_xray.state().rows] == [False, True]


def test_repeats_on_one_frame_are_counted(on_xray, draw):
    for _ in range(3):
        draw(on_xray, OSTIUM, LINE)
    draw(on_xray, DEPTH, LINE)
    assert [row.repeat for row in on_xray.state().rows] == [1, 2, 3, 1]
    on_xray.revise(on_xray.state().rows[0].key, repeat=5)
    assert on_xray.state().rows[0].repeat == 5


def test_end_placing_acts_on_every_caliper_and_those_to_come(on_xray, draw):
    draw(on_xray, OSTIUM, LINE)
    before = on_xray.measured[on_xray.selected].result.u
    on_xray.place_ends(EndPlacing(u_px=4.0))
    draw(on_xray, OSTIUM, LINE)
    after = [on_xray.measured[key].result.u for key in on_xray.measured]
    assert after[0] == after[1] > before


def test_statements_belong_to_the_loop_on_show(on_xray, echo):
    first = on_xray.shown
    on_xray.state_conditions(Conditions(loading="after fluids"))
    on_xray.show(on_xray.add(open_loop(echo.path)))
    assert on_xray.state().conditions.loading == "not stated"
    on_xray.state_plane(45.0)
    assert on_xray.state().loops[1].view == "45°"
    on_xray.show(first)
    assert on_xray.state().conditions.loading == "after fluids"
    assert on_xray.state().plane_deg is None


def test_another_loops_scale_is_used_where_it_holds_and_refused_where_not(
    on_xray, scale_xray, xray_sphere, echo
):
    scale_xray(on_xray)
    lender, headline = on_xray.shown, on_xray.state().scale.headline
    entry = request_of(ScaleEntry(kind="borrowed", lender=lender), None)
    on_xray.show(on_xray.add(open_loop(xray_sphere.path)))
    on_xray.ask_scale(entry)
    assert on_xray.state().scale.state == "made"
    assert on_xray.state().scale.headline == headline
    on_xray.show(on_xray.add(open_loop(echo.path)))
    on_xray.ask_scale(entry)
    assert on_xray.state().scale.state == "refused"
    assert "does not hold here" in on_xray.state().scale.headline


def test_a_sphere_scales_from_centre_and_rim(desk, draw, xray_sphere):
    desk.show(desk.add(open_loop(xray_sphere.path)))
    ball = xray_sphere.truth.objects[0]
    row, column = ball.centre_px
    rim = (row, column + ball.radius_px + 2)
    draw(desk, OBJECT_TOOLS["sphere"], ((row + 1, column - 1), rim))
    entry = ScaleEntry(kind="sphere", size=ball.size_mm, depth_offset_mm=0.0)
    desk.ask_scale(request_of(entry, desk.traces[desk.shown]))
    standing = desk.standing(desk.shown)
    assert standing.state == "made"
    assert standing.scale.interval().holds(ball.mm_per_px[0])
    outline = [line for line in desk.state().lines if line.key.startswith("fit")]
    assert outline[0].label == "sphere, fitted"
    rows, columns = ([point[axis] for point in outline[0].points] for axis in (0, 1))
    assert (max(rows) + min(rows)) / 2 == pytest.approx(row, abs=1)
    assert (max(columns) + min(columns)) / 2 == pytest.approx(column, abs=1)
    for side in (rows, columns):
        assert (max(side) - min(side)) / 2 == pytest.approx(ball.radius_px, rel=0.01)


def test_the_header_scales_an_echo_loop_by_its_region(desk, draw, echo):
    desk.show(desk.add(open_loop(echo.path)))
    desk.ask_scale(HeaderRequest())
    truth = echo.truth.caliper("ostium_width", 0)
    draw(desk, OSTIUM, truth.points_px)
    measurement = desk.measured[desk.selected]
    assert measurement.result.unit == "mm"
    assert measurement.interval.holds(truth.value_mm)
    assert "mm/px" in desk.state().scale.headline


def test_two_regions_of_different_size_scale_by_place(desk, draw, two_regions):
    desk.show(desk.add(open_loop(two_regions.path)))
    desk.ask_scale(HeaderRequest())
    assert "by place" in desk.state().scale.headline
    draw(desk, DISTANCE, ((200.0, 100.0), (200.0, 600.0)))
    (row,) = desk.state().rows
    assert not row.scaled, "a line from one region to the other has no scale"


def test_a_line_shorter_than_a_pixel_is_not_drawn(on_xray, draw):
    draw(on_xray, OSTIUM, ((100.0, 100.0), (100.2, 100.3)))
    assert on_xray.state().rows == ()
    assert "shorter than one pixel" in on_xray.state().message


def test_a_live_value_is_what_the_finished_caliper_has(on_xray):
    on_xray.ask_scale(GIVEN)
    pen = Pen(on_xray)
    on_xray.arm(OSTIUM)
    pen.press(PixelPoint(100, 100), reach_px=5)
    pen.drag(PixelPoint(100, 100), PixelPoint(150, 100))
    live = on_xray.state().lines[-1].label
    assert "10.00 ±" in live
    assert live.endswith(", provisional")
    on_xray.rest()
    rested = on_xray.state().lines[-1].label
    assert rested == live.removesuffix(", provisional"), "here first order is the answer"
    pen.release(PixelPoint(150, 100), travelled=True)
    assert on_xray.state().lines[-1].label == rested


def test_the_measurement_is_the_cores_own(on_xray, draw):
    on_xray.ask_scale(GIVEN)
    draw(on_xray, OSTIUM, LINE)
    caliper = on_xray.state().selected
    header = on_xray.loop.header
    [core] = measure_live(caliper, on_xray.standing(on_xray.shown).scale, header)
    shown = on_xray.measured[caliper.key]
    assert (shown.result.value, shown.result.u) == (core.result.value, core.result.u)
    assert shown.interval == core.interval


def test_nothing_is_asked_without_a_loop():
    desk = Desk()
    with pytest.raises(InputError, match="Open a loop first"):
        desk.ask_scale(GIVEN)
    desk.arm(OSTIUM)
    assert desk.tool is None
    assert "Open a loop" in desk.message


def test_a_bent_depth_has_as_many_corners_as_were_clicked(on_xray):
    pen = Pen(on_xray)
    on_xray.arm(BENT_DEPTH)
    for point in ((100, 100), (150, 110), (180, 160)):
        pen.press(PixelPoint(*point), reach_px=5)
        pen.release(PixelPoint(*point), travelled=False)
        pen.move(PixelPoint(point[0] + 5, point[1] + 5))
    assert pen.end_path()
    (row,) = on_xray.state().rows
    assert len(on_xray.state().selected.points) == 3
    assert row.quantity == "Depth"
