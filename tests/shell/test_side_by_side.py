"""Two loops beside one another in the real window, linked by R wave or by time."""

import numpy as np
import pytest
from pydicom import dcmread
from qtpy.QtCore import QPoint, Qt

from annot.geometry import PixelPoint
from annot.tasks.playback import linked_frame
from napari_annot.frame_view import FrameView, image_of
from synthetic_dicom import write_case
from tests.shell.test_window import OSTIUM, on_xray, sound_binding, window

__all__ = ["on_xray", "sound_binding", "window"]  # fixtures of the other file
pytestmark = pytest.mark.viewer
KEY = Qt.Key


@pytest.fixture(scope="module")
def pair(tmp_path_factory):
    """Write two echo loops of different length, heart rate and pixel size."""
    folder = tmp_path_factory.mktemp("pair")
    one = write_case("us_045", folder, frames=40).path
    other = write_case("us_090", folder, frames=50).path
    for path, waves in ((one, [100.0, 1000.0]), (other, [200.0, 800.0, 1400.0])):
        dataset = dcmread(path)
        dataset.RWaveTimeVector = waves
        dataset.save_as(path)
    return one, other


@pytest.fixture
def beside(window, pair):
    window.dock.open_paths([*pair])
    window.desk.show(next(iter(window.desk.loops)))
    press(window, KEY.Key_C)
    window.bot.wait(80)
    return window


def press(window, key):
    window.focus()
    window.bot.keyClick(window.canvas, key)


def side_of(window):
    return window.dock.parts.side.dock


def test_the_second_loop_shows_the_same_part_of_the_beat(beside):
    side, desk = side_of(beside), beside.desk
    assert side.isVisible()
    one, other = (desk.loops[file].header for file in desk.loops)
    for frame in (3, 10, 20, 29):
        beside.viewer.dims.set_current_step(0, frame)
        assert side.second.frame == linked_frame(one, frame, other).frame
    beside.viewer.dims.set_current_step(0, 17)  # 566.7 ms: 51.85 % of the beat of 900 ms
    assert "by R wave, 52 % of the beat" in side.words.text()
    assert side.second.frame == round((200 + 0.51852 * 600) / (1000 / 30))


def test_linked_by_time_on_request(beside):
    press(beside, KEY.Key_T)
    beside.viewer.dims.set_current_step(0, 21)
    assert side_of(beside).second.frame == 21
    assert side_of(beside).words.text() == "Linked by time"


def test_play_carries_the_second_loop_along(beside):
    side, seen = side_of(beside), set()
    beside.desk.changed.connect(lambda: seen.add((beside.desk.frame, side.second.frame)))
    press(beside, KEY.Key_Space)
    beside.bot.wait(1500)
    press(beside, KEY.Key_Space)
    assert len(seen) > 3
    one, other = (beside.desk.loops[file].header for file in beside.desk.loops)
    assert all(linked_frame(one, frame, other).frame == second for frame, second in seen)


def test_each_loop_has_its_own_scale_and_calipers(beside):
    desk = beside.desk
    first, second = desk.loops
    panel = beside.dock.scale
    press(beside, KEY.Key_T)  # by time, so that first frame stands beside first frame
    for file, mm in ((first, "0.2"), (second, "0.3")):
        desk.show(file)
        panel.kind.setCurrentIndex(panel.kind.findData("given"))
        panel.mm_per_px.setText(mm)
        panel.u_percent.setText("2")
        panel.overrule.setText("for the test")
        panel.make.click()
        beside.dock.calipers.tools[OSTIUM.name].click()
        beside.drag((100, 200), (100, 300))
    desk.show(first)
    beside.bot.wait(30)
    facts = side_of(beside).second
    assert "0.3 mm/px" in facts.caption
    assert "0.2 mm/px" in beside.dock.stage.caption.text
    (label,) = [line.label for line in facts.lines if line.label]
    assert "Ostium  30" in label
    assert any("Ostium  20" in label for label in beside.labels())


def test_a_double_click_changes_the_two_over_and_drawing_goes_on_there(beside):
    side, desk = side_of(beside), beside.desk
    first, second = desk.loops
    beside.viewer.dims.set_current_step(0, 17)
    there = side.second.frame
    spot = side.view.rect().center()
    beside.bot.mouseDClick(side.view, Qt.MouseButton.LeftButton, pos=spot)
    assert (desk.shown, desk.frame) == (second, there)
    assert side.second.file == first
    beside.dock.calipers.tools[OSTIUM.name].click()
    beside.drag((100, 200), (100, 300))
    drawn = {one.file: len(one.calipers) for one in desk.read.loops}
    assert drawn == {first: 0, second: 1}
    press(beside, KEY.Key_X)
    assert desk.shown == first
    labels = [line.label for line in side.second.lines if line.label]
    assert len(labels) == 1, "its caliper is seen beside"


def test_it_hides_and_comes_back_also_after_it_was_closed(beside):
    side = side_of(beside)
    press(beside, KEY.Key_C)
    assert not side.isVisible()
    press(beside, KEY.Key_C)
    assert side.isVisible()
    beside.viewer.window.remove_dock_widget(side)  # as the cross on its frame does
    press(beside, KEY.Key_C)
    beside.bot.wait(30)
    assert side.isVisible()
    assert side.second is not None


def test_alone_there_is_nothing_to_set_beside(on_xray):
    press(on_xray, KEY.Key_C)
    assert on_xray.dock.parts.side.dock is None
    assert "second loop first" in on_xray.dock.status.text()


def test_without_r_waves_time_links_and_it_says_so(beside, xray):
    beside.dock.open_paths([xray.path])
    beside.bot.wait(50)
    assert "no R waves" in side_of(beside).words.text()


def test_the_painted_frame_is_the_frame_and_lines_lie_on_it(qtbot, beside):
    desk, side = beside.desk, side_of(beside)
    frame = desk.loops[side.second.file].frame(side.second.frame)
    image = image_of(frame)
    assert (image.height(), image.width()) == frame.shape[:2]
    for row, column in ((0, 0), (200, 300), (frame.shape[0] - 1, frame.shape[1] - 1)):
        colour = image.pixelColor(column, row)
        assert (colour.red(), colour.green(), colour.blue()) == tuple(frame[row, column])
    view: FrameView = side.view
    box, columns = view.frame_box(), frame.shape[1]
    assert box.width() / columns == pytest.approx(box.height() / frame.shape[0])
    # a caliper's place on screen: a pixel's centre lies at a whole number
    scale = box.width() / columns
    desk.show(side.second.file)
    beside.dock.calipers.tools[OSTIUM.name].click()
    beside.drag((120, 200), (120, 400))
    desk.show(next(iter(desk.loops)))
    beside.viewer.dims.set_current_step(0, 0)
    (caliper,) = next(one for one in desk.read.loops if one.file == side.second.file).calipers
    press(beside, KEY.Key_T)  # by time: both loops have one frame time
    beside.viewer.dims.set_current_step(0, caliper.frame.frame)
    beside.bot.wait(30)
    assert side.second.frame == caliper.frame.frame
    shot = view.grab().toImage()
    middle = PixelPoint(120, 300)
    spot = QPoint(
        round(box.left() + (middle.column + 0.5) * scale),
        round(box.top() + (middle.row + 0.5) * scale),
    )
    near = [shot.pixelColor(spot.x(), spot.y() + off) for off in (-1, 0, 1)]
    assert any(one.red() > 200 and 130 < one.green() < 190 and one.blue() < 60 for one in near)


def test_grey_frames_are_drawn_too():
    frame = np.arange(6, dtype=np.uint8).reshape(2, 3) * 40
    image = image_of(frame)
    assert [image.pixelColor(column, 1).red() for column in range(3)] == [120, 160, 200]
