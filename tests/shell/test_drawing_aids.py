"""Landmarks, guides, copies and ends moved by half a pixel: no window."""

import math

import pytest

from annot.calibration import GivenRequest
from annot.errors import InputError
from annot.geometry import PixelPoint
from annot.tasks.measure import measure_read
from annot.tasks.open import open_loop
from annot.tasks.read import load_read
from napari_annot import filing
from napari_annot.pen import Pen
from napari_annot.tools import CALIPER_TOOLS, LANDMARK_TOOLS
from synthetic_dicom import write_case

OSTIUM, LANDING, DEPTH, *_ = CALIPER_TOOLS
MARKS = {tool.landmark: tool for tool in LANDMARK_TOOLS}
SCALE = GivenRequest(mm_per_px=(0.2, 0.25), u_rel=0.02)
LINE = ((100.0, 200.0), (200.0, 200.0))


def click(desk, tool, *places):
    pen = Pen(desk)
    desk.arm(tool)
    for place in places:
        pen.press(PixelPoint(*place), reach_px=5)
        pen.release(PixelPoint(*place), travelled=False)


def lines(desk, key):
    return [one for one in desk.state().lines if one.key.startswith(key)]


def test_a_landmark_is_one_click_and_another_click_moves_it(on_xray):
    click(on_xray, MARKS["ridge_tip"], (120, 210))
    assert on_xray.tool is None
    click(on_xray, MARKS["ridge_tip"], (121, 211))
    (mark,) = on_xray.read.loops[0].landmarks
    assert (mark.name, mark.points) == ("ridge_tip", (PixelPoint(121, 211),))
    assert on_xray.state().landmarks == ("ridge_tip",)
    assert lines(on_xray, "ridge_tip")[0].label == "Ridge tip"
    on_xray.undo()
    assert on_xray.read.loops[0].landmarks[0].points == (PixelPoint(120, 210),)
    on_xray.undo()
    assert on_xray.read.loops[0].landmarks == ()


def test_an_axis_is_two_clicks_and_points_that_coincide_are_refused_in_words(on_xray):
    click(on_xray, MARKS["neck_axis"], (150, 210), (150, 260))
    (mark,) = on_xray.read.loops[0].landmarks
    assert len(mark.points) == 2
    click(on_xray, MARKS["neck_axis"], (150, 210), (150, 210))
    assert on_xray.draft is not None, "the second point waits for another place"


def test_what_follows_from_landmarks_stands_in_table_picture_and_sheet(on_xray):
    on_xray.ask_scale(SCALE)
    click(on_xray, MARKS["circumflex"], LINE[0])
    click(on_xray, MARKS["ridge_tip"], LINE[1])
    (row,) = on_xray.state().rows
    assert row.quantity == "Ostium by landmarks"
    # 100 rows of 0.2 mm
    assert float(row.value.split(" ")[0]) == pytest.approx(20.0, abs=0.05)
    (line,) = [one for one in on_xray.state().lines if "by landmarks" in one.label]
    assert "from landmarks" in line.label
    (sheet_row,) = [one for one in on_xray.sheet().rows if one.quantity == "ostium_by_landmarks"]
    cell = sheet_row.cells[0]
    assert cell.filled
    with pytest.raises(InputError, match="follows from landmarks"):
        on_xray.ask_for(cell)
    on_xray.select(None)
    on_xray.stand_on(3)
    on_xray.go_to(row.key)
    assert on_xray.selected == row.key
    on_xray.clear_landmarks()
    assert len(on_xray.state().rows) == 1, "those of another frame stay"


def test_landmarks_that_coincide_measure_nothing_and_break_nothing(on_xray):
    click(on_xray, MARKS["circumflex"], LINE[0])
    click(on_xray, MARKS["ridge_tip"], LINE[0])
    assert on_xray.state().rows == ()


def test_landmarks_are_saved_and_give_the_same_number_again(on_xray, tmp_path):
    on_xray.ask_scale(SCALE)
    click(on_xray, MARKS["circumflex"], LINE[0])
    click(on_xray, MARKS["ridge_tip"], LINE[1])
    shown = on_xray.state().rows[0].value
    on_xray.state_reader("R7", "S")
    filing.save(on_xray, tmp_path / "read.json")
    (entry,) = measure_read(load_read(tmp_path / "read.json"), tmp_path)
    assert f"{entry.measurement.estimate.value:.2f}" in shown or shown.startswith(
        f"{entry.measurement.estimate.value:.1f}"
    )


def test_the_landing_zones_guide_is_parallel_at_the_protocols_distance(on_xray):
    on_xray.ask_scale(SCALE)
    click(on_xray, OSTIUM, *LINE)
    assert lines(on_xray, "guide") == [], "which side is inside is not known yet"
    click(on_xray, DEPTH, (150, 200), (160, 300))
    assert lines(on_xray, "guide")[0].label == "", "its words stand there while something is drawn"
    on_xray.arm(LANDING)
    (guide,) = lines(on_xray, "guide")
    start, end = guide.points
    # the protocol says 10 mm, the columns are 0.25 mm wide: 40 columns to the depth's side
    assert start.column == pytest.approx(240)
    assert end.column == pytest.approx(240)
    assert math.dist(start, end) == pytest.approx(1.25 * 100)
    assert "parallel to the ostium" in guide.label
    assert "10 ± 0.2 mm" in guide.label
    click(on_xray, DEPTH, (150, 200), (160, 100))
    assert lines(on_xray, "guide")[0].points[0].column == pytest.approx(160)


def test_the_other_guide_is_square_to_the_necks_axis_in_millimetres(on_xray):
    on_xray.ask_scale(SCALE)
    click(on_xray, OSTIUM, *LINE)
    click(on_xray, MARKS["neck_axis"], (150, 205), (180, 245))
    on_xray.arm(LANDING)
    square = next(one for one in lines(on_xray, "guide") if "square" in one.label)
    (r0, c0), (r1, c1) = square.points
    along = (30 * 0.2, 40 * 0.25)
    across = ((r1 - r0) * 0.2, (c1 - c0) * 0.25)
    assert along[0] * across[0] + along[1] * across[1] == pytest.approx(0, abs=1e-9)
    middle = ((r0 + r1) / 2, (c0 + c1) / 2)
    assert math.hypot((middle[0] - 150) * 0.2, (middle[1] - 200) * 0.25) == pytest.approx(10)


def test_without_a_scale_there_is_no_guide_in_millimetres(on_xray):
    click(on_xray, OSTIUM, *LINE)
    click(on_xray, DEPTH, (150, 200), (160, 300))
    assert lines(on_xray, "guide") == []


def test_a_landmark_of_the_other_view_lies_on_its_ray(on_xray, xray, loops_folder):
    caudal = write_case("xa_caudal", loops_folder, frames=2)
    here = on_xray.shown
    there = on_xray.add(open_loop(caudal.path))
    places = {one.name: one.points_px[0] for one in caudal.truth.landmarks if one.frame == 0}
    true = {one.name: one.points_px[0] for one in xray.truth.landmarks if one.frame == 0}
    on_xray.show(there)
    click(on_xray, MARKS["appendage_end"], places["appendage_end"])
    on_xray.show(here)
    on_xray.arm(MARKS["appendage_end"])
    (ray,) = lines(on_xray, "guide")
    assert "end of the appendage of xa_caudal.dcm, frame 0" in ray.label.replace("\n", " ")
    away = min(
        _distance(true["appendage_end"], pair)
        for pair in zip(ray.points, ray.points[1:], strict=False)
    )
    # a rim's silhouettes are two points of the rim, but the end is one point in both views
    assert away < 0.1, "the generator's own geometry puts it on the epipolar line"
    click(on_xray, MARKS["appendage_end"], true["appendage_end"])
    assert lines(on_xray, "guide") == [], "placed here, it needs no line any more"


def _distance(point, pair):
    (r0, c0), (r1, c1) = pair
    run = (r1 - r0, c1 - c0)
    square = run[0] ** 2 + run[1] ** 2
    share = ((point[0] - r0) * run[0] + (point[1] - c0) * run[1]) / square
    share = min(max(share, 0), 1)
    return math.hypot(point[0] - r0 - share * run[0], point[1] - c0 - share * run[1])


def test_guides_and_neighbouring_calipers_are_shown_on_request(on_xray):
    from dataclasses import replace

    on_xray.ask_scale(SCALE)
    click(on_xray, OSTIUM, *LINE)
    click(on_xray, DEPTH, (150, 200), (160, 300))
    on_xray.help_with(replace(on_xray.aids, guides=False))
    assert lines(on_xray, "guide") == []
    on_xray.stand_on(2)
    assert lines(on_xray, "onion") == []
    on_xray.help_with(replace(on_xray.aids, onion=True))
    assert len(lines(on_xray, "onion")) == 2
    assert not any(one.label for one in lines(on_xray, "onion"))


def test_a_copy_is_not_confirmed_until_it_is_moved_or_confirmed(on_xray):
    click(on_xray, OSTIUM, *LINE)
    first = on_xray.selected
    with pytest.raises(InputError, match="Go to the frame"):
        on_xray.copy_here()
    on_xray.stand_on(2)
    on_xray.copy_here()
    copied = on_xray.read.loops[0].calipers[1]
    assert copied.frame.frame == 2
    assert not copied.confirmed
    assert copied.note == f"copied from {first}"
    on_xray.nudge(1, 0)
    moved = on_xray.read.loops[0].calipers[1]
    assert moved.confirmed
    on_xray.undo()
    on_xray.undo()
    assert len(on_xray.read.loops[0].calipers) == 1


def test_arrows_move_the_end_in_hand_by_half_a_pixel_and_not_out_of_the_picture(on_xray):
    click(on_xray, OSTIUM, *LINE)
    (ring,) = lines(on_xray, "end-in-hand")
    assert ring.points == (PixelPoint(*LINE[1]),), "the end that was put down last"
    on_xray.nudge(0, 1)
    assert on_xray.state().selected.points[1] == PixelPoint(200, 200.5)
    on_xray.other_end()
    on_xray.nudge(-1, 0)
    assert on_xray.state().selected.points[0] == PixelPoint(99.5, 200)
    for _ in range(2):
        on_xray.undo()
    assert on_xray.state().selected.points == tuple(PixelPoint(*one) for one in LINE)
    click(on_xray, OSTIUM, (0, 10), (0, 60))
    on_xray.nudge(-1, 0)
    assert on_xray.state().selected.points[1] == PixelPoint(0, 60)


def test_nothing_is_moved_where_nothing_is_selected(on_xray):
    for act in (on_xray.other_end, on_xray.copy_here, lambda: on_xray.nudge(1, 0)):
        with pytest.raises(InputError, match="Select a caliper"):
            act()
