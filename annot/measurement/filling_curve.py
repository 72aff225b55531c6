"""How much contrast an X-ray loop shows from frame to frame, for suggesting where to look.

A suggestion only: it knows nothing of anatomy, and no number rests on it. The picture is cut into
blocks; where contrast arrives a block darkens (own method, no source).
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

BLOCK_PX = 8
# the part of the picture that darkens most is where the contrast runs
DARKEST_PART = 0.1
# a loop whose curve never falls to this part of its peak has no frame without contrast
CLEAR_PART = 0.5
# logarithm of intensity; less than this is motion and noise
LEAST_DARKENING = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class FillingCurve:
    """How dark the contrast makes the loop, frame by frame.

    Attributes
    ----------
    darkening
        Mean loss of the logarithm of intensity against each place's clearest moment, where the
        loop darkens most; one number per frame.
    best_frame
        Where it is largest; None where the loop does not show contrast come or go.
    reason
        Why no frame is suggested, empty if one is.
    """

    darkening: tuple[float, ...]
    best_frame: int | None
    reason: str = ""

    @property
    def shares(self) -> tuple[float, ...]:
        """The curve as parts of its peak, for drawing."""
        peak = max(self.darkening, default=0.0)
        return tuple(one / peak if peak > 0 else 0.0 for one in self.darkening)


def block_means(frame: NDArray[Any]) -> FloatArray:
    """Return the mean of every whole block of a grey frame, shape (rows // 8, columns // 8)."""
    rows, columns = (size // BLOCK_PX for size in frame.shape)
    cut = frame[: rows * BLOCK_PX, : columns * BLOCK_PX]
    # a frame narrower than a block is a block
    if not rows or not columns:
        return np.array([[float(np.mean(frame))]])
    blocks = cut.reshape(rows, BLOCK_PX, columns, BLOCK_PX)
    return np.asarray(blocks.mean(axis=(1, 3), dtype=float))


def filling_curve(darkness: Iterable[FloatArray]) -> FillingCurve:
    """Return the curve of a loop from the darkness of its blocks.

    Parameters
    ----------
    darkness : iterable of array, shape (block rows, block columns), one per frame
        Minus the logarithm of intensity.
    """
    stack = np.stack(list(darkness))
    calm = _median_of_three(stack)
    darker = calm - calm.min(axis=0)
    places = darker.reshape(len(stack), -1)
    count = max(1, round(DARKEST_PART * places.shape[1]))
    darkest = np.argsort(places.max(axis=0), kind="stable")[-count:]
    curve = places[:, darkest].mean(axis=1)
    peak, least = float(curve.max()), float(curve.min())
    reason = ""
    if peak < LEAST_DARKENING:
        reason = "the loop shows no contrast come or go"
    elif least > CLEAR_PART * peak:
        reason = "no frame of the loop is clear of contrast, so filling cannot be told from motion"
    return FillingCurve(
        darkening=tuple(float(one) for one in curve),
        best_frame=None if reason else int(np.argmax(curve)),
        reason=reason,
    )


def _median_of_three(stack: FloatArray) -> FloatArray:
    """Take single bad frames out; the first and the last frame stay as they are."""
    if len(stack) < 3:
        return stack
    middle = np.median(np.stack([stack[:-2], stack[1:-1], stack[2:]]), axis=0)
    return np.concatenate([stack[:1], middle, stack[-1:]])
