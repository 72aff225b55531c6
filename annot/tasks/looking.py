"""Windows to look through that a frame itself suggests; nothing is measured with them."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["WINDOW_NAMES", "NamedWindow", "frame_windows", "turned_window"]

# of the pixels between the two percentiles; own choice, no source
_PARTS = (
    ("this frame, 1 % to 99 %", 1.0, 99.0),
    ("dark parts of this frame", 1.0, 50.0),
    ("bright parts of this frame", 50.0, 99.0),
    ("this frame, darkest to brightest", 0.0, 100.0),
)
WINDOW_NAMES = tuple(name for name, _, _ in _PARTS)


@dataclass(frozen=True, slots=True, kw_only=True)
class NamedWindow:
    """The values that are black and white, and what such a window is called."""

    name: str
    low: float
    high: float


def frame_windows(frame: NDArray[Any]) -> tuple[NamedWindow, ...]:
    """Return windows that fit a grey frame, in values as the frame holds them."""
    levels = np.percentile(frame, [level for _, *pair in _PARTS for level in pair])
    return tuple(
        NamedWindow(name=name, low=float(low), high=float(max(high, low + 1.0)))
        for (name, _, _), low, high in zip(_PARTS, levels[::2], levels[1::2], strict=True)
    )


def turned_window(
    low: float, high: float, *, right_px: float, down_px: float
) -> tuple[float, float]:
    """Return a window after a drag: to the right it widens, downwards the picture gets darker.

    Parameters
    ----------
    low, high : float
        What was black and white when the drag began.
    right_px, down_px : float
        How far the pointer has gone, in pixels of the screen: 150 to the right widen the window
        by e, 300 downwards move it by its own width.
    """
    width = high - low
    centre = (low + high) / 2 + down_px * width / 300.0
    wider = max(width * float(np.exp(np.clip(right_px, -2000, 2000) / 150.0)), 1e-6)
    return centre - wider / 2, centre + wider / 2
