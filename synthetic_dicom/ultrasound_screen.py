"""A whole ultrasound screen: sectors, depth ticks and the running electrocardiogram."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from synthetic_dicom.motion import electrocardiogram
from synthetic_dicom.scene import BeatingAnatomy
from synthetic_dicom.ultrasound_image import render_sector
from synthetic_dicom.ultrasound_view import Panel, Screen

_TRACE_COLOUR = (90, 220, 120)
_TICK_GREY = 150


def render_screen(screen: Screen, beating: BeatingAnatomy, *, seed: int) -> NDArray[np.uint8]:
    """Render a loop, shape (frames, rows, columns), with a last axis of 3 if in colour.

    Parameters
    ----------
    screen : Screen
        The layout.
    beating : BeatingAnatomy
        The appendage at the frames' times.
    seed : int
        Of the speckle.
    """
    frames = np.zeros((len(beating.times_ms), screen.rows, screen.columns), dtype=np.uint8)
    for panel in screen.panels:
        left, top, right, bottom = panel.region
        frames[:, top : bottom + 1, left : right + 1] = render_sector(
            panel, beating, seed=seed, implant=screen.implant
        )
        _draw_ticks(frames, panel)
    traced = _trace(screen, beating)
    if not screen.colour:
        return np.maximum(frames, np.where(traced, np.uint8(200), np.uint8(0)))
    coloured = np.repeat(frames[..., np.newaxis], 3, axis=3)
    coloured[traced] = _TRACE_COLOUR
    return coloured


def _draw_ticks(frames: NDArray[np.uint8], panel: Panel) -> None:
    """Mark every centimetre of depth at the region's right edge."""
    right = panel.region[2]
    for centimetre in range(int(panel.depth_mm // 10.0) + 1):
        row = round(panel.apex_px[0] + 10.0 * centimetre / panel.mm_per_px[0])
        length = 8 if centimetre % 5 == 0 else 4
        if row <= panel.region[3]:
            frames[:, row, right - length : right] = _TICK_GREY


def _trace(screen: Screen, beating: BeatingAnatomy) -> NDArray[np.bool_]:
    """Return where the electrocardiogram is drawn: up to the frame's own time."""
    left, top, right, bottom = screen.trace_region
    columns = np.arange(left, right + 1)
    times_ms = (columns - left) * screen.trace_s_per_px * 1000.0
    level = electrocardiogram(beating.motion, times_ms)
    height = bottom - top
    rows = np.rint(bottom - 0.28 * height - 0.62 * height * level).astype(int)
    before = np.concatenate([rows[:1], rows[:-1]])
    drawn = np.zeros((len(beating.times_ms), screen.rows, screen.columns), dtype=bool)
    for index, now_ms in enumerate(beating.times_ms):
        for column in np.flatnonzero(times_ms <= now_ms):
            low, high = sorted((rows[column], before[column]))
            drawn[index, low : high + 1, columns[column]] = True
    return drawn
