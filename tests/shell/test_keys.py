"""Every action has a key and stands in the list; the list is searched and does what it says."""

from collections import Counter

import pytest
from qtpy.QtCore import QPoint, Qt
from qtpy.QtGui import QKeySequence
from qtpy.QtWidgets import QAbstractButton, QMenu

from napari_annot.actions import ACTIONS, BY_NAME
from tests.shell.test_window import OSTIUM, on_xray, sound_binding, window

__all__ = ["on_xray", "sound_binding", "window"]  # fixtures of the other file
pytestmark = pytest.mark.viewer
KEY = Qt.Key


def test_every_action_has_a_key_of_its_own_and_words():
    keys = Counter(QKeySequence(one.key).toString() for one in ACTIONS)
    assert "" not in keys
    assert [key for key, count in keys.items() if count > 1] == []
    assert len({one.name for one in ACTIONS}) == len(ACTIONS)
    assert all(one.words and one.group for one in ACTIONS)


def test_every_action_of_the_list_is_bound_and_every_bound_one_is_listed(window):
    assert window.dock.parts.keys.bound == ACTIONS
    ours = {QKeySequence(one.key).toString() for one in ACTIONS}
    bound = {action.shortcut().toString() for action in window.dock.actions() if action.shortcut()}
    assert bound == ours


def test_no_key_is_taken_from_a_menu_of_the_viewer(window):
    host = window.canvas.window()
    for menu in host.findChildren(QMenu):
        menu.aboutToShow.emit()
    theirs = {
        shortcut.toString()
        for menu in host.findChildren(QMenu)
        for action in menu.actions()
        for shortcut in action.shortcuts()
    }
    assert "Ctrl+O" in theirs, "the viewer has menus with keys"
    assert {QKeySequence(one.key).toString() for one in ACTIONS} & theirs == set()


def test_the_list_opens_by_its_key_is_searched_and_acts(on_xray):
    bot, keys = on_xray.bot, on_xray.dock.parts.key_list
    on_xray.focus()
    bot.keyClick(on_xray.canvas, KEY.Key_F1)
    assert keys.isVisible()
    assert keys.list.topLevelItemCount() == len(ACTIONS)
    bot.keyClicks(keys.search, "draw ostium")
    shown = [
        keys.list.topLevelItem(place)
        for place in range(keys.list.topLevelItemCount())
        if not keys.list.topLevelItem(place).isHidden()
    ]
    assert shown[0].text(1) == "Ctrl+1"
    assert all("ostium" in item.text(0).lower() for item in shown)
    bot.keyClick(keys.search, KEY.Key_Return)
    assert not keys.isVisible()
    assert on_xray.desk.tool == OSTIUM


def test_what_means_nothing_now_says_so_and_does_nothing(on_xray):
    keys = on_xray.dock.parts.key_list
    keys.open_list()
    keys.search.setText("undo")
    item = keys.list.currentItem()
    assert item.text(0) == "Undo"
    assert "not now" in item.text(2)
    keys.do_current()
    assert keys.isVisible()
    keys.close()


def test_arrows_move_in_the_list_while_the_search_has_the_cursor(on_xray):
    keys = on_xray.dock.parts.key_list
    keys.open_list()
    first = keys.list.currentItem().text(0)
    on_xray.bot.keyClick(keys.search, KEY.Key_Down)
    assert keys.list.currentItem().text(0) != first
    keys.close()


def test_buttons_tell_their_key(on_xray):
    for name, button in on_xray.dock.parts.play.buttons.items():
        assert f"Key: {QKeySequence(BY_NAME[name].key).toString()}" in button.toolTip(), name


def test_every_button_of_the_dock_explains_itself(on_xray):
    silent = [
        button.text()
        for button in on_xray.dock.findChildren(QAbstractButton)
        if button.text() and not button.toolTip() and not button.statusTip()
    ]
    assert silent == []


def test_letters_typed_in_a_field_are_letters(on_xray):
    note = on_xray.dock.reading.reader
    on_xray.dock.turn_to(on_xray.dock.reading)
    on_xray.focus()
    note.setFocus()
    on_xray.bot.keyClicks(note, "BR M.")
    assert note.text() == "BR M."
    assert not on_xray.dock.parts.play.playback.player.playing
    assert on_xray.desk.frame == 0


def test_the_list_fits_and_no_letter_is_small(on_xray):
    keys = on_xray.dock.parts.key_list
    keys.open_list()
    on_xray.bot.wait(30)
    assert keys.list.font().pointSizeF() >= 10
    assert keys.list.visualItemRect(keys.list.topLevelItem(0)).height() >= 14
    assert keys.childAt(QPoint(20, 20)) is not None
    keys.close()
