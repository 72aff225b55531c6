"""Tracked widths against rendered truth, frame by frame, in pixels."""

import math

import numpy as np
import pytest

from annot.geometry import PixelPoint
from annot.measurement.track import track_points
from synthetic_dicom import render_case

# Root mean square of the width in pixels; a width has two ends, so √2 times what placement.py
# allows an end, with room for chance.
ALLOWED = {"XA": 0.8, "US": 2.4}


@pytest.mark.parametrize("name", ["xa_clean", "xa_caudal", "us_000", "us_090"])
def test_a_landing_zone_drawn_once_is_followed_through_the_beats(name):
    quantity = "landing_zone_width"
    frames, truth = render_case(name, seed=1, frames=40)
    first = int(truth.image.get("first_filled_frame", 0))
    last = int(truth.image.get("last_filled_frame", 39))
    start = (first + last) // 2
    drawn = [PixelPoint(*point) for point in truth.caliper(quantity, start).points_px]
    track = track_points(frames, drawn, start, within=range(first, last + 1))
    assert len(track.frames) >= 0.8 * (last + 1 - first), track.lost
    seen = np.array([math.dist(*one.points) for one in track.frames])
    true = np.array(
        [math.dist(*truth.caliper(quantity, one.frame).points_px) for one in track.frames]
    )
    rms = float(np.sqrt(np.mean((seen - true) ** 2)))
    assert np.ptp(true) > 8.0  # it does beat
    assert rms < ALLOWED[truth.modality]
    assert np.corrcoef(seen, true)[0, 1] > 0.95
    assert abs(int(np.argmin(seen)) - int(np.argmin(true))) <= 2
