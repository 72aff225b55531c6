"""Nothing is held on to: not the viewer, not a loop that another read has put away."""

import gc
import json
import os
import weakref
from pathlib import Path

import pytest
from qtpy.QtCore import QCoreApplication, QEvent
from qtpy.QtWidgets import QApplication

from annot.tasks.open import Loop
from napari_annot.dock import MeasureDock
from napari_annot.picture_layer import PictureArray
from napari_annot.tools import CALIPER_TOOLS
from synthetic_dicom import write_case
from tests.shell.test_window import MANIFEST, on_xray, sound_binding, window

__all__ = ["on_xray", "sound_binding", "window"]  # fixtures of the other file
pytestmark = pytest.mark.viewer
LOOPS, WARM = 50, 10


def settle(bot):
    bot.wait(60)
    QCoreApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete.value)
    bot.wait(20)
    for _ in range(3):
        gc.collect()


def living(kind):
    gc.collect()
    return sum(isinstance(one, kind) for one in gc.get_objects())


def opened_and_closed(make_viewer, bot, path, first):
    """Work a little in a window and close it; a frame of its own, whose names go with it."""
    viewer = make_viewer(show=True)
    dock = MeasureDock(viewer)
    viewer.window.add_dock_widget(dock, name="Scale and calipers", area="right")
    dock.open_paths([path])
    dock.parts.play.playback.play_or_pause()
    bot.wait(150)
    held = [weakref.ref(one) for one in (viewer, viewer.window._qt_viewer, dock, dock.desk)]
    if first == "dock":
        dock.teardown()
        settle(bot)
        viewer.close()
    else:
        viewer.close()
        settle(bot)
        dock.teardown()
    dock.autosave.drop()
    return held


@pytest.mark.parametrize("first", ["dock", "window"])
def test_viewer_and_dock_are_let_go_whichever_goes_first(
    sound_binding, make_napari_viewer, qtbot, xray, first
):
    held = opened_and_closed(make_napari_viewer, qtbot, xray.path, first)
    settle(qtbot)
    assert [type(one()).__name__ for one in held if one() is not None] == []


@pytest.fixture(scope="module")
def many_reads(tmp_path_factory):
    """Write 50 copies of a small loop, each under its own name with its own read."""
    folder = tmp_path_factory.mktemp("many")
    content = write_case("xa_clean", folder, frames=3).path.read_bytes()
    reads = []
    for number in range(LOOPS):
        (folder / f"loop{number:02}.dcm").write_bytes(content)
        read = folder / f"read{number:02}.json"
        caliper = {"id": "o1", "quantity": "ostium_width", "frame": 1}
        caliper["points_px"] = [[140, 268], [293, 284]]
        loop = {"file": f"loop{number:02}.dcm", "calipers": [caliper]}
        content_of_read = {"annot_read": 1, "reader": "A", "loops": [loop]}
        read.write_text(json.dumps(content_of_read), encoding="utf-8")
        reads.append(read)
    return reads


def resident_mb():
    pages = int(Path("/proc/self/statm").read_text(encoding="utf-8").split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 2**20


@pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="counts memory as Linux does")
def test_fifty_loops_are_opened_and_put_away_without_growth(window, many_reads):
    dock, before = window.dock, None
    for number, read in enumerate(many_reads):
        dock.load_read(read)
        window.bot.wait(15)
        assert dock.desk.state().loops[0].name == f"loop{number:02}.dcm"
        assert dock.table.model.rowCount() == 1
        if number == WARM:
            before = (resident_mb(), living(Loop), living(PictureArray))
    settle(window.bot)
    after = (resident_mb(), living(Loop), living(PictureArray))
    assert after[1] <= before[1] + 1
    assert after[2] <= before[2] + 1
    # a loop of three frames decoded holds 1.5 MB: 40 of them kept would be 60
    assert after[0] - before[0] < 30
    assert [layer.name for layer in window.viewer.layers] == ["loop49.dcm", "Calipers"]


def test_the_plugin_opened_twice_is_the_same_dock(
    sound_binding, make_napari_viewer_proxy, npe2pm, qtbot, xray
):
    viewer = make_napari_viewer_proxy(show=True)
    with npe2pm.tmp_plugin(manifest=MANIFEST):
        _, dock = viewer.window.add_plugin_dock_widget("annot", "Scale and calipers")
        dock.open_paths([xray.path])
        _, again = viewer.window.add_plugin_dock_widget("annot", "Scale and calipers")
        assert again is dock
        assert len([one for one in QApplication.allWidgets() if isinstance(one, MeasureDock)]) == 1
    dock.teardown()


def test_a_dock_closed_and_opened_again_works_on_and_leaves_no_second_hand(on_xray, qtbot):
    window, viewer = on_xray, on_xray.viewer
    drags = len(viewer.mouse_drag_callbacks)
    window.dock.calipers.tools[CALIPER_TOOLS[0].name].click()
    window.drag((100, 100), (100, 200))
    viewer.window.remove_dock_widget(window.dock)  # as the cross on its frame does
    window.dock.autosave.drop()
    window.dock.teardown()
    settle(qtbot)
    assert len(viewer.mouse_drag_callbacks) < drags
    dock = MeasureDock(viewer)
    viewer.window.add_dock_widget(dock, name="Scale and calipers", area="right")
    qtbot.wait(50)
    assert len(viewer.mouse_drag_callbacks) == drags
    assert dock.desk.state().loops[0].name == "xa_clean.dcm", "the loop in the viewer is taken up"
    window.dock, window.desk = dock, dock.desk
    dock.calipers.tools[CALIPER_TOOLS[0].name].click()
    window.drag((120, 100), (120, 200))
    assert len(dock.desk.state().rows) == 1
    names = list(viewer.window.dock_widgets)
    assert names.count("Playback") == 1


def test_a_picture_taken_away_on_a_later_frame_does_not_come_back(on_xray):
    on_xray.viewer.dims.set_current_step(0, 4)
    on_xray.viewer.layers.clear()
    on_xray.bot.wait(30)
    assert list(on_xray.viewer.layers) == []
    assert on_xray.desk.shown is None
