"""The newer parts in the real window: proposals, carrying, offers, other scales, closing."""

import pytest
from pydicom import dcmread
from pydicom.dataset import Dataset
from pydicom.sequence import Sequence
from qtpy.QtWidgets import QMessageBox

from napari_annot.autosave import autosave_of
from napari_annot.dock import READ_TAB
from tests.shell.test_window import (
    LANDING,
    OSTIUM,
    enter_catheter,
    measure_by_hand,
    on_xray,
    sound_binding,
    window,
)

__all__ = ["on_xray", "sound_binding", "window"]  # fixtures of the other file
pytestmark = pytest.mark.viewer
BUTTON = QMessageBox.StandardButton


def test_ends_are_proposed_shown_and_taken(on_xray, xray):
    dock, row = on_xray.dock, on_xray.dock.calipers.help
    measure_by_hand(on_xray, xray.truth)
    dock.desk.go_to("ostium_width-1")
    dock.turn_to(dock.calipers)
    assert row.propose.isVisible()
    row.propose.click()
    assert any("Proposed ends, not taken" in text for text in on_xray.labels())
    assert not row.propose.isVisible()
    assert row.accept.isVisible()
    row.accept.click()
    assert not any("Proposed" in text for text in on_xray.labels())
    assert any("refined, confirmed" in text for text in on_xray.labels())


def test_a_caliper_is_carried_in_a_thread_and_confirmed(on_xray, xray):
    dock, row = on_xray.dock, on_xray.dock.calipers.help
    dock.turn_to(dock.calipers)
    dock.calipers.tools[OSTIUM.name].click()
    on_xray.drag(*xray.truth.caliper("ostium_width", 0).points_px)
    row.carry.click()
    assert row.stop.isVisible(), "the window did not wait"
    on_xray.bot.waitUntil(lambda: dock.desk.state().unconfirmed > 0, timeout=20000)
    assert not row.stop.isVisible()
    count = dock.desk.state().unconfirmed
    assert count == dock.desk.loop.frames - 1
    assert row.confirm_all.text() == f"Confirm all {count}"
    assert any("not confirmed" in on_xray.cell(at, 0) for at in range(count + 1))
    row.confirm_all.click()
    assert dock.desk.state().unconfirmed == 0
    assert not row.confirm_all.isVisible()


def test_carrying_can_be_stopped(on_xray, xray):
    dock, row = on_xray.dock, on_xray.dock.calipers.help
    dock.turn_to(dock.calipers)
    dock.calipers.tools[OSTIUM.name].click()
    on_xray.drag(*xray.truth.caliper("ostium_width", 0).points_px)
    row.carry.click()
    row.stop.click()
    on_xray.bot.wait(300)
    assert dock.desk.state().unconfirmed == 0
    assert "stopped" in dock.status.text()


def test_beat_and_moment_are_stated_for_the_selected_caliper(on_xray, xray):
    dock = on_xray.dock
    dock.calipers.tools[LANDING.name].click()
    on_xray.drag(*xray.truth.caliper("landing_zone_width", 0).points_px)
    dock.calipers.beat.setText("2")
    dock.calipers.beat.editingFinished.emit()
    dock.calipers.moment.setCurrentIndex(1)
    dock.calipers.moment.activated.emit(1)
    (caliper,) = dock.desk.read.loops[0].calipers
    assert (caliper.beat, caliper.moment) == (2, "largest")
    dock.calipers.beat.setText("1.5")
    dock.calipers.beat.editingFinished.emit()
    assert "whole number" in dock.status.text()
    assert dock.desk.read.loops[0].calipers[0].beat == 2


def test_other_scales_stand_beside_the_one_in_use_with_their_verdict(on_xray, xray):
    enter_catheter(on_xray)
    on_xray.dock.scale.trace.click()
    on_xray.drag(*xray.truth.objects[0].axis_px)
    on_xray.wait_for_scale()
    text = on_xray.dock.scale.details.text()
    assert "Other scales of this loop" in text
    assert "E_n" in text
    assert "they agree within their uncertainties" in text


def test_what_the_header_names_is_filled_in_and_not_used(window, xray, tmp_path):
    dataset = dcmread(xray.path)
    device = Dataset()
    code = Dataset()
    code.CodeValue, code.CodingSchemeDesignator, code.CodeMeaning = "19923001", "SCT", "Catheter"
    device.update({"DeviceDiameter": "2.0", "DeviceDiameterUnits": "MM"})
    device.CodeValue, device.CodingSchemeDesignator = "19923001", "SCT"
    device.CodeMeaning = "Catheter"
    dataset.DeviceSequence = Sequence([device])
    dataset.save_as(tmp_path / "named.dcm")
    window.dock.open_paths([tmp_path / "named.dcm"])
    window.bot.wait(50)
    panel = window.dock.scale
    window.dock.turn_to(panel)
    assert panel.offers.isVisible()
    assert panel.offers.choice.currentText() == "catheter, 2 mm"
    assert panel.size_mm_or_fr.text() == ""
    panel.offers.use.click()
    assert panel.size_mm_or_fr.text() == "2"
    assert "check its size and trace it" in window.dock.status.text()
    assert window.dock.desk.state().scale.state == "none", "filled in, not used"


def test_a_protected_echo_scale_is_overruled_with_a_reason_only(window, echo, tmp_path):
    dataset = dcmread(echo.path)
    for region in dataset.SequenceOfUltrasoundRegions:
        region.RegionFlags = int(region.RegionFlags) | 2  # PS3.3 C.8.5.5.1.3, bit 1: protected
    dataset.save_as(tmp_path / "protected.dcm")
    window.dock.open_paths([tmp_path / "protected.dcm"])
    window.bot.wait(50)
    panel = window.dock.scale
    window.dock.turn_to(panel)
    panel.kind.setCurrentIndex(panel.kind.findData("given"))
    panel.mm_per_px.setText("0.3")
    panel.u_percent.setText("2")
    panel.make.click()
    assert "protects its ultrasound scale" in window.dock.headline.text()
    assert panel.overrule.isVisible()
    panel.overrule.setText("checked against the depth marks")
    panel.make.click()
    assert window.dock.headline.text().startswith("Scale 0.3000")


@pytest.fixture
def unsaved(on_xray):
    on_xray.dock.calipers.tools[OSTIUM.name].click()
    on_xray.drag((100, 100), (100, 200))
    assert on_xray.dock.desk.unsaved
    return on_xray


def answered(monkeypatch, button):
    asked = []
    monkeypatch.setattr(QMessageBox, "question", lambda *_, **__: asked.append(1) or button)
    return asked


def test_closing_over_unsaved_work_asks_and_may_be_stayed(unsaved, monkeypatch):
    asked = answered(monkeypatch, BUTTON.Cancel)
    host = unsaved.dock.window()
    host.close()
    assert asked == [1]
    assert host.isVisible()
    assert unsaved.dock.desk.unsaved


def test_closing_saves_where_a_person_says_so(unsaved, tmp_path, monkeypatch):
    dock = unsaved.dock
    answered(monkeypatch, BUTTON.Save)
    monkeypatch.setattr("napari_annot.dialogs.ask_new_read", lambda *_: tmp_path / "read.json")
    assert not dock.may_close(), "nobody is named as the reader, so nothing was saved"
    assert "State who reads" in dock.status.text()
    dock.desk.state_reader("A", "S")
    assert dock.may_close()
    assert (tmp_path / "read.json").exists()


def test_discarding_takes_the_kept_work_away(unsaved, monkeypatch):
    assert autosave_of(None).exists()
    answered(monkeypatch, BUTTON.Discard)
    assert unsaved.dock.may_close()
    assert not autosave_of(None).exists()


def test_kept_work_is_offered_when_its_read_is_loaded(unsaved, tmp_path, monkeypatch):
    dock, path = unsaved.dock, tmp_path / "read.json"
    dock.desk.state_reader("A", "S")
    dock.save_read(path)
    unsaved.dock.calipers.tools[OSTIUM.name].click()
    unsaved.drag((150, 100), (150, 200))
    kept = autosave_of(path).read_bytes()
    dock.desk.undo()
    autosave_of(path).write_bytes(kept)  # as a crash leaves it
    answered(monkeypatch, BUTTON.Yes)
    dock.load_read(path)
    assert dock.table.model.rowCount() == 2
    assert dock.tabs.tabText(READ_TAB) == "Read (unsaved)"
    assert dock.desk.read_file == path
