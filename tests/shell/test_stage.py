"""Desk and viewer together, without a window: napari's own viewer model and a faked mouse."""

from types import SimpleNamespace

import numpy as np
import pytest
from napari.components import ViewerModel
from napari.settings import get_settings
from napari.utils._proxies import ReadOnlyWrapper
from napari.utils.interactions import (
    mouse_double_click_callbacks,
    mouse_move_callbacks,
    mouse_press_callbacks,
    mouse_release_callbacks,
)

from annot.calibration import GivenRequest
from annot.errors import LoopError
from annot.tasks.open import Loop, open_loop
from napari_annot.picture_layer import loop_of_layer, picture_of
from napari_annot.stage import Stage
from napari_annot.tools import BENT_DEPTH, CALIPER_TOOLS

OSTIUM = CALIPER_TOOLS[0]
GIVEN = GivenRequest(mm_per_px=(0.2, 0.2), u_rel=0.01)


class Hand:
    """Sends the viewer and its active layer what a mouse would send them."""

    def __init__(self, viewer):
        self.viewer = viewer

    def event(self, kind, place, *, dragging=False, button=1, modifiers=()):
        step = self.viewer.dims.current_step[0]
        plain = SimpleNamespace(
            type=kind,
            position=(step, *place),
            pos=np.array(place),
            is_dragging=dragging,
            button=button,
            modifiers=modifiers,
            camera_zoom=2.0,
            handled=False,
            dims_displayed=[1, 2],
            dims_point=[step, 0, 0],
            view_direction=None,
            up_direction=None,
        )
        return ReadOnlyWrapper(plain, exceptions=("handled",))

    def send(self, callbacks, event):
        callbacks(self.viewer, event)
        if self.viewer.layers.selection.active is not None:
            callbacks(self.viewer.layers.selection.active, event)
        return event

    def press(self, place, **how):
        return self.send(mouse_press_callbacks, self.event("mouse_press", place, **how))

    def move(self, place, *, dragging=False):
        return self.send(mouse_move_callbacks, self.event("mouse_move", place, dragging=dragging))

    def release(self, place):
        return self.send(mouse_release_callbacks, self.event("mouse_release", place))

    def drag(self, start, end, steps=4):
        handled = self.press(start).handled  # napari swaps what the event wraps on each move
        for step in range(1, steps + 1):
            at = tuple(np.add(start, np.subtract(end, start) * step / steps))
            self.move(at, dragging=True)
        self.release(end)
        return handled

    def click(self, place):
        self.press(place)
        self.release(place)

    def double_click(self, place):
        self.click(place)
        self.send(mouse_double_click_callbacks, self.event("mouse_double_click", place))


@pytest.fixture
def viewer():
    return ViewerModel()


@pytest.fixture
def stage(viewer, desk):
    made = Stage(viewer, desk)
    yield made
    made.close()


@pytest.fixture
def on_stage(stage, desk, xray):
    desk.show(desk.add(open_loop(xray.path)))
    return stage


@pytest.fixture
def hand(viewer):
    return Hand(viewer)


def labels(stage):
    return [text for text in stage.lines.layer.features["label"] if text]


def test_a_loop_is_shown_at_its_first_frame_in_pixels(on_stage, viewer):
    assert viewer.dims.current_step[0] == 0
    picture, lines = viewer.layers
    assert loop_of_layer(picture) is not None
    assert tuple(picture.scale) == tuple(lines.scale) == (1, 1, 1)
    assert {str(unit) for unit in viewer.layers.units} == {"pixel"}
    assert viewer.layers.selection.active == picture


def test_a_drag_draws_a_caliper_with_its_value_beside_it(on_stage, desk, hand):
    desk.ask_scale(GIVEN)
    desk.arm(OSTIUM)
    assert hand.drag((100, 100), (100, 200))
    assert desk.state().selected.points == ((100, 100), (100, 200))
    (label,) = labels(on_stage)
    assert label.startswith("Ostium  20.00 ±")
    assert "95 %" in label


def test_the_value_is_there_while_the_line_is_dragged(on_stage, desk, hand):
    desk.ask_scale(GIVEN)
    desk.arm(OSTIUM)
    hand.press((100, 100))
    hand.move((100, 150), dragging=True)
    assert labels(on_stage)[0].startswith("Ostium  10.00 ±")
    hand.move((100, 175), dragging=True)
    assert labels(on_stage)[0].startswith("Ostium  15.00 ±")
    assert desk.state().rows == ()


def test_two_clicks_draw_and_the_line_follows_between_them(on_stage, desk, hand):
    desk.arm(OSTIUM)
    hand.click((100, 100))
    hand.move((100, 140))
    assert "40.0" in labels(on_stage)[0]
    hand.click((100, 150))
    assert desk.state().selected.points[1] == (100, 150)


def test_a_new_scale_changes_the_value_beside_the_line(on_stage, desk, hand):
    desk.arm(OSTIUM)
    hand.drag((100, 100), (100, 200))
    assert "(no scale)" in labels(on_stage)[0]
    desk.ask_scale(GIVEN)
    assert labels(on_stage)[0].startswith("Ostium  20.00 ±")
    desk.ask_scale(None)
    assert "(no scale)" in labels(on_stage)[0]


def test_an_end_is_dragged_to_its_right_place(on_stage, desk, hand):
    desk.arm(OSTIUM)
    hand.drag((100, 100), (100, 200))
    hand.drag((100, 201), (140, 200))
    assert desk.state().selected.points == ((100, 100), (140, 200))
    assert len(desk.state().rows) == 1


def test_the_camera_keeps_a_press_that_meets_nothing(on_stage, desk, hand):
    assert not hand.drag((300, 300), (320, 320))
    assert desk.state().rows == ()


@pytest.mark.parametrize("how", [{"button": 2}, {"modifiers": ("Shift",)}])
def test_other_buttons_and_modified_presses_draw_nothing(on_stage, desk, hand, how):
    desk.arm(OSTIUM)
    hand.press((100, 100), **how)
    assert desk.draft is None


def test_the_layer_holds_the_shown_frame_only(on_stage, desk, hand, viewer):
    desk.arm(OSTIUM)
    hand.drag((100, 100), (100, 200))
    viewer.dims.set_current_step(0, 3)
    assert len(on_stage.lines.layer.data) == 0
    desk.arm(OSTIUM)
    hand.drag((50, 50), (60, 120))
    assert {vertex[0] for shape in on_stage.lines.layer.data for vertex in shape} == {3}
    assert [row.frame for row in desk.state().rows] == [0, 3]


def test_a_frame_change_in_mid_drag_draws_nothing(on_stage, desk, hand, viewer):
    desk.arm(OSTIUM)
    hand.press((100, 100))
    hand.move((100, 150), dragging=True)
    viewer.dims.set_current_step(0, 4)
    hand.move((100, 180), dragging=True)
    hand.release((100, 180))
    assert desk.state().rows == ()
    assert len(on_stage.lines.layer.data) == 0


def test_a_row_turns_to_its_loop_and_frame(on_stage, desk, hand, viewer, echo):
    viewer.dims.set_current_step(0, 4)
    desk.arm(OSTIUM)
    hand.drag((100, 100), (100, 200))
    key = desk.selected
    desk.show(desk.add(open_loop(echo.path)))
    assert viewer.dims.range[0].stop == 2, "the slider has the shown loop's frames"
    desk.go_to(key)
    assert viewer.dims.current_step[0] == 4
    assert loop_of_layer(viewer.layers[0]).header.modality == "XA"
    assert len(labels(on_stage)) == 1


def test_a_loop_that_napari_opens_lands_on_the_desk(stage, desk, viewer, xray, echo):
    for loop in (xray, echo):
        data, arguments, _ = picture_of(open_loop(loop.path))
        viewer.add_image(data, **arguments)
        assert viewer.dims.current_step[0] == desk.frame == 0
    assert [line.modality for line in desk.state().loops] == ["XA", "US"]
    assert desk.state().modality == "US"
    assert [layer.name for layer in viewer.layers] == ["us_045.dcm", "Calipers"], "lines above"


def test_loops_that_were_open_before_the_dock_are_taken(viewer, desk, xray):
    data, arguments, _ = picture_of(open_loop(xray.path))
    viewer.add_image(data, **arguments)
    viewer.dims.set_current_step(0, 2)
    stage = Stage(viewer, desk)
    assert desk.state().frame == viewer.dims.current_step[0] == 2
    assert [line.name for line in desk.state().loops] == ["xa_clean.dcm"]
    stage.close()


def test_a_picture_taken_out_of_the_viewer_loses_no_caliper(on_stage, desk, hand, viewer):
    desk.arm(OSTIUM)
    hand.drag((100, 100), (100, 200))
    viewer.layers.remove(viewer.layers[0])
    assert desk.shown is None
    assert len(desk.state().rows) == 1
    desk.go_to(desk.state().rows[0].key)
    assert len(labels(on_stage)) == 1


def test_the_lines_come_back_if_their_layer_is_removed(on_stage, desk, hand, viewer):
    desk.arm(OSTIUM)
    hand.drag((100, 100), (100, 200))
    viewer.layers.remove(on_stage.lines.layer)
    desk.stand_on(0)
    desk.select(None)
    assert len(labels(on_stage)) == 1


def foreign_layer(viewer, _):
    viewer.add_image(np.zeros((2, 3, 4)), units=("pixel", "um", "um"))


@pytest.mark.parametrize(
    "change",
    [
        lambda _, layer: setattr(layer, "scale", (1, 0.2, 0.2)),
        lambda _, layer: setattr(layer, "units", ("pixel", "mm", "mm")),
        lambda _, layer: setattr(layer, "translate", (0, 5, 0)),
        lambda _, layer: setattr(layer, "rotate", 10),
        lambda viewer, _: setattr(viewer.layers["Calipers"], "scale", (1, 2, 2)),
        foreign_layer,
    ],
    ids=["scale", "unit", "moved", "turned", "lines scaled", "foreign unit"],
)
def test_nothing_is_drawn_in_a_world_that_is_not_pixels(on_stage, desk, hand, viewer, change):
    change(viewer, on_stage.pictures.layer)
    desk.arm(OSTIUM)
    hand.drag((100, 100), (100, 200))
    assert desk.state().rows == ()
    assert "pixels" in desk.state().message


def test_a_layer_of_another_kind_in_pixels_does_no_harm(on_stage, desk, hand, viewer):
    viewer.add_points([[0, 10, 10]])
    desk.arm(OSTIUM)
    hand.drag((100, 100), (100, 200))
    assert desk.state().selected.points == ((100, 100), (100, 200))


def test_napari_tools_on_the_layer_of_lines_are_refused(on_stage):
    on_stage.lines.layer.mode = "add_line"
    assert on_stage.lines.layer.mode == "pan_zoom"


def test_a_double_click_ends_a_path_and_does_not_zoom(on_stage, desk, hand, viewer):
    zoom = viewer.scene.camera.zoom
    desk.arm(BENT_DEPTH)
    hand.click((100, 100))
    hand.click((150, 120))
    hand.double_click((170, 180))
    assert len(desk.state().selected.points) == 3
    assert viewer.scene.camera.zoom == zoom
    hand.double_click((300, 300))
    assert viewer.scene.camera.zoom == 2 * zoom, "with no tool in hand the double click is napari's"


def test_the_caption_counts_frames_both_ways_and_says_that_there_is_no_scale(
    on_stage, desk, viewer
):
    viewer.dims.set_current_step(0, 3)
    assert on_stage.caption.text == "xa_clean.dcm  frame 3 (DICOM 4)  no scale: lengths in px"
    desk.ask_scale(GIVEN)
    assert on_stage.caption.text.endswith("0.2 mm/px, u 1.0 %")


def test_asynchronous_slicing_is_off_while_the_dock_is_open(viewer, desk):
    get_settings().experimental.async_ = True
    stage = Stage(viewer, desk)
    assert not get_settings().experimental.async_
    stage.close()
    assert get_settings().experimental.async_
    get_settings().experimental.async_ = False


def test_closing_lets_go_of_the_viewer(viewer, desk, xray):
    before = len(viewer.mouse_drag_callbacks)
    stage = Stage(viewer, desk)
    desk.show(desk.add(open_loop(xray.path)))
    stage.close()
    assert len(viewer.mouse_drag_callbacks) == before
    assert [layer.name for layer in viewer.layers] == ["xa_clean.dcm"]
    viewer.dims.set_current_step(0, 3)
    assert desk.frame == 0


def test_clearing_the_viewer_leaves_nothing_behind(on_stage, desk, hand, viewer):
    desk.arm(OSTIUM)
    hand.drag((100, 100), (100, 200))
    viewer.layers.clear()
    assert len(viewer.layers) == 0
    assert desk.shown is None
    desk.go_to(desk.state().rows[0].key)
    assert len(labels(on_stage)) == 1


def test_a_frame_that_cannot_be_decoded_is_told_and_not_drawn_on(
    stage, desk, hand, viewer, xray, monkeypatch
):
    decode = Loop.frame

    def broken(loop, n):
        if n == 3:
            raise LoopError("xa_clean.dcm: frame 3 is damaged.")
        return decode(loop, n)

    monkeypatch.setattr(Loop, "frame", broken)
    desk.show(desk.add(open_loop(xray.path)))
    viewer.dims.set_current_step(0, 3)
    assert desk.state().message == "xa_clean.dcm: frame 3 is damaged."
    assert not stage.pictures.layer.data[3].any()
    desk.arm(OSTIUM)
    hand.drag((100, 100), (100, 200))
    assert desk.state().rows == ()
    assert "damaged" in desk.state().message
    viewer.dims.set_current_step(0, 2)
    desk.arm(OSTIUM)
    hand.drag((100, 100), (100, 200))
    assert len(desk.state().rows) == 1
