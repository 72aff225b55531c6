"""The real window: real Qt mouse events on a real canvas."""

import csv
import time
from importlib.resources import files
from pathlib import Path

import pytest
from napari.utils._proxies import PublicOnlyProxy
from qtpy.QtCore import QPoint, Qt
from qtpy.QtWidgets import QApplication, QFileDialog, QMessageBox

import napari_annot
from annot.tasks.export import write_table
from annot.tasks.measure import measure_read
from annot.tasks.read import load_read
from annot.vocabulary import CAUTION
from napari_annot.binding import binding_fault
from napari_annot.dock import READ_TAB, MeasureDock
from napari_annot.table_model import REPEAT, VALUE, WARNINGS
from napari_annot.tools import CALIPER_TOOLS, OBJECT_TOOLS

MANIFEST = str(files(napari_annot).joinpath("napari.yaml"))
pytestmark = pytest.mark.viewer
OSTIUM, LANDING, DEPTH, *_ = CALIPER_TOOLS


class Window:
    """A viewer with the dock, and a hand that points at places in the picture."""

    def __init__(self, viewer, qtbot):
        self.canvas = viewer.window._qt_viewer.canvas.native
        # as napari hands it to a plugin: public names only
        self.viewer, self.bot = PublicOnlyProxy(viewer), qtbot
        viewer = self.viewer
        viewer.window.resize(1440, 900)
        self.dock = MeasureDock(viewer)
        viewer.window.add_dock_widget(self.dock, name="Scale and calipers", area="right")
        self.desk = self.dock.desk
        qtbot.wait(200)  # the docks take their own sizes once they are shown

    def spot(self, place):
        """Return the canvas pixel of a place (row, column), from public numbers only."""
        height, width = self.viewer.canvas.size
        centre = self.viewer.scene.camera.center[-2:]
        zoom = self.viewer.scene.camera.zoom
        return QPoint(
            round(width / 2 + (place[1] - centre[1]) * zoom),
            round(height / 2 + (place[0] - centre[0]) * zoom),
        )

    def drag(self, start, end):
        one, other = self.spot(start), self.spot(end)
        left = Qt.MouseButton.LeftButton
        self.bot.mouseMove(self.canvas, one)
        self.bot.mousePress(self.canvas, left, pos=one)
        for step in range(1, 5):
            self.bot.mouseMove(self.canvas, one + (other - one) * (step / 4))
            self.bot.wait(5)
        self.bot.mouseRelease(self.canvas, left, pos=other)
        self.bot.wait(10)

    def click(self, place):
        self.bot.mouseMove(self.canvas, self.spot(place))
        self.bot.mouseClick(self.canvas, Qt.MouseButton.LeftButton, pos=self.spot(place))
        self.bot.wait(5)

    def focus(self):
        """Give the canvas the keyboard; without a window manager nobody else does."""
        self.canvas.window().activateWindow()
        self.canvas.setFocus()
        self.bot.waitUntil(lambda: QApplication.activeWindow() is not None)

    def wait_for_scale(self):
        self.bot.waitUntil(lambda: self.dock.desk.state().scale.state != "fitting", timeout=60000)

    def cell(self, row, column):
        model = self.dock.table.model
        return model.data(model.index(row, column))

    def labels(self):
        return [text for text in self.dock.stage.lines.layer.features["label"] if text]


@pytest.fixture(scope="session")
def sound_binding(qapp):
    """Fail with a sentence where the binding would take the whole test run down with it."""
    fault = binding_fault()
    if fault:
        pytest.fail(fault, pytrace=False)


@pytest.fixture
def window(sound_binding, make_napari_viewer, qtbot):
    made = Window(make_napari_viewer(show=True), qtbot)
    yield made
    made.dock.teardown()


@pytest.fixture
def on_xray(window, xray):
    window.dock.open_paths([xray.path])
    stand_still(window)
    return window


def stand_still(window):
    """Wait until the docks have their sizes, after which the picture stays where it is."""
    sizes = [None]
    while len(set(sizes[-3:])) > 1 or len(sizes) < 4:
        window.bot.wait(60)
        sizes.append(tuple(window.viewer.canvas.size))
        assert len(sizes) < 100, sizes[-5:]


def enter_catheter(window):
    scale = window.dock.scale
    scale.size_mm_or_fr.setText("2")
    scale.tolerance_mm.setText("0.03")
    scale.other_mm.setText("1,4")
    scale.apart.offset_mm.setText("10")


def measure_by_hand(window, truth):
    """Scale on the catheter and draw three calipers, all with the mouse."""
    dock = window.dock
    enter_catheter(window)
    dock.scale.trace.click()
    window.drag(*truth.objects[0].axis_px)
    window.wait_for_scale()
    for tool in (OSTIUM, LANDING, DEPTH):
        dock.calipers.tools[tool.name].click()
        window.drag(*truth.caliper(tool.name, 0).points_px)


def save_as_reader(dock, path):
    dock.reading.reader.setText("R7")
    dock.reading.reader.editingFinished.emit()
    dock.save_read(path)
    assert dock.status.text() == f"Saved {path.name}."


def test_values_stand_beside_the_lines_and_in_the_table(on_xray, xray):
    dock = on_xray.dock
    measure_by_hand(on_xray, xray.truth)
    assert "mm/px" in dock.headline.text()
    assert "95 % interval" in dock.scale.details.text()
    assert "catheter, fitted" in on_xray.labels()
    assert dock.table.model.rowCount() == 3
    for row, tool in enumerate((OSTIUM, LANDING)):
        measurement = dock.desk.measured[dock.table.model.key_at(row)]
        assert measurement.interval.holds(xray.truth.caliper(tool.name, 0).value_mm)
        value = on_xray.cell(row, VALUE).split("\n")[0]
        assert any(value in label for label in on_xray.labels()), "one value in both places"
    depth = dock.desk.measured[dock.table.model.key_at(2)]
    assert on_xray.cell(2, WARNINGS) == str(len(set(depth.warnings)))
    tip = dock.table.model.data(dock.table.model.index(2, WARNINGS), Qt.ItemDataRole.ToolTipRole)
    assert "Filling not stated" in tip
    assert "Tilt not stated" in tip


def test_the_whole_round(on_xray, xray, tmp_path):
    dock = on_xray.dock
    measure_by_hand(on_xray, xray.truth)
    cells = [on_xray.cell(row, VALUE) for row in range(3)]
    save_as_reader(dock, tmp_path / "read.json")
    for _ in range(3):
        dock.table.view.selectRow(0)
        dock.desk.go_to(dock.table.model.key_at(0))
        dock.calipers.delete.click()
    assert dock.table.model.rowCount() == 0
    dock.load_read(tmp_path / "read.json")
    on_xray.wait_for_scale()
    assert [on_xray.cell(row, VALUE) for row in range(3)] == cells
    dock.export_table(tmp_path / "table.csv")
    assert dock.status.text() == "Wrote 3 rows to table.csv."
    write_table(measure_read(load_read(tmp_path / "read.json"), tmp_path), tmp_path / "tasks.csv")
    assert (tmp_path / "table.csv").read_bytes() == (tmp_path / "tasks.csv").read_bytes()
    with (tmp_path / "table.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert [row["reader"] for row in rows] == ["R7"] * 3
    assert "tilt" in rows[2]["warnings"]


def test_the_screen_is_not_held_up_by_a_fit(on_xray, xray):
    enter_catheter(on_xray)
    on_xray.dock.desk.arm(OBJECT_TOOLS["catheter"])
    on_xray.drag(*xray.truth.objects[0].axis_px)
    began = time.monotonic()
    on_xray.dock.make_scale()
    assert time.monotonic() - began < 0.2, "asking returns at once; the fit runs elsewhere"
    on_xray.wait_for_scale()
    assert on_xray.dock.desk.state().scale.state == "made"


def test_the_camera_stays_while_a_caliper_is_drawn_and_moves_otherwise(on_xray):
    camera = on_xray.viewer.scene.camera
    before = tuple(camera.center)
    on_xray.dock.calipers.tools["ostium_width"].click()
    on_xray.drag((100, 100), (100, 200))
    assert tuple(camera.center) == before
    (caliper,) = on_xray.desk.calipers_on_show()
    assert caliper.points[0] == pytest.approx((100, 100), abs=0.5)
    assert caliper.points[1] == pytest.approx((100, 200), abs=0.5)
    on_xray.drag((300, 300), (330, 330))
    assert tuple(camera.center) != before


def test_two_clicks_draw_and_a_path_ends_with_return_or_a_double_click(on_xray, qtbot):
    desk, tools = on_xray.desk, on_xray.dock.calipers.tools
    tools["ostium_width"].click()
    on_xray.click((100, 100))
    on_xray.click((100, 220))
    assert len(desk.state().selected.points) == 2
    zoom = on_xray.viewer.scene.camera.zoom
    corners = ((150, 100), (200, 110), (240, 180))
    tools["bent_depth"].click()
    for place in corners:
        on_xray.click(place)
    qtbot.mouseDClick(on_xray.canvas, Qt.MouseButton.LeftButton, pos=on_xray.spot(corners[-1]))
    assert len(desk.state().selected.points) == 3
    assert on_xray.viewer.scene.camera.zoom == zoom
    tools["bent_depth"].click()
    for place in corners:
        on_xray.click((place[0] + 100, place[1]))
    on_xray.focus()
    qtbot.keyClick(on_xray.canvas, Qt.Key.Key_Return)
    assert len(desk.state().selected.points) == 3
    assert [row.repeat for row in desk.state().rows] == [1, 1, 2]


def test_a_scaled_picture_is_not_drawn_on(on_xray):
    on_xray.viewer.layers[0].scale = (1, 0.5, 0.5)
    on_xray.dock.calipers.tools["ostium_width"].click()
    on_xray.drag((30, 30), (30, 60))
    assert on_xray.desk.state().rows == ()
    assert "pixels" in on_xray.dock.status.text()


def test_keys_arm_undo_and_stop_from_the_canvas(on_xray, qtbot):
    on_xray.focus()
    control = Qt.KeyboardModifier.ControlModifier
    qtbot.keyClick(on_xray.canvas, Qt.Key.Key_2, control)
    assert on_xray.desk.tool == LANDING
    qtbot.keyClick(on_xray.canvas, Qt.Key.Key_Escape)
    assert on_xray.desk.tool is None
    qtbot.keyClick(on_xray.canvas, Qt.Key.Key_1, control)
    on_xray.drag((100, 100), (100, 200))
    assert len(on_xray.desk.state().rows) == 1
    qtbot.keyClick(on_xray.canvas, Qt.Key.Key_Z, control)
    assert on_xray.desk.state().rows == ()
    qtbot.keyClick(on_xray.canvas, Qt.Key.Key_Z, control | Qt.KeyboardModifier.ShiftModifier)
    assert len(on_xray.desk.state().rows) == 1


def test_delete_in_table_or_canvas_takes_the_caliper_out(on_xray, qtbot):
    on_xray.dock.calipers.tools["ostium_width"].click()
    on_xray.drag((100, 100), (100, 200))
    on_xray.dock.table.view.setFocus()
    qtbot.keyClick(on_xray.dock.table.view, Qt.Key.Key_Delete)
    assert on_xray.desk.state().rows == ()
    on_xray.desk.undo()
    on_xray.desk.select(on_xray.desk.state().rows[0].key)
    on_xray.focus()
    qtbot.keyClick(on_xray.canvas, Qt.Key.Key_Delete)
    assert on_xray.desk.state().rows == ()
    assert len(on_xray.viewer.layers) == 2, "no layer went with it"


def test_a_click_on_a_row_turns_to_loop_and_frame(on_xray, echo, qtbot):
    on_xray.viewer.dims.set_current_step(0, 4)
    on_xray.dock.calipers.tools["ostium_width"].click()
    on_xray.drag((100, 100), (100, 200))
    on_xray.dock.open_paths([echo.path])
    assert on_xray.desk.state().modality == "US"
    view = on_xray.dock.table.view
    spot = view.visualRect(view.model().index(0, 0)).center()
    qtbot.mouseClick(view.viewport(), Qt.MouseButton.LeftButton, pos=spot)
    assert on_xray.desk.state().modality == "XA"
    assert on_xray.viewer.dims.current_step[0] == 4
    assert "frame 4 (5)" in on_xray.cell(0, 0)


def test_the_repeat_is_changed_in_the_table(on_xray):
    on_xray.dock.calipers.tools["ostium_width"].click()
    on_xray.drag((100, 100), (100, 200))
    model = on_xray.dock.table.model
    assert model.setData(model.index(0, REPEAT), "3")
    assert on_xray.cell(0, REPEAT) == "3"
    assert not model.setData(model.index(0, REPEAT), "0")
    assert not model.setData(model.index(0, VALUE), "25")


def test_statements_reach_the_read(window, echo):
    window.dock.open_paths([echo.path])
    panel = window.dock.reading
    panel.plane.setText("45")
    panel.plane.editingFinished.emit()
    panel.rhythm.setEditText("flutter")
    panel.rhythm.lineEdit().editingFinished.emit()
    panel.loading.setCurrentIndex(panel.loading.findText("fasting"))
    panel.loading.activated.emit(1)
    (loop,) = window.desk.read.loops
    assert loop.view.plane_deg == 45
    assert (loop.conditions.loading, loop.conditions.rhythm) == ("fasting", "flutter")
    panel.plane.setText("270")
    panel.plane.editingFinished.emit()
    assert window.desk.read.loops[0].view.plane_deg == 45
    assert "0 to 179.9" in window.dock.status.text()


def test_conditions_are_not_stated_until_somebody_states_them(on_xray):
    panel = on_xray.dock.reading
    assert panel.loading.chosen == panel.rhythm.chosen == "not stated"


def test_refusals_are_one_sentence_in_the_dock(on_xray, tmp_path):
    dock = on_xray.dock
    dock.make_scale()
    assert "size" in dock.status.text()
    dock.save_read(tmp_path / "read.json")
    assert "who reads" in dock.status.text()
    (tmp_path / "no.dcm").write_bytes(b"no picture")
    dock.open_paths([tmp_path / "no.dcm"])
    assert "no.dcm" in dock.status.text()
    dock.load_read(tmp_path / "missing.json")
    assert "cannot be opened" in dock.status.text()
    dock.desk.state_reader("R7", "")
    dock.export_table(tmp_path / "t.csv")
    assert "no caliper" in dock.status.text()


def test_a_trace_on_nothing_is_refused_with_its_reason(on_xray):
    enter_catheter(on_xray)
    on_xray.dock.scale.trace.click()
    on_xray.drag((30, 400), (30, 440))
    on_xray.wait_for_scale()
    if on_xray.desk.state().scale.state == "refused":
        assert on_xray.dock.headline.text().startswith("No scale: ")
        assert on_xray.desk.state().loops[0].scale == "refused"
    else:
        pytest.fail("a scale came from a place without a catheter")


def test_the_caution_is_visible_in_the_dock(window):
    assert window.dock.caution.text() == CAUTION
    assert window.dock.caution.isVisible()
    assert window.dock.caution.visibleRegion().boundingRect().height() > 30


@pytest.mark.parametrize("theme", ["dark", "light"])
def test_the_dock_fits_the_window_in_both_themes(on_xray, theme):
    on_xray.viewer.theme = theme
    on_xray.bot.wait(50)
    dock = on_xray.dock
    for page in range(dock.tabs.count()):
        dock.tabs.setCurrentIndex(page)
        on_xray.bot.wait(20)
        assert dock.height() >= dock.minimumSizeHint().height()
        assert dock.width() <= 500
    on_xray.viewer.theme = "dark"


def test_the_wheel_changes_no_choice(on_xray, qtbot):
    from qtpy.QtCore import QPointF
    from qtpy.QtGui import QWheelEvent

    kind = on_xray.dock.scale.kind
    before = kind.chosen
    turn = QWheelEvent(
        QPointF(5, 5),
        QPointF(kind.mapToGlobal(QPoint(5, 5))),
        QPoint(0, -120),
        QPoint(0, -120),
        Qt.MouseButton.NoButton,
        Qt.KeyboardModifier.NoModifier,
        Qt.ScrollPhase.NoScrollPhase,
        False,
    )
    QApplication.sendEvent(kind, turn)
    assert kind.chosen == before


def test_files_come_from_the_dialogs(window, xray, tmp_path, monkeypatch):
    names = ([str(xray.path)], "")
    monkeypatch.setattr(QFileDialog, "getOpenFileNames", lambda *_, **__: names)
    window.dock.loops.open_file.click()
    assert window.desk.state().loops[0].name == "xa_clean.dcm"
    window.desk.state_reader("R7", "S01")
    target = (str(tmp_path / "read.json"), "")
    monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *_, **__: target)
    window.dock.reading.save.click()
    assert Path(target[0]).exists()
    monkeypatch.setattr(QFileDialog, "getOpenFileName", lambda *_, **__: target)
    window.dock.reading.load.click()
    assert window.dock.status.text() == "Loaded read.json."


def test_the_manifest_opens_the_dock_in_the_viewer(
    sound_binding, make_napari_viewer_proxy, qtbot, npe2pm
):
    viewer = make_napari_viewer_proxy(show=True)
    with npe2pm.tmp_plugin(manifest=MANIFEST):
        _, dock = viewer.window.add_plugin_dock_widget("annot", "Scale and calipers")
        viewer.open_sample("annot", "echo")
        qtbot.wait(50)
        assert dock.desk.state().modality == "US"
    dock.teardown()


def test_shown_lines_are_on_the_canvas_in_their_colour(on_xray):
    on_xray.dock.calipers.tools["ostium_width"].click()
    on_xray.drag((100, 100), (300, 300))
    on_xray.bot.wait(50)

    def orange():
        picture = on_xray.viewer.screenshot(canvas_only=True, flash=False).astype(int)
        red, green, blue = (picture[..., channel] for channel in range(3))
        return int(((red > 200) & (abs(green - 159) < 30) & (blue < 60)).sum())

    assert orange() > 200
    on_xray.viewer.dims.set_current_step(0, 3)
    on_xray.bot.wait(50)
    assert orange() == 0


def test_loading_over_unsaved_work_is_asked_first(on_xray, xray, tmp_path, monkeypatch):
    window, dock = on_xray, on_xray.dock
    dock.desk.state_reader("R7", "S01")
    dock.save_read(tmp_path / "empty.json")
    dock.calipers.tools["ostium_width"].click()
    window.drag((100, 100), (100, 200))
    assert dock.tabs.tabText(READ_TAB) == "Read (unsaved)"
    source = (str(tmp_path / "empty.json"), "")
    monkeypatch.setattr(QFileDialog, "getOpenFileName", lambda *_, **__: source)
    for answer, rows in ((QMessageBox.StandardButton.No, 1), (QMessageBox.StandardButton.Yes, 0)):
        monkeypatch.setattr(QMessageBox, "question", lambda *_, answer=answer: answer)
        dock.reading.load.click()
        assert dock.table.model.rowCount() == rows


def test_the_launcher_opens_the_loops_in_the_plugins_own_dock(
    sound_binding, make_napari_viewer, npe2pm, qtbot, xray, monkeypatch
):
    import napari

    from napari_annot import open_viewer

    seen = []

    def run():
        dock = viewer.window.dock_widgets["Scale and calipers (annot)"]
        seen.append([line.name for line in dock.desk.state().loops])
        again = viewer.window.add_plugin_dock_widget("annot", "Scale and calipers")[1]
        seen.append(again is dock)
        viewer.close()  # as a person does, who thereby ends the run

    with npe2pm.tmp_plugin(manifest=MANIFEST):
        viewer = make_napari_viewer(show=True)
        monkeypatch.setattr(napari, "Viewer", lambda **_: viewer)
        monkeypatch.setattr(napari, "run", run)
        open_viewer([xray.path])
    assert seen == [["xa_clean.dcm"], True]


def test_a_dock_taken_away_lets_go_of_the_viewer(on_xray, qtbot):
    raw = on_xray.viewer

    def ours():
        return [
            one for one in raw.mouse_drag_callbacks if one.__module__.startswith("napari_annot")
        ]

    assert len(ours()) == 2, "one draws, one turns the window"
    raw.window.remove_dock_widget("all")
    on_xray.dock.deleteLater()
    qtbot.waitUntil(lambda: not ours())
    raw.dims.set_current_step(0, 3)
    assert [layer.name for layer in raw.layers] == ["xa_clean.dcm"]
