"""Playback in the real window: by keys, by buttons, by the strip; time is the file's own."""

import time
from itertools import pairwise

import numpy as np
import pytest
from qtpy.QtCore import QPoint, Qt

from napari_annot.strip import place_words
from tests.shell.test_window import OSTIUM, on_xray, sound_binding, window

__all__ = ["on_xray", "sound_binding", "window"]  # fixtures of the other file
pytestmark = pytest.mark.viewer
KEY = Qt.Key


@pytest.fixture
def long_echo(tmp_path_factory):
    from synthetic_dicom import write_case

    return write_case("us_045", tmp_path_factory.mktemp("echo"), frames=45)


@pytest.fixture
def on_echo(window, long_echo):
    window.dock.open_paths([long_echo.path])
    window.bot.wait(50)
    return window


def press(window, key, modifiers=Qt.KeyboardModifier.NoModifier):
    window.focus()
    window.bot.keyClick(window.canvas, key, modifiers)


def frames_shown(window, seconds):
    """Play and log when which frame came on."""
    log = []
    window.viewer.dims.events.current_step.connect(
        lambda: log.append((time.perf_counter() * 1000, int(window.viewer.dims.current_step[0])))
    )
    window.bot.wait(round(1000 * seconds))
    return log


def pace(log, times):
    """Return stored time gone by per time gone by, by least squares over the frames shown.

    A few seconds on a busy machine tell this to some hundredths; the bench plays for longer.
    """
    at, lap, stored = [], 0.0, []
    for (_, before), (now, frame) in pairwise(log):
        lap += times.duration_ms if frame < before else 0.0
        at.append(now)
        stored.append(lap + times.starts_ms[frame])
    return float(np.polyfit(at, stored, 1)[0])


def test_the_space_bar_plays_at_the_stored_pace_and_pauses(on_echo):
    player = on_echo.dock.parts.play.playback.player
    press(on_echo, KEY.Key_Space)
    assert player.playing
    log = frames_shown(on_echo, 4.0)
    assert pace(log, player.times) == pytest.approx(1.0, abs=0.05)
    assert "30 frames/s stored" in on_echo.dock.parts.play.rate.text()
    assert "shows" in on_echo.dock.parts.play.rate.text()
    press(on_echo, KEY.Key_Space)
    assert not player.playing
    shown = on_echo.desk.frame
    on_echo.bot.wait(150)
    assert on_echo.desk.frame == shown
    assert f"frame {shown}" in on_echo.dock.stage.caption.text, "the caption counts again"


def test_half_speed_takes_twice_as_long(on_echo):
    player = on_echo.dock.parts.play.playback.player
    press(on_echo, KEY.Key_BracketLeft)
    assert on_echo.dock.parts.play.speed.text() == "× 0.5"
    on_echo.dock.parts.play.buttons["play"].click()
    log = frames_shown(on_echo, 3.0)
    assert pace(log, player.times) == pytest.approx(0.5, abs=0.05)
    press(on_echo, KEY.Key_BracketRight)
    assert player.speed == 1.0


def test_steps_and_r_waves_by_key(on_echo, long_echo):
    waves = long_echo.truth.r_wave_times_ms
    assert waves
    press(on_echo, KEY.Key_Period)
    assert on_echo.desk.frame == 1
    press(on_echo, KEY.Key_Comma)
    press(on_echo, KEY.Key_Comma)
    assert on_echo.desk.frame == 44, "round the end"
    press(on_echo, KEY.Key_R)
    nearest = int(np.argmin(np.abs(np.array(long_echo.truth.frame_times_ms) - waves[0])))
    assert on_echo.desk.frame == nearest
    press(on_echo, KEY.Key_R, Qt.KeyboardModifier.ShiftModifier)
    last = int(np.argmin(np.abs(np.array(long_echo.truth.frame_times_ms) - waves[-1])))
    assert on_echo.desk.frame == last


def test_one_beat_is_played_round(on_echo, long_echo):
    play = on_echo.dock.parts.play
    press(on_echo, KEY.Key_R)
    first = on_echo.desk.frame
    press(on_echo, KEY.Key_B)
    assert play.buttons["one_beat"].isChecked()
    press(on_echo, KEY.Key_Space)
    seen = {frame for _, frame in frames_shown(on_echo, 2.0)}
    times, waves = long_echo.truth.frame_times_ms, long_echo.truth.r_wave_times_ms
    later = [wave for wave in waves if wave > waves[0]]
    last = max(frame for frame, at in enumerate(times) if not later or at < later[0])
    assert min(seen) >= first - 1
    assert max(seen) <= last
    press(on_echo, KEY.Key_B)
    assert not play.buttons["one_beat"].isChecked()


def test_drawing_stops_play_and_the_line_stays_on_its_frame(on_xray):
    play = on_xray.dock.parts.play
    play.buttons["play"].click()
    on_xray.bot.wait(200)
    on_xray.dock.calipers.tools[OSTIUM.name].click()
    assert not play.playback.player.playing
    on_xray.drag((100, 100), (100, 200))
    (row,) = on_xray.desk.state().rows
    assert row.frame == on_xray.desk.frame


def test_the_slider_takes_over_while_playing(on_echo):
    play = on_echo.dock.parts.play.playback
    play.play_or_pause()
    on_echo.bot.wait(100)
    on_echo.viewer.dims.set_current_step(0, 40)
    on_echo.bot.wait(60)
    assert play.player.playing
    assert on_echo.desk.frame in {40, 41, 42, 43, 44, 0, 1, 2}


def test_a_click_on_the_strip_goes_there_and_on_a_letter_to_its_caliper(on_xray):
    strip, dock = on_xray.dock.parts.play.strip, on_xray.dock
    dock.calipers.tools[OSTIUM.name].click()
    on_xray.drag((100, 100), (100, 200))
    facts = strip._strip
    spot = QPoint(round(strip.x_of(facts.share_of(4))), 3)
    on_xray.bot.mouseClick(strip, Qt.MouseButton.LeftButton, pos=spot)
    assert on_xray.desk.frame == 4
    dock.desk.select(None)
    ((mark, box),) = strip._marks(strip._strip)
    assert mark.letter == "O"
    on_xray.bot.mouseClick(strip, Qt.MouseButton.LeftButton, pos=box.center().toPoint())
    assert on_xray.desk.frame == 0
    assert dock.desk.selected == mark.key
    assert "Ostium" in place_words(strip._strip, 0)
    assert "0 ms" in place_words(strip._strip, 0)


def test_the_largest_width_is_found(on_xray):
    for frame, length in ((0, 60), (2, 110), (4, 80)):
        on_xray.viewer.dims.set_current_step(0, frame)
        on_xray.dock.calipers.tools[OSTIUM.name].click()
        on_xray.drag((100, 100), (100, 100 + length))
    press(on_xray, KEY.Key_M)
    assert on_xray.desk.frame == 2


def test_the_best_filled_frame_is_a_suggestion(window, tmp_path):
    from synthetic_dicom import write_case

    written = write_case("xa_clean", tmp_path, frames=20)
    window.dock.open_paths([written.path])
    play = window.dock.parts.play
    assert not play.buttons["best_filled"].isEnabled()
    window.bot.waitUntil(lambda: play.finder.curve is not None, timeout=10000)
    press(window, KEY.Key_F)
    image = written.truth.image
    assert image["first_filled_frame"] <= window.desk.frame <= image["last_filled_frame"]
    assert "Suggested as best filled" in window.dock.status.text()
    assert "look" in window.dock.status.text()
    assert window.desk.read.loops[0].calipers == (), "nothing was measured by it"


def test_a_loop_that_shows_no_filling_says_why(on_xray):
    play = on_xray.dock.parts.play
    on_xray.bot.waitUntil(lambda: play.finder.curve is not None, timeout=10000)
    press(on_xray, KEY.Key_F)
    assert "No frame is suggested" in on_xray.dock.status.text()


def test_playback_goes_with_the_dock(on_xray):
    names = set(on_xray.viewer.window.dock_widgets)
    assert "Playback" in names
    on_xray.dock.parts.play.buttons["play"].click()
    on_xray.dock.teardown()
    on_xray.bot.waitUntil(lambda: "Playback" not in on_xray.viewer.window.dock_widgets)
    frame = on_xray.viewer.dims.current_step[0]
    on_xray.bot.wait(200)
    assert on_xray.viewer.dims.current_step[0] == frame
