"""Landmarks, loupe and half-pixel arrows in the real window."""

import pytest
from qtpy.QtCore import Qt

from napari_annot.loupe import REACH_PX, TIMES, greys_around
from tests.shell.test_window import Window, on_xray, sound_binding, window

__all__ = ["Window", "on_xray", "sound_binding", "window"]  # fixtures of the other file
pytestmark = pytest.mark.viewer


def test_landmarks_are_placed_with_the_mouse_and_marked_on_the_button(on_xray):
    dock = on_xray.dock
    dock.turn_to(dock.calipers)
    button = dock.calipers.aids.landmarks["place_ridge_tip"]
    button.click()
    on_xray.click((120, 210))
    assert button.text() == "✓ Ridge tip"
    assert "Ridge tip" in on_xray.labels()
    (mark,) = dock.desk.read.loops[0].landmarks
    assert mark.points[0] == pytest.approx((120, 210), abs=0.6)
    dock.calipers.aids.clear.click()
    assert button.text() == "Ridge tip"


def test_arrows_move_an_end_from_the_canvas_and_undo_takes_it_back(on_xray, qtbot):
    on_xray.dock.calipers.tools["ostium_width"].click()
    on_xray.drag((100, 100), (100, 200))
    before = on_xray.desk.state().selected.points
    on_xray.focus()
    qtbot.keyClick(on_xray.canvas, Qt.Key.Key_Right, Qt.KeyboardModifier.AltModifier)
    after = on_xray.desk.state().selected.points
    assert after[1].column == before[1].column + 0.5
    assert on_xray.viewer.dims.current_step[0] == 0, "the slider stays"
    qtbot.keyClick(on_xray.canvas, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    assert on_xray.desk.state().selected.points == before


def test_the_loupe_shows_the_pixels_under_the_end_and_goes(on_xray, qtbot):
    loupe = on_xray.dock.loupe
    assert not loupe.isVisible()
    on_xray.dock.calipers.tools["ostium_width"].click()
    left = Qt.MouseButton.LeftButton
    one, other = on_xray.spot((100, 100)), on_xray.spot((140, 180))
    qtbot.mouseMove(on_xray.canvas, one)
    qtbot.mousePress(on_xray.canvas, left, pos=one)
    for step in (0.5, 1.0):
        qtbot.mouseMove(on_xray.canvas, one + (other - one) * step)
        qtbot.wait(10)
    assert loupe.isVisible()
    end = on_xray.desk.draft.floating
    layer = on_xray.dock.stage.pictures.layer
    greys = greys_around(layer.data[0], end, layer)
    shown = loupe.pixmap().toImage()
    at = TIMES // 2  # the middle of the first pixel, away from the cross
    assert shown.pixelColor(at, at).red() == pytest.approx(int(greys[0, 0, 0]), abs=2)
    middle = (REACH_PX + 0.5 + end.column - round(end.column)) * TIMES
    assert shown.pixelColor(round(middle), at).blue() < 120, "the cross is yellow"
    qtbot.mouseRelease(on_xray.canvas, left, pos=other)
    assert not loupe.isVisible()
    assert len(on_xray.desk.calipers_on_show()) == 1


def test_the_calipers_page_is_not_cut_at_the_side(on_xray):
    dock = on_xray.dock
    on_xray.viewer.window.resize(1280, 800)
    for page in (dock.sheet, dock.calipers, dock.reading, dock.display):
        dock.turn_to(page)
        on_xray.bot.wait(50)
        room = page.parentWidget().width()
        assert page.minimumSizeHint().width() <= room, type(page).__name__
