"""A blinded read in the real window: one case at a time, nothing hidden in sight, then closed."""

import json
import shutil

import pytest
from qtpy.QtCore import Qt, QTimer
from qtpy.QtTest import QTest
from qtpy.QtWidgets import (
    QAbstractButton,
    QApplication,
    QComboBox,
    QInputDialog,
    QLabel,
    QLineEdit,
    QListWidget,
    QMessageBox,
    QTabWidget,
    QWidget,
)

from annot.errors import InputError
from annot.reads.signed_file import MEANING, parse_signed
from annot.tasks.measure import measure_read
from annot.tasks.package_folder import open_package
from annot.tasks.read import load_read
from annot.tasks.reads_collect import collect
from annot.tasks.reads_table import rows_now
from napari_annot.launch import sit_down
from napari_annot.seat_place import take_seat
from napari_annot.seating import CLOSED, DRAWN, NOT_READABLE, OPEN, SIGNED
from napari_annot.tools import CALIPER_TOOLS
from napari_annot.visible import SEATED
from tests.blinded_study import drawn, make_lab, write_read
from tests.shell.test_window import Window, sound_binding, window

__all__ = ["Window", "sound_binding", "window"]  # fixtures of the other file
pytestmark = pytest.mark.viewer
LEFT = Qt.MouseButton.LeftButton
LANDING = next(one for one in CALIPER_TOOLS if one.name == "landing_zone_width")
ENDS = ((200, 250), (200, 350))
HIDE = (
    "header, file_name, other_reads, size_rows, cross_section, scale_comparison, repeats, "
    "millimetres_while_drawing"
)


@pytest.fixture(scope="session")
def handed_out(tmp_path_factory):
    """Make a study of two echo planes once; reader A's package is copied for each test."""
    lab = make_lab(tmp_path_factory.mktemp("lab"), hide=HIDE)
    return lab, lab.package("A")


@pytest.fixture
def package(handed_out, tmp_path):
    return shutil.copytree(handed_out[1], tmp_path / "for-A")


@pytest.fixture
def seat(window, package):
    take_seat(window.dock, package, "A")
    window.bot.wait(50)
    window.focus()
    return window


def states(window):
    return [one.state for one in window.dock.seating.cases()]


def turn_to(window, at):
    view = window.dock.seat.list
    window.bot.mouseClick(view.viewport(), LEFT, pos=view.visualItemRect(view.item(at)).center())
    window.bot.wait(50)


def draw(window, ends=ENDS):
    """Take the header's scale and draw one width, all with the mouse."""
    dock = window.dock
    window.bot.mouseClick(dock.scale.make, LEFT)
    window.wait_for_scale()
    dock.calipers.tools[LANDING.name].click()
    window.drag(*ends)
    assert dock.status.text() == ""


def in_dialog(kind, act):
    """Do something in the next dialog of a kind, which holds the program until it closes."""

    def look():
        dialog = QApplication.activeModalWidget()
        if isinstance(dialog, kind):
            act(dialog)
        else:
            QTimer.singleShot(20, look)

    QTimer.singleShot(20, look)


def say_that_i_measured_this(box):
    (button,) = (one for one in box.buttons() if one.text().replace("&", "") == MEANING)
    QTest.mouseClick(button, LEFT)


def say(words):
    def act(dialog):
        dialog.setTextValue(words)
        dialog.accept()

    return act


def sign_by_mouse(window):
    in_dialog(QMessageBox, say_that_i_measured_this)
    window.bot.mouseClick(window.dock.seat.sign, LEFT)
    window.bot.wait(50)


def words_of(widget):
    """Yield every text of a widget that a person could read, tooltips too."""
    yield from (widget.toolTip(), widget.accessibleName(), widget.windowTitle())
    yield widget.statusTip()
    if isinstance(widget, QLabel | QAbstractButton | QLineEdit):
        yield widget.text()
    if isinstance(widget, QComboBox):
        yield from (widget.itemText(at) for at in range(widget.count()))
    if isinstance(widget, QTabWidget):
        yield from (widget.tabText(at) for at in range(widget.count()))
    if isinstance(widget, QListWidget):
        for at in range(widget.count()):
            yield from (widget.item(at).text(), widget.item(at).toolTip())


def all_words(window):
    root = window.dock.window()
    found = [word for one in (root, *root.findChildren(QWidget)) for word in words_of(one)]
    model = window.dock.table.model
    found += [
        str(model.data(model.index(row, column), role))
        for row in range(model.rowCount())
        for column in range(model.columnCount())
        for role in (Qt.ItemDataRole.DisplayRole, Qt.ItemDataRole.ToolTipRole)
    ]
    found += [window.dock.stage.caption.text, str(window.viewer.status)]
    found += [*window.labels(), *(one.name for one in window.viewer.layers)]
    return [one for one in found if one]


def test_the_seat_is_taken_by_the_packages_reader_only(window, package):
    with pytest.raises(InputError, match="not made for reader B"):
        take_seat(window.dock, package, "B")
    assert window.dock.seating is None
    asked = []

    def answer(dialog):
        asked.append(dialog.labelText())
        say("B" if len(asked) == 1 else "A")(dialog)
        if len(asked) == 1:
            in_dialog(QInputDialog, answer)

    in_dialog(QInputDialog, answer)
    assert sit_down(window.dock, package)
    assert "not made for reader B" in asked[1]
    assert states(window) == [OPEN] * 3, "two loops, one of them shown twice"


def test_nobody_sits_down_who_gives_no_name(window, package):
    in_dialog(QInputDialog, lambda dialog: dialog.reject())
    assert not sit_down(window.dock, package)
    assert window.desk.loops == {}


def test_one_case_at_a_time_and_its_read_is_saved_when_another_opens(seat, package):
    codes = [one.code for one in seat.dock.seating.cases()]
    draw(seat)
    assert states(seat) == [DRAWN, OPEN, OPEN]
    turn_to(seat, 1)
    assert [one.rsplit("/", 1)[-1] for one in seat.desk.loops] == [f"{codes[1]}.dcm"]
    assert states(seat) == [DRAWN, OPEN, OPEN]
    content = json.loads((package / f"{codes[0]}.read.json").read_text())
    assert len(content["loops"][0]["calipers"]) == 1
    assert seat.desk.state().rows == ()
    assert not list(package.glob("*.unsaved.json"))


def test_what_is_hidden_stands_nowhere_in_the_window(seat, package):
    listed = open_package(package).list
    draw(seat)
    seat.bot.waitUntil(lambda: not seat.dock.finder.busy, timeout=30000)
    seat.bot.wait(100)
    value = seat.desk.measured[seat.desk.read.loops[0].calipers[0].key].estimate.value
    header = seat.desk.loop.header
    never = [
        *(one.code for one in listed.presentations),
        *(one.file for one in listed.presentations),
        *(f"{value:.1f}", f"{value:.2f}"),
        *header.warnings,
        *(header.system, header.sop_instance_uid),
        *("E_n", "not in use", "Other scales", "95 %: "),
        str(package),
    ]
    shown = all_words(seat)
    seen = [(part, word) for part in never for word in shown if part in word]
    assert seen == []
    follows = seat.dock.sheet.follows
    parts = (follows.sections, follows.sizes, follows.chart, follows.save, follows.export)
    assert not any(one.isVisibleTo(seat.dock.sheet) for one in parts)
    assert not seat.dock.bench.isVisible()
    assert not seat.dock.loops.isVisible()
    assert not seat.dock.window().menuBar().isVisible()
    cell = seat.dock.sheet.cells["landing_zone_width", 0]
    assert cell.lines[0].startswith("✓ read")
    assert cell.cell.shares == ()
    assert "Landing zone" in seat.labels(), "its title alone"
    assert "Case 1" in seat.dock.stage.caption.text


def test_no_value_stands_beside_a_line_while_it_is_drawn(seat):
    seat.bot.mouseClick(seat.dock.scale.make, LEFT)
    seat.wait_for_scale()
    seat.dock.calipers.tools[LANDING.name].click()
    start, end = (seat.spot(one) for one in ENDS)
    seat.bot.mouseMove(seat.canvas, start)
    seat.bot.mousePress(seat.canvas, LEFT, pos=start)
    for step in range(1, 5):
        seat.bot.mouseMove(seat.canvas, start + (end - start) * (step / 4))
        seat.bot.wait(5)
    seat.bot.wait(400)  # the line rests, so that its number settles
    assert seat.desk.facts().drafted, "a number is there to be hidden"
    assert [one for one in all_words(seat) if " mm\n" in one or "95 %: " in one] == []
    assert LANDING.title in seat.labels()
    seat.bot.mouseRelease(seat.canvas, LEFT, pos=end)


def test_the_search_for_hidden_words_finds_them_where_nothing_is_hidden(window, echo):
    window.dock.open_paths([echo.path])
    draw(window)
    shown = all_words(window)
    value = window.desk.measured[window.desk.read.loops[0].calipers[0].key].estimate.value
    for part in (echo.path.name, f"{value:.1f}", "95 %: "):
        assert any(part in word for word in shown), part


def test_what_a_protocol_does_not_hide_is_shown(window, package):
    path = package / "package.json"
    content = json.loads(path.read_text())
    content["protocol"]["hide"] = []
    path.write_text(json.dumps(content))
    take_seat(window.dock, package, "A")
    window.focus()
    draw(window)
    value = window.desk.measured[window.desk.read.loops[0].calipers[0].key].estimate.value
    shown = all_words(window)
    for part in (f"{window.dock.seating.code}.dcm", f"{value:.1f}", "95 %: "):
        assert any(part in word for word in shown), part
    assert window.dock.bench.isVisible()
    assert window.dock.sheet.follows.chart.isVisibleTo(window.dock.sheet)


def test_a_case_signed_by_the_key_is_closed_and_opens_for_looking(seat, package):
    code = seat.dock.seating.code
    draw(seat)
    in_dialog(QMessageBox, say_that_i_measured_this)
    seat.bot.keyClick(seat.canvas, Qt.Key.Key_Return, Qt.KeyboardModifier.ControlModifier)
    seat.bot.waitUntil(lambda: states(seat)[0] == SIGNED, timeout=20000)
    signed = parse_signed((package / f"{code}.signed.json").read_text(), name="signed")
    assert (signed.reader, signed.meaning, signed.readable) == ("A", MEANING, True)
    before = (package / f"{code}.read.json").read_bytes()
    for _ in range(2):  # at once, and opened again
        read = seat.desk.read
        seat.dock.calipers.tools[LANDING.name].click()
        assert seat.desk.tool is None
        assert seat.dock.status.text().endswith(CLOSED)
        seat.drag(ENDS[1], (240, 350))
        seat.desk.undo()
        seat.dock.reading.plane.changed.emit(12.0)
        assert seat.desk.read == read
        assert not seat.dock.seat.sign.isEnabled()
        turn_to(seat, 1)
        turn_to(seat, 0)
    assert (package / f"{code}.read.json").read_bytes() == before
    assert seat.dock.may_close()


def test_a_return_too_many_signs_nothing(seat, package):
    draw(seat)
    in_dialog(QMessageBox, lambda box: QTest.keyClick(box, Qt.Key.Key_Return))
    seat.bot.mouseClick(seat.dock.seat.sign, LEFT)
    assert states(seat)[0] == DRAWN
    assert not list(package.glob("*.signed.json"))


def test_not_readable_needs_a_reason_and_is_an_answer(seat, package):
    code = seat.dock.seating.code
    for words, state in (("  ", OPEN), ("shadow over the ostium", NOT_READABLE)):
        in_dialog(QInputDialog, say(words))
        seat.bot.mouseClick(seat.dock.seat.unreadable, LEFT)
        assert states(seat)[0] == state
    signed = parse_signed((package / f"{code}.signed.json").read_text(), name="signed")
    assert (signed.readable, signed.reason) == (False, "shadow over the ostium")


def test_what_was_not_measured_is_not_signed(seat):
    sign_by_mouse(seat)
    assert states(seat) == [OPEN] * 3
    assert seat.dock.status.text().startswith("⚠ Case 1 holds no caliper"), "not by its file's name"


def test_other_loops_and_files_stay_out(seat, echo, tmp_path):
    dock, before = seat.dock, list(seat.desk.loops)
    for act in (
        lambda: dock.open_paths([echo.path]),
        lambda: dock.load_read(tmp_path / "read.json"),
        lambda: dock.save_read(tmp_path / "mine.json"),
        lambda: dock.export_table(tmp_path / "table.csv"),
        lambda: dock.state_protocol("closure-planning"),
        lambda: seat.viewer.open(str(echo.path), plugin="annot"),
    ):
        dock.desk.say("")
        act()
        seat.bot.wait(20)
        assert len(seat.viewer.layers) == 2, "the picture and the lines"
        assert dock.status.text() == f"⚠ {SEATED}"
        assert list(seat.desk.loops) == before
    assert not (tmp_path / "table.csv").exists()


def test_collected_numbers_are_those_of_measuring_the_package(seat, package, handed_out):
    for at, row in enumerate((200, 210, 220)):
        turn_to(seat, at)
        draw(seat, ((row, 240), (row, 350)))
        sign_by_mouse(seat)
    assert states(seat) == [SIGNED] * 3
    assert seat.dock.seat.title.text() == "Reader A: 3 of 3 cases answered"
    collect(handed_out[0].study(), package, by="lab")
    kept = {row["presentation"]: row["value"] for row in rows_now(handed_out[0].study())}
    for one in open_package(package).list.presentations:
        (entry,) = measure_read(load_read(package / one.read), package)
        assert kept[one.code] == pytest.approx(entry.measurement.estimate.value, rel=1e-9)


def test_unsaved_work_of_a_case_is_offered_again(window, package, monkeypatch):
    first = min(open_package(package).list.presentations, key=lambda one: one.order)
    kept = package / f"{first.code}.read.unsaved.json"
    path = write_read(package, first.code, drawn(first.code))
    shutil.copy(path, kept)
    content = json.loads(path.read_text())
    content["loops"][0]["calipers"] = []
    path.write_text(json.dumps(content))
    monkeypatch.setattr("napari_annot.dialogs.takes_up", lambda _parent, found: found == kept)
    take_seat(window.dock, package, "A")
    assert states(window)[0] == DRAWN
    turn_to(window, 1)
    assert len(load_read(path).loops[0].calipers) == 1
    assert not kept.exists()
