"""The sheet as plain data and the reading along it: no window."""

import pytest

from annot.calibration import GivenRequest
from annot.errors import InputError
from annot.tasks.open import open_loop
from napari_annot.pen import Pen
from napari_annot.tools import CALIPER_TOOLS

OSTIUM, LANDING, DEPTH, DISTANCE, *_ = CALIPER_TOOLS
LINE = ((135.0, 265.0), (289.0, 283.0))
SOUND = GivenRequest(mm_per_px=(0.1635, 0.1635), u_rel=0.01)
QUANTITIES = ("ostium_width", "landing_zone_width", "depth")


@pytest.fixture
def two_loops(on_xray, echo):
    """An X-ray loop at RAO 25, cranial 15 and an echo loop in the plane of 45 degrees."""
    xray = on_xray.shown
    on_xray.show(on_xray.add(open_loop(echo.path)))
    on_xray.state_plane(45)
    on_xray.show(xray)
    return on_xray


def press(desk, points):
    """Two clicks, as a hand makes them on the picture."""
    from annot.geometry import PixelPoint

    pen = Pen(desk)
    for place in points:
        pen.press(PixelPoint(*place), reach_px=5)
        pen.release(PixelPoint(*place), travelled=False)


def words(cell):
    return [mark.read for mark in cell.marks]


def test_an_empty_desk_has_no_column_and_offers_nothing(desk):
    sheet = desk.sheet()
    assert sheet.protocol == "closure-planning 1"
    assert sheet.columns == ()
    assert sheet.offered is None
    assert len(sheet.absent) == 6, "the protocol's four planes and two projections"
    with pytest.raises(InputError, match="Nothing is owed"):
        desk.read_next()


def test_a_column_for_each_view_at_hand_echo_first_as_the_protocol_has_it(two_loops):
    sheet = two_loops.sheet()
    assert [(one.title, one.angle) for one in sheet.columns] == [
        ("Echo", "45°"),
        ("X-ray", "RAO 25° CRA 15°"),
    ]
    assert [one.here for one in sheet.columns] == [False, True]
    assert [row.quantity for row in sheet.rows if row.required] == list(QUANTITIES)
    assert "echo 45°" not in sheet.absent
    assert "echo 0°" in sheet.absent
    assert sheet.owed == 2 * 3 * 2, "two views, three quantities, two readings of each"


def test_an_echo_plane_that_nobody_stated_is_a_column_with_a_sign(on_xray, echo):
    on_xray.add(open_loop(echo.path))
    *_, echo_column = on_xray.sheet().columns
    assert echo_column.sign == "⚠ plane not stated"
    assert not echo_column.asked


def test_an_angle_within_the_protocols_leeway_is_its_view_and_one_beyond_is_not(two_loops):
    file = two_loops.sheet().columns[0].file
    for plane, asked in ((54.9, True), (56, False), (35, True), (225 - 180, True)):
        two_loops.show(file)
        two_loops.state_plane(plane)
        column = next(one for one in two_loops.sheet().columns if file in one.files)
        assert column.asked is asked, plane


def test_a_click_on_an_empty_cell_brings_its_loop_and_its_caliper(two_loops):
    two_loops.read_cell("landing_zone_width", 0)
    assert two_loops.state().modality == "US"
    assert two_loops.tool is LANDING
    press(two_loops, LINE)
    cell = two_loops.sheet().cell("landing_zone_width", 0)
    assert cell.filled
    assert words(cell) == [True, False]
    assert cell.word == "no scale"
    assert cell.sign == "⚠"
    assert cell.unit == "px"


def test_the_next_cell_is_offered_in_the_view_on_show_until_all_are_read_once(two_loops):
    asked = []
    for _ in range(6):
        two_loops.read_next()
        asked.append((two_loops.tool.name, two_loops.state().modality))
        press(two_loops, LINE)
    assert asked == [
        *((name, "XA") for name in QUANTITIES),
        *((name, "US") for name in QUANTITIES),
    ]
    assert two_loops.sheet().owed == 6
    two_loops.read_next()
    press(two_loops, LINE)
    assert [one.repeat for one in two_loops.read.loops[1].calipers] == [1, 1, 1, 2]


def test_a_second_reading_on_another_frame_is_the_second_repeat(two_loops):
    two_loops.read_cell("depth", 1)
    press(two_loops, LINE)
    two_loops.stand_on(3)
    two_loops.read_repeat("depth", 1, 2)
    two_loops.stand_on(3)
    two_loops.read_repeat("depth", 1, 2)
    press(two_loops, LINE)
    first, second = two_loops.read.loops[0].calipers
    assert (first.repeat, second.repeat) == (1, 2)
    assert words(two_loops.sheet().cell("depth", 1)) == [True, True]


def test_a_filled_cell_turns_to_its_caliper_and_its_marks_to_theirs(two_loops):
    for _ in range(2):
        two_loops.read_repeat("depth", 1, len(two_loops.read.loops[0].calipers) + 1)
        press(two_loops, LINE)
    first, second = two_loops.read.loops[0].calipers
    two_loops.read_next()
    two_loops.arm(None)
    two_loops.read_repeat("depth", 1, 1)
    assert two_loops.selected == first.key
    assert two_loops.sheet().cell("depth", 1).key == first.key
    two_loops.select(None)
    assert two_loops.sheet().cell("depth", 1).key == second.key, "the latest stands there"
    two_loops.read_cell("depth", 1)
    assert two_loops.tool is None
    assert two_loops.selected == second.key


def test_a_value_shows_what_its_variance_is_made_of(two_loops):
    two_loops.ask_scale(SOUND)
    two_loops.read_cell("ostium_width", 1)
    press(two_loops, LINE)
    cell = two_loops.sheet().cell("ostium_width", 1)
    assert cell.unit == "mm"
    assert cell.word == ""
    shares = dict(cell.shares)
    assert set(shares) <= {"scale", "ends", "other"}
    assert sum(shares.values()) == pytest.approx(1, abs=0.01)
    # by hand: u of a 155 px line, 1 % of it against two ends of 1 px each with the pixel grid
    length, end = (154**2 + 18**2) ** 0.5, (1 + (0.5 / 3**0.5) ** 2) ** 0.5
    scale = (0.01 * length) ** 2
    assert shares["scale"] == pytest.approx(scale / (scale + 2 * end**2), abs=0.02)


def test_a_scale_that_another_speaks_against_is_doubtful_in_words(two_loops):
    two_loops.ask_scale(GivenRequest(mm_per_px=(0.3, 0.3), u_rel=0.001))
    two_loops.read_cell("ostium_width", 1)
    press(two_loops, LINE)
    doubted = two_loops.sheet().cell("ostium_width", 1)
    assert (doubted.sign, doubted.word) == ("⚠", "doubtful")
    assert "E_n" in doubted.why[0]
    two_loops.ask_scale(SOUND)
    assert two_loops.sheet().cell("ostium_width", 1).word == ""


def test_a_reference_object_traced_anew_makes_the_cells_stale_until_it_is_fitted(
    two_loops, draw, scale_xray
):
    from napari_annot.tools import OBJECT_TOOLS

    scale_xray(two_loops)
    two_loops.read_cell("ostium_width", 1)
    press(two_loops, LINE)
    assert two_loops.sheet().cell("ostium_width", 1).word != "stale"
    draw(two_loops, OBJECT_TOOLS["catheter"], ((300, 200), (340, 210)))
    assert two_loops.sheet().cell("ostium_width", 1).word == "stale"


def test_what_the_protocol_does_not_ask_for_may_be_read_and_stands_there(two_loops, draw):
    draw(two_loops, DISTANCE, LINE)
    row = two_loops.sheet().rows[-1]
    assert row.quantity == "distance"
    assert row.cells[1].filled
    assert not row.cells[1].wanted
    assert not row.required


def test_carried_calipers_are_no_readings_of_the_cell(two_loops):
    from dataclasses import replace

    two_loops.read_cell("depth", 1)
    press(two_loops, LINE)
    (one,) = two_loops.read.loops[0].calipers
    carried = replace(one, key="depth-9", origin="tracked", confirmed=False, repeat=7)
    from napari_annot import read_edits

    two_loops._do(read_edits.with_caliper(two_loops.read, two_loops.shown, carried))
    assert words(two_loops.sheet().cell("depth", 1)) == [True, False]


def test_the_sheet_is_worked_out_once_for_what_has_not_changed(two_loops):
    first = two_loops.sheet()
    two_loops.say("something else")
    assert two_loops.sheet() is first


def test_a_quantity_of_any_view_is_asked_in_each_until_one_is_read(two_loops):
    row = next(one for one in two_loops.sheet().rows if one.quantity == "depth")
    assert [cell.wanted for cell in row.cells] == [True, True]
    two_loops.state_protocol("closure-follow-up")
    sheet = two_loops.sheet()
    xray = next(at for at, one in enumerate(sheet.columns) if one.title == "X-ray")
    tilt = next(one for one in sheet.rows if one.quantity == "axis_tilt")
    assert tilt.cells[xray].wanted, "any projection will do"
    face = next(one for one in sheet.rows if one.quantity == "device_face_width")
    assert not face.cells[xray].wanted


def test_a_loop_comes_up_on_its_suggested_frame_and_then_where_it_was_read(two_loops):
    xray, echo = (one.file for one in two_loops.read.loops)
    asked = []
    two_loops.frame_wanted.connect(asked.append)
    two_loops.frame_wanted.connect(two_loops.stand_on)
    two_loops.suggest(xray, 4)
    two_loops.suggest(echo, None)
    two_loops.read_cell("depth", 1)
    assert asked == [4]
    assert "Frame 4 is suggested as best filled" in two_loops.message
    press(two_loops, LINE)
    two_loops.stand_on(2)
    two_loops.read_cell("ostium_width", 1)
    assert asked == [4], "whoever stands on another frame of the loop stays there"
    two_loops.arm(None)
    two_loops.show(echo)
    two_loops.read_cell("ostium_width", 1)
    assert asked == [4, 4], "where it was read last"
    two_loops.arm(None)
    two_loops.read_cell("ostium_width", 0)
    assert asked == [4, 4], "nothing is suggested for the echo loop"
