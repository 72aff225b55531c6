"""The sheet in the real window: cells are clicked, fill, and lead back to their frames."""

import pytest
from qtpy.QtCore import QPoint, Qt
from qtpy.QtWidgets import QApplication

from napari_annot.sheet_cell import NEXT
from tests.shell.test_window import (
    Window,
    enter_catheter,
    on_xray,
    sound_binding,
    window,
)

__all__ = ["Window", "on_xray", "sound_binding", "window"]  # fixtures of the other file
pytestmark = pytest.mark.viewer
LEFT = Qt.MouseButton.LeftButton
QUANTITIES = ("ostium_width", "landing_zone_width", "depth")


def press(window, cell):
    window.bot.mouseClick(cell, LEFT, pos=QPoint(cell.width() // 2, cell.height() // 4))


def two_clicks(window, points):
    for place in points:
        window.click(place)


def rested(window):
    dock = window.dock
    window.bot.waitUntil(lambda: not dock.finder.busy and dock.desk.findings_current, timeout=30000)


def test_a_click_arms_two_clicks_fill_and_the_next_cell_is_offered(on_xray, xray):
    dock = on_xray.dock
    cells = dock.sheet.cells
    assert set(cells) == {(name, 0) for name in QUANTITIES}
    assert cells["ostium_width", 0].lines[1] == NEXT
    press(on_xray, cells["depth", 0])
    assert dock.desk.tool.name == "depth"
    assert cells["depth", 0].lines[0] == "2 clicks …"
    two_clicks(on_xray, xray.truth.caliper("depth", 0).points_px)
    value, interval, word = cells["depth", 0].lines
    assert value.endswith("px")
    assert " to " in interval
    assert word == "⚠ no scale"
    assert cells["ostium_width", 0].lines[1] == NEXT


def test_the_key_takes_the_next_caliper_in_hand_from_the_canvas(on_xray, qtbot):
    on_xray.focus()
    qtbot.keyClick(on_xray.canvas, Qt.Key.Key_N)
    assert on_xray.desk.tool.name == "ostium_width"


def test_the_cell_follows_the_scale_and_says_what_its_variance_is_made_of(on_xray, xray):
    press(on_xray, on_xray.dock.sheet.cells["ostium_width", 0])
    two_clicks(on_xray, xray.truth.caliper("ostium_width", 0).points_px)
    enter_catheter(on_xray)
    on_xray.dock.scale.trace.click()
    on_xray.drag(*xray.truth.objects[0].axis_px)
    on_xray.wait_for_scale()
    cell = on_xray.dock.sheet.cells["ostium_width", 0]
    assert cell.cell.unit == "mm"
    assert cell.lines[2] == ""
    assert "placing the ends" in cell.toolTip()
    names = {name for name, _ in cell.cell.shares}
    assert "ends" in names
    assert on_xray.dock.sheet.legend.isVisibleTo(on_xray.dock.sheet)


def test_a_ring_reads_a_repeat_and_a_disc_leads_to_it(on_xray, xray, qtbot):
    cell = on_xray.dock.sheet.cells["ostium_width", 0]
    points = xray.truth.caliper("ostium_width", 0).points_px
    press(on_xray, cell)
    two_clicks(on_xray, points)
    for repeat, read in ((2, 2), (1, 2)):
        qtbot.mouseClick(cell, LEFT, pos=cell.mark_place(repeat).center())
        if repeat == 2:
            two_clicks(on_xray, points)
        assert sum(mark.read for mark in cell.cell.marks) == read
    assert on_xray.desk.selected == cell.cell.marks[0].key
    assert on_xray.desk.tool is None


def test_every_view_at_hand_is_a_column_and_its_head_shows_the_loop(on_xray, echo, qtbot):
    dock = on_xray.dock
    dock.open_paths([echo.path])
    dock.desk.state_plane(45)
    heads = dock.sheet.heads
    assert [one.text().split("\n")[-1] for one in heads] == ["45°", "RAO 25° CRA 15°"]
    qtbot.mouseClick(heads[1], LEFT)
    assert dock.desk.state().modality == "XA"
    press(on_xray, dock.sheet.cells["depth", 0])
    assert dock.desk.state().modality == "US"


def test_what_follows_is_worked_out_beside_the_screen(on_xray, xray, tmp_path):
    dock = on_xray.dock
    chart = tmp_path / "chart.csv"
    chart.write_text("label,nominal_mm,width_from_mm,width_to_mm\nM,24,18,22\nL,28,22,26\n")
    dock.attempt(lambda: dock.desk.set_chart(chart))
    enter_catheter(on_xray)
    dock.scale.trace.click()
    on_xray.drag(*xray.truth.objects[0].axis_px)
    on_xray.wait_for_scale()
    press(on_xray, dock.sheet.cells["landing_zone_width", 0])
    two_clicks(on_xray, xray.truth.caliper("landing_zone_width", 0).points_px)
    rested(on_xray)
    (section,) = dock.desk.findings.sections
    assert section.fit is None, "one view tells no ellipse"
    words = [label.text() for label in dock.sheet.follows.sections.findChildren(type(dock.status))]
    assert any("Landing zone width, X-ray" in one and "⚠" in one for one in words)
    words = [label.text() for label in dock.sheet.follows.sizes.findChildren(type(dock.status))]
    assert {"M", "L"} <= {one.removeprefix("⚠ ") for one in words}
    assert dock.sheet.follows.advice.text().startswith("No recommendation")


def test_the_table_is_searched_and_sorted_by_value(on_xray, xray):
    dock, view = on_xray.dock, on_xray.dock.table.view
    for name in QUANTITIES:
        press(on_xray, dock.sheet.cells[name, 0])
        two_clicks(on_xray, xray.truth.caliper(name, 0).points_px)
    shown = dock.table.shown
    dock.table.search.setText("landing")
    assert shown.rowCount() == 1
    assert "Landing" in shown.index(0, 0).data()
    dock.table.search.clear()
    view.sortByColumn(2, Qt.SortOrder.AscendingOrder)
    numbers = [float(shown.index(at, 2).data().split()[0]) for at in range(3)]
    assert numbers == sorted(numbers)
    first = view.visualRect(shown.index(0, 0)).center()
    on_xray.bot.mouseClick(view.viewport(), LEFT, pos=first)
    selected = dock.desk.state().selected.measurand.name
    assert selected == "landing_zone_width", "the smallest of the three"


def test_plots_are_drawn_in_the_panes_size_and_follow_the_theme(on_xray, xray):
    dock = on_xray.dock
    press(on_xray, dock.sheet.cells["ostium_width", 0])
    two_clicks(on_xray, xray.truth.caliper("ostium_width", 0).points_px)
    rested(on_xray)
    dock.bench.tabs.setCurrentIndex(2)
    pane = dock.bench.panes[1]
    for theme, light in (("dark", False), ("light", True)):
        on_xray.viewer.theme = theme
        on_xray.bot.waitUntil(lambda: not dock.plotter.busy, timeout=20000)
        on_xray.bot.wait(50)
        picture = pane.picture.pixmap()
        assert abs(picture.width() - pane.room.width()) <= 2
        assert (picture.toImage().pixelColor(1, 1).lightness() > 127) is light
    on_xray.viewer.theme = "dark"


@pytest.mark.parametrize("theme", ["dark", "light"])
def test_cells_show_their_words_in_a_colour_that_stands_out(on_xray, xray, theme):
    on_xray.viewer.theme = theme
    press(on_xray, on_xray.dock.sheet.cells["ostium_width", 0])
    two_clicks(on_xray, xray.truth.caliper("ostium_width", 0).points_px)
    QApplication.processEvents()
    picture = on_xray.dock.sheet.cells["ostium_width", 0].grab().toImage()
    greys = {
        picture.pixelColor(column, row).lightness()
        for row in range(6, 24)
        for column in range(picture.width() // 2, picture.width() - 6)
    }
    assert max(greys) - min(greys) > 110
    on_xray.viewer.theme = "dark"


def test_make_scale_is_not_cut_in_a_low_window(on_xray):
    dock = on_xray.dock
    on_xray.viewer.window.resize(1100, 640)
    dock.turn_to(dock.scale)
    on_xray.bot.wait(50)
    for button in (dock.scale.make, dock.scale.remove, dock.scale.trace):
        assert button.visibleRegion().boundingRect().size() == button.size()
