"""Ways of looking in the real window: each changes the picture, none a number."""

import numpy as np
import pytest
from qtpy.QtCore import QPoint, Qt

from napari_annot.looks import AS_SHOWN
from tests.shell.test_window import OSTIUM, on_xray, sound_binding, window

__all__ = ["on_xray", "sound_binding", "window"]  # fixtures of the other file
pytestmark = pytest.mark.viewer
KEY, SHIFT = Qt.Key, Qt.KeyboardModifier.ShiftModifier
NONE = Qt.KeyboardModifier.NoModifier


def press(window, key, modifiers=NONE):
    window.focus()
    window.bot.keyClick(window.canvas, key, modifiers)


def right_drag(window, right, down):
    start = window.spot((200, 200))
    button = Qt.MouseButton.RightButton
    window.bot.mouseMove(window.canvas, start)
    window.bot.wait(50)  # the screen reports a moved pointer once more, late
    window.bot.mousePress(window.canvas, button, pos=start)
    for step in (1, 2):
        window.bot.mouseMove(window.canvas, start + QPoint(right, down) * (step / 2))
        window.bot.wait(50)
    window.bot.mouseRelease(window.canvas, button, pos=start + QPoint(right, down))
    window.bot.wait(10)


def seen(window):
    window.bot.wait(30)
    return window.viewer.screenshot(canvas_only=True, flash=False)[..., 0].mean()


def picture(window):
    """Return the greys of the middle of the canvas."""
    window.bot.wait(30)
    shot = window.viewer.screenshot(canvas_only=True, flash=False)[..., 0]
    rows, columns = shot.shape
    return shot[rows // 3 : -rows // 3, columns // 3 : -columns // 3].ravel().astype(float)


def limits(window):
    return tuple(window.dock.stage.pictures.layer.contrast_limits)


def test_no_way_of_looking_changes_a_number(on_xray, draw):
    dock, camera = on_xray.dock, on_xray.viewer.scene.camera
    dock.calipers.tools[OSTIUM.name].click()
    on_xray.drag((100, 100), (100, 220))
    rows, drawn = dock.desk.state().rows, dock.desk.read.loops[0].calipers
    stored = dock.desk.loop.frame(0).copy()
    for key, held in (
        *((KEY.Key_W, NONE), (KEY.Key_W, SHIFT), (KEY.Key_W, NONE), (KEY.Key_W, NONE)),
        *((KEY.Key_G, NONE), (KEY.Key_G, NONE), (KEY.Key_I, NONE), (KEY.Key_Plus, NONE)),
        *((KEY.Key_Minus, NONE), (KEY.Key_Z, SHIFT), (KEY.Key_Plus, NONE), (KEY.Key_G, SHIFT)),
    ):
        before = (limits(on_xray), dock.stage.looks.look, dock.desk.display, camera.zoom)
        press(on_xray, key, held)
        after = (limits(on_xray), dock.stage.looks.look, dock.desk.display, camera.zoom)
        assert after != before, f"the key {key} did something"
        assert dock.desk.state().rows == rows
        assert dock.desk.read.loops[0].calipers == drawn
    right_drag(on_xray, 60, 40)
    assert dock.desk.state().rows == rows
    assert (dock.desk.loop.frame(0) == stored).all()
    assert not dock.desk.history.can_redo
    press(on_xray, KEY.Key_I, SHIFT)
    press(on_xray, KEY.Key_Z)
    assert dock.stage.looks.look.name == AS_SHOWN
    assert dock.stage.looks.look.gamma == 1.0
    # a caliper drawn at the same places through another window is the same caliper
    dock.desk.undo()
    press(on_xray, KEY.Key_I)
    press(on_xray, KEY.Key_W)
    draw(dock.desk, OSTIUM, drawn[0].points)
    assert [row.value for row in dock.desk.state().rows] == [rows[0].value]


def test_the_right_button_turns_the_window_and_leaves_the_camera(on_xray):
    camera = on_xray.viewer.scene.camera
    zoom, centre, before = camera.zoom, tuple(camera.center), limits(on_xray)
    bright = seen(on_xray)
    right_drag(on_xray, 0, 90)
    assert (camera.zoom, tuple(camera.center)) == (zoom, centre)
    assert limits(on_xray)[0] > before[0]
    assert seen(on_xray) < bright - 3, "down darkens"
    width = limits(on_xray)[1] - limits(on_xray)[0]
    right_drag(on_xray, 80, 0)
    assert limits(on_xray)[1] - limits(on_xray)[0] > 1.4 * width
    assert on_xray.dock.display.windows.currentText() == "set by hand"
    assert "stored values" in on_xray.dock.display.look.text()


def test_a_window_is_chosen_by_name_and_undone(on_xray):
    panel, before = on_xray.dock.display, limits(on_xray)
    on_xray.dock.turn_to(panel)
    place = panel.windows.findText("dark parts of this frame")
    panel.windows.setCurrentIndex(place)
    panel.windows.activated.emit(place)
    assert limits(on_xray)[1] < before[1]
    panel.as_filed.click()
    assert limits(on_xray) == before
    assert panel.windows.currentText() == AS_SHOWN


def test_every_loop_keeps_its_own_look(on_xray, echo, xray_sphere):
    desk = on_xray.desk
    first = desk.shown
    press(on_xray, KEY.Key_W)
    turned = limits(on_xray)
    on_xray.dock.open_paths([xray_sphere.path])
    assert limits(on_xray) != turned
    desk.show(first)
    on_xray.bot.wait(30)
    assert limits(on_xray) == turned
    on_xray.dock.open_paths([echo.path])
    press(on_xray, KEY.Key_W)
    assert "colour" in on_xray.dock.status.text()


def test_swapped_greys_are_seen_and_said(on_xray):
    before = picture(on_xray)
    press(on_xray, KEY.Key_I)
    assert np.corrcoef(before, picture(on_xray))[0, 1] < 0
    assert "dark and light swapped" in on_xray.dock.stage.caption.text
    assert on_xray.dock.display.swap.isChecked()
