"""A whole reading by mouse and keys alone, counted, and its numbers against the command line's."""

import json
import logging
import subprocess
import sys

import pytest
from qtpy.QtCore import Qt, QTimer
from qtpy.QtTest import QTest
from qtpy.QtWidgets import QAbstractItemView, QApplication, QFileDialog

from synthetic_dicom import write_case
from tests.shell.test_window import Window, sound_binding, window

__all__ = ["Window", "sound_binding", "window"]  # fixtures of the other file
pytestmark = pytest.mark.viewer
LEFT = Qt.MouseButton.LeftButton
MOST_ACTIONS, DIALOG_MS = 60, 8000
FILE_VIEWS = ("listView", "treeView")  # Qt's names; the list of places beside them is another
LOG = logging.getLogger(__name__)  # pytest --log-cli-level=INFO tells how many it took
QUANTITIES = ("ostium_width", "landing_zone_width", "depth")


class Hand:
    """Mouse and keyboard, every press counted: a click, a drag, a double click, a key."""

    def __init__(self, window):
        self.window, self.actions, self.log = window, 0, []

    def _count(self, what):
        self.actions += 1
        self.log.append(what)

    def click(self, widget):
        self._count(f"click {type(widget).__name__}")
        QTest.mouseClick(widget, LEFT, pos=widget.rect().center())
        self.window.bot.wait(10)

    def tab(self, index):
        bar = self.window.dock.tabs.tabBar()
        self._count(f"click tab {bar.tabText(index)}")
        QTest.mouseClick(bar, LEFT, pos=bar.tabRect(index).center())
        self.window.bot.wait(10)

    def entry(self, view, row):
        self._count(f"click entry {row}")
        spot = view.visualItemRect(view.item(row)).center()
        QTest.mouseClick(view.viewport(), LEFT, pos=spot)
        self.window.bot.wait(50)

    def point(self, place):
        self._count("click the picture")
        self.window.click(place)

    def drag(self, places):
        self._count("drag on the picture")
        self.window.drag(places[0], places[-1])

    def type(self, widget, words):
        for letter in words:
            self._count(f"key {letter}")
            QTest.keyClick(widget, letter)

    def key(self, widget, key):
        self._count(f"key {key.name}")
        QTest.keyClick(widget, key)
        self.window.bot.wait(10)

    def in_dialog(self, opens, act):
        """Click what opens a file dialog and act in it; it holds the program until it closes."""
        seen = []

        def look():
            dialog = QApplication.activeModalWidget()
            if isinstance(dialog, QFileDialog):
                seen.append(dialog)
                QTimer.singleShot(DIALOG_MS, dialog.reject)  # a test must not wait for ever
                act(dialog)
            else:
                QTimer.singleShot(50, look)

        QTimer.singleShot(50, look)
        self.click(opens)
        assert seen, "no file dialog came up"

    def accept(self, dialog):
        self.key(dialog.focusWidget() or dialog, Qt.Key.Key_Return)

    def choose(self, name):
        def act(dialog):
            views = dialog.findChildren(QAbstractItemView)
            view = next(one for one in views if one.objectName() in FILE_VIEWS and one.isVisible())
            model = view.model()

            def place():
                root = view.rootIndex()
                rows = (model.index(at, 0, root) for at in range(model.rowCount(root)))
                return next((one for one in rows if one.data() == name), None)

            for _ in range(100):  # the dialog lists the folder in a thread of its own
                if place() is not None:
                    break
                QTest.qWait(20)
            spot = view.visualRect(place()).center()
            self._count(f"double click {name}")
            QTest.mouseClick(view.viewport(), LEFT, pos=spot)
            QTest.mouseDClick(view.viewport(), LEFT, pos=spot)

        return act


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """A folder with two loops and a size chart, and the program started in it."""
    loops = {
        "XA": write_case("xa_clean", tmp_path, frames=6),
        "US": write_case("us_045", tmp_path, frames=3),
    }
    text = "label,nominal_mm,width_from_mm,width_to_mm\nM,24,18,22\nL,28,22,26\n"
    (tmp_path / "chart.csv").write_text(text)
    monkeypatch.chdir(tmp_path)
    return tmp_path, loops


def row_of(window, modality):
    lines = window.desk.state().loops
    return next(at for at, one in enumerate(lines) if one.modality == modality)


def scale_the_xray_loop(hand, window, truth):
    dock = window.dock
    hand.entry(dock.loops.list, row_of(window, "XA"))
    hand.tab(1)
    for field, words in (
        (dock.scale.size_mm_or_fr, "2"),
        (dock.scale.tolerance_mm, "0.03"),
        (dock.scale.other_mm, "1.4"),
    ):
        hand.click(field)
        hand.type(field, words)
    hand.click(dock.scale.trace)
    hand.drag(truth.objects[0].axis_px)


def scale_the_echo_loop_and_say_who_reads(hand, window):
    dock, reading = window.dock, window.dock.reading
    hand.entry(dock.loops.list, row_of(window, "US"))
    hand.click(dock.scale.make)
    hand.tab(4)
    for field, words in ((reading.plane, "45"), (reading.reader, "R7"), (reading.study, "S1")):
        hand.click(field)
        hand.type(field, words)
    hand.tab(0)


def draw_six_calipers(hand, window, loops):
    window.focus()
    for _ in range(6):
        hand.key(window.canvas, Qt.Key.Key_N)
        state = window.desk.state()
        true = loops[state.modality].truth.caliper(state.tool.name, state.frame)
        for place in true.points_px:
            hand.point(place)
        assert window.desk.tool is None, window.dock.status.text()


def command(folder, *words):
    code = "from annot.cli.main import run; run()"
    answer = subprocess.run(
        [sys.executable, "-c", code, *words],
        capture_output=True,
        text=True,
        check=True,
        cwd=folder,
        timeout=240,
    )
    return answer.stdout


def test_a_whole_reading_takes_at_most_sixty_actions_and_equals_the_command_line(window, folder):
    path, loops = folder
    dock, hand = window.dock, Hand(window)
    hand.in_dialog(dock.loops.open_folder, hand.accept)
    window.bot.waitUntil(lambda: len(window.desk.loops) == 2, timeout=20000)
    window.focus()  # Xvfb has no window manager to do so
    scale_the_xray_loop(hand, window, loops["XA"].truth)
    scale_the_echo_loop_and_say_who_reads(hand, window)
    window.bot.waitUntil(
        lambda: all(window.desk.standings[one].state == "made" for one in window.desk.loops),
        timeout=30000,
    )
    draw_six_calipers(hand, window, loops)
    hand.in_dialog(dock.sheet.follows.chart, hand.choose("chart.csv"))
    window.bot.waitUntil(lambda: not dock.finder.busy and dock.desk.findings_current, timeout=60000)
    hand.in_dialog(dock.sheet.follows.save, hand.accept)
    hand.in_dialog(dock.sheet.follows.export, hand.accept)
    LOG.info("%d input actions", hand.actions)
    assert hand.actions <= MOST_ACTIONS, hand.log

    values = [cell.lines[0] for cell in dock.sheet.cells.values()]
    assert all(values)
    command(path, "measure", "read.json", "-o", "again.csv")
    assert (path / "table.csv").read_bytes() == (path / "again.csv").read_bytes()
    assert (path / "table.csv").read_bytes().count(b"\r\n") == 1 + 6
    sizes = json.loads(command(path, "sizes", "table.csv", "--chart", "chart.csv", "--json"))
    found = [row for one in dock.desk.findings.sizes for row in one.facts()]
    assert json.loads(json.dumps(found)) == sizes
    sections = json.loads(command(path, "section", "table.csv", "--json"))
    assert len(sections) == len(dock.desk.findings.sections) == 4


def test_counting_counts_a_letter_as_one(window):
    hand = Hand(window)
    field = window.dock.reading.study
    window.dock.turn_to(window.dock.reading)
    hand.click(field)
    hand.type(field, "ab")
    assert hand.actions == 3
    assert field.text() == "ab"
