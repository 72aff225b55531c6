"""The page for looking otherwise, in the real window."""

import numpy as np
import pytest
from qtpy.QtCore import Qt
from qtpy.QtWidgets import QCheckBox, QComboBox

from annot.tasks.open import DisplayChoice
from napari_annot.display_state import LOOKING_ONLY
from tests.shell.test_window import Window, sound_binding, window

pytestmark = pytest.mark.viewer
__all__ = ["sound_binding", "window"]  # fixtures of the real window


@pytest.fixture
def page(window: Window):
    panel = window.dock.display
    window.dock.turn_to(panel)
    window.bot.wait(20)
    return panel


def tick(window, box):
    window.bot.mouseClick(box, Qt.MouseButton.LeftButton, pos=box.rect().center() / 8)
    window.bot.wait(20)


def picture(window):
    return window.viewer.screenshot(canvas_only=True, flash=False)[..., :3].astype(int)


def test_the_page_says_that_it_is_for_looking_only(window, page, rich):
    window.dock.open_paths([rich])
    assert page.reminder.text() == LOOKING_ONLY
    assert page.reminder.isVisible()
    assert page.notes.text() == "• The file recommends its subtracted view"


def test_a_choice_made_with_the_mouse_changes_the_picture_and_nothing_else(window, page, rich):
    window.dock.open_paths([rich])
    finder = window.dock.parts.play.finder
    # the contrast's row makes the strip higher and the canvas lower when it comes
    window.bot.waitUntil(lambda: finder.curve is not None, timeout=60000)
    window.bot.wait(200)
    window.viewer.dims.set_current_step(0, 3)
    read, plain = window.desk.read, picture(window)
    for box, field in (
        (page.shutter, "shuttered"),
        (page.subtraction, "subtracted"),
        (page.swap, "inverted"),
    ):
        was = getattr(window.desk.display, field)
        tick(window, box)
        assert getattr(window.desk.display, field) is not was
        assert np.abs(picture(window) - plain).max() > 20, field
        tick(window, box)
        assert window.desk.display == DisplayChoice()
        assert np.abs(picture(window) - plain).max() == 0, field
    assert window.desk.read is read


def test_the_greys_are_chosen_from_a_list(window, page, rich):
    window.dock.open_paths([rich])
    window.bot.wait(50)
    assert page.greys.currentText() == "CONTRAST (centre 600, width 900)"
    page.greys.setCurrentIndex(2)
    page.greys.activated.emit(2)
    assert window.desk.display == DisplayChoice(greys=2)
    page.greys.setCurrentIndex(3)
    page.greys.activated.emit(3)
    assert window.desk.display == DisplayChoice(greys=None)
    tick(window, page.subtraction)
    assert not page.greys.isEnabled(), "a difference has no window of the file's"


def test_what_a_file_does_not_store_cannot_be_chosen(window, page, xray, echo):
    assert not page.isEnabled()
    window.dock.open_paths([xray.path])
    assert [box.isEnabled() for box in (page.shutter, page.subtraction, page.swap)] == [
        False,
        False,
        True,
    ]
    assert page.shutter.text() == "Hide what the shutter covers (none stored)"
    assert not page.shutter.isChecked()
    window.dock.open_paths([echo.path])
    assert page.greys.currentText() == "colours as stored"
    assert not page.swap.isEnabled()


def test_nothing_on_the_page_is_cut(window, page, rich):
    window.dock.open_paths([rich])
    window.bot.wait(50)
    for part in (*page.findChildren(QCheckBox), *page.findChildren(QComboBox)):
        assert part.width() >= part.sizeHint().width(), part
        assert page.rect().contains(part.geometry()), part
    for label in (page.reminder, page.notes):
        assert label.height() >= label.heightForWidth(label.width()), label.text()
