"""Windows that a frame suggests, and what a drag does to one."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from annot.tasks.looking import WINDOW_NAMES, frame_windows, turned_window


def test_windows_are_percentiles_of_the_frame():
    frame = np.arange(10_000).reshape(100, 100)
    windows = {one.name: (one.low, one.high) for one in frame_windows(frame)}
    assert tuple(windows) == WINDOW_NAMES
    assert windows["this frame, 1 % to 99 %"] == pytest.approx((100, 9899), abs=1)
    assert windows["dark parts of this frame"] == pytest.approx((100, 5000), abs=1)
    assert windows["this frame, darkest to brightest"] == (0, 9999)


def test_a_flat_frame_still_has_windows_with_two_ends():
    assert all(one.high > one.low for one in frame_windows(np.full((20, 20), 7)))


@given(
    low=st.floats(-1e4, 1e4),
    width=st.floats(1, 1e4),
    right=st.floats(-5000, 5000),
    down=st.floats(-5000, 5000),
)
def test_a_drag_always_leaves_a_window(low, width, right, down):
    turned = turned_window(low, low + width, right_px=right, down_px=down)
    assert turned[1] > turned[0]


def test_right_widens_and_down_moves_the_window_up_which_darkens():
    assert turned_window(100, 200, right_px=0, down_px=0) == (100, 200)
    low, high = turned_window(100, 200, right_px=150, down_px=0)
    assert (high - low) == pytest.approx(100 * np.e)
    assert (low + high) / 2 == pytest.approx(150)
    assert turned_window(100, 200, right_px=0, down_px=300) == pytest.approx((200, 300))
