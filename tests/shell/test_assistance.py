"""What a program proposes is shown and stands only where a person says so."""

import pytest

from annot.errors import InputError
from annot.geometry import PixelPoint, length_px
from annot.tasks.open import open_loop
from annot.tasks.track import follow_caliper
from annot.vocabulary import MEASURANDS
from napari_annot.pen import Pen
from napari_annot.tools import BENT_DEPTH, tool_of

OSTIUM, ANGLE = tool_of(MEASURANDS["ostium_width"]), tool_of(MEASURANDS["neck_angle"])
CONTOUR = tool_of(MEASURANDS["landing_zone_contour"])
ROUND = ((200, 160), (190, 190), (200, 220), (225, 230), (250, 220), (260, 190), (250, 160))


def clicks(desk, tool, places):
    pen = Pen(desk)
    desk.arm(tool)
    for place in places:
        point = PixelPoint(*place)
        if desk.draft is None:
            pen.press(point, reach_px=5)
        else:
            pen.move(point)
            pen.press(point, reach_px=5)
        pen.release(point, travelled=False)
    return pen


def test_a_neck_angle_takes_three_clicks_and_says_degrees(on_xray):
    clicks(on_xray, ANGLE, ((100, 100), (150, 100), (150, 160)))
    (row,) = on_xray.state().rows
    assert row.value.endswith("°")
    assert row.value.startswith("90")
    assert "90" in on_xray.state().lines[-1].label


def test_a_contour_is_closed_by_the_person_and_gives_four_rows(on_xray):
    pen = clicks(on_xray, CONTOUR, ROUND)
    assert on_xray.draft is not None
    assert pen.end_path()
    assert on_xray.draft is not None, "seven points are too few, and none of them is lost"
    assert "at least 1 more" in on_xray.message
    pen.move(PixelPoint(225, 150))
    pen.press(PixelPoint(225, 150), reach_px=5)
    pen.release(PixelPoint(225, 150), travelled=False)
    assert pen.end_path()
    rows = on_xray.state().rows
    assert [row.quantity.split(", ")[1] for row in rows] == [
        "area",
        "perimeter",
        "Ø by area",
        "Ø by perimeter",
    ]
    assert "px²" in rows[0].value
    line = on_xray.state().lines[-1]
    assert line.points[0] == line.points[-1], "drawn closed"
    assert "Diameter by area" in line.label


def test_a_depth_follows_a_bend(on_xray):
    pen = clicks(on_xray, BENT_DEPTH, ((100, 100), (150, 100), (150, 140)))
    assert pen.end_path()
    (row,) = on_xray.state().rows
    assert row.value.startswith("90.0")


@pytest.fixture
def drawn(on_xray, draw, scale_xray, xray):
    """Draw the ostium 1.5 px too long at either end, so that there is something to propose."""
    scale_xray(on_xray)
    (one, other) = xray.truth.caliper("ostium_width", 0).points_px
    length = length_px((PixelPoint(*one), PixelPoint(*other)))
    step = [1.5 * (b - a) / length for a, b in zip(one, other, strict=True)]
    start = tuple(a - s for a, s in zip(one, step, strict=True))
    draw(on_xray, OSTIUM, (start, tuple(b + s for b, s in zip(other, step, strict=True))))
    return on_xray


def test_proposed_ends_are_a_ghost_until_taken(drawn, xray):
    before = drawn.read
    drawn.propose_ends()
    assert drawn.read is before
    ghost = next(line for line in drawn.state().lines if line.key == "ghost")
    assert "not taken" in ghost.label
    assert "% within 1 px" in ghost.label
    drawn.leave_ends()
    assert drawn.read is before
    assert not any(line.key == "ghost" for line in drawn.state().lines)
    drawn.propose_ends()
    drawn.accept_ends()
    (caliper,) = drawn.read.loops[0].calipers
    assert caliper.origin == "refined"
    true = xray.truth.caliper("ostium_width", 0).points_px
    for point, (row, column) in zip(caliper.points, true, strict=True):
        assert length_px((point, PixelPoint(row, column))) < 1.5, "nearer than it was drawn"
    drawn.undo()
    assert drawn.read == before


def test_a_proposal_goes_with_the_caliper_that_it_was_made_for(drawn):
    drawn.propose_ends()
    drawn.revise(drawn.selected, tilt_deg=10.0)
    assert not drawn.state().ghost
    drawn.accept_ends()
    assert drawn.read.loops[0].calipers[0].origin == "drawn"


def test_nothing_is_refined_or_carried_but_a_chosen_length(on_xray):
    with pytest.raises(InputError, match="Select a caliper"):
        on_xray.propose_ends()
    clicks(on_xray, ANGLE, ((100, 100), (150, 100), (150, 160)))
    with pytest.raises(InputError, match="only lengths"):
        on_xray.carry()


@pytest.fixture
def carried(drawn):
    wanted = []
    drawn.carry_wanted.connect(lambda *asked: wanted.append(asked))
    drawn.carry()
    assert drawn.state().carrying
    ((file, caliper),) = wanted
    track = follow_caliper(drawn.loops[file], caliper)
    drawn.take_track(file, caliper, track)
    drawn.carry_wanted.disconnect()
    return drawn, track


def test_what_is_carried_is_not_confirmed_and_says_so(carried):
    desk, track = carried
    rows = desk.state().rows
    assert len(rows) == len(track.frames) == desk.loop.frames
    assert [row.confirmed for row in rows] == [True] + [False] * (len(rows) - 1)
    desk.stand_on(2)
    line = next(one for one in desk.state().lines if one.key.startswith("ostium"))
    assert line.label.endswith("◇ tracked, not confirmed")
    assert line.thin


def test_each_or_all_are_confirmed(carried):
    desk, _ = carried
    desk.go_to("ostium_width-3")
    desk.confirm()
    assert desk.state().unconfirmed == desk.loop.frames - 2
    desk.confirm_all()
    assert desk.state().unconfirmed == 0
    desk.undo()
    assert desk.state().unconfirmed == desk.loop.frames - 2


def test_carrying_again_replaces_what_was_not_confirmed(carried):
    desk, track = carried
    desk.revise("ostium_width-3", confirmed=True)
    file, caliper = desk.shown, desk.read.loops[0].calipers[0]
    desk.carried = None
    desk.select(caliper.key)
    desk.carry()
    desk.take_track(file, caliper, track)
    calipers = desk.read.loops[0].calipers
    assert len(calipers) == desk.loop.frames, "one a frame, no doubles"
    assert sum(one.confirmed for one in calipers) == 2


def test_a_track_of_a_changed_caliper_is_dropped(drawn):
    drawn.carry()
    file, caliper = drawn.shown, drawn.read.loops[0].calipers[0]
    track = follow_caliper(drawn.loops[file], caliper)
    drawn.revise(caliper.key, tilt_deg=5.0)
    drawn.take_track(file, caliper, track)
    assert len(drawn.state().rows) == 1
    assert drawn.message_is_fault


def test_following_can_be_stopped_at_any_frame(xray, drawn):
    class EnoughError(Exception):
        pass

    seen = []

    def on_frame(number):
        seen.append(number)
        if len(seen) == 3:
            raise EnoughError

    with pytest.raises(EnoughError):
        follow_caliper(open_loop(xray.path), drawn.read.loops[0].calipers[0], on_frame=on_frame)
    assert len(seen) == 3
