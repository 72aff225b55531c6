"""Mask subtraction as a file states it: for looking only, measurements stay on stored pixels.

Source: PS3.3 C.7.6.10 (Mask module). Frame numbers there count from 1, here from 0.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from annot.errors import LoopError
from annot.loops.pixel_layout import PixelArray

AVERAGE, TIME_INTERVAL = "AVG_SUB", "TID"
Difference = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class MaskOperation:
    """One item of the mask sequence.

    Attributes
    ----------
    operation
        ``AVG_SUB``: the mean of `mask_frames` is subtracted. ``TID``: the frame `offset` before.
    ranges
        First and last frame it holds for, both included; empty means all.
    mask_frames
        Frames of the mask.
    contrast_frames
        How many frames, from the one shown on, are averaged before.
    shift_px
        How far the mask is moved before it is subtracted, as stored: (down, to the left).
    offset
        How many frames before, for ``TID``.
    """

    operation: str
    ranges: tuple[tuple[int, int], ...] = ()
    mask_frames: tuple[int, ...] = ()
    contrast_frames: int = 1
    shift_px: tuple[float, float] = (0.0, 0.0)
    offset: int = 1

    def applies_to(self, frame: int) -> bool:
        """Tell whether it holds for a frame."""
        return not self.ranges or any(first <= frame <= last for first, last in self.ranges)

    def serves(self, frame: int, *, frames: int) -> bool:
        """Tell whether a frame of a loop of so many `frames` can be shown with it."""
        masks = self._masks_of(frame)
        return self.applies_to(frame) and bool(masks) and all(0 <= one < frames for one in masks)

    def _masks_of(self, frame: int) -> tuple[int, ...]:
        return self.mask_frames if self.operation == AVERAGE else (frame - self.offset,)

    @property
    def lasting(self) -> bool:
        """Whether one mask serves all frames."""
        return self.operation == AVERAGE

    def mask(self, frame: int, *, decode: Callable[[int], PixelArray]) -> Difference:
        """Give what is subtracted from a frame that `serves` says it can be, moved into place."""
        mask = _mean([decode(one) for one in self._masks_of(frame)])
        if not any(self.shift_px):
            return mask
        from scipy.ndimage import shift

        # A positive column offset moves towards the left column (C.7.6.10.1.2).
        down, left = self.shift_px
        return np.asarray(shift(mask, (down, -left), order=1, mode="nearest"))

    def subtracted(
        self,
        frame: int,
        *,
        frames: int,
        decode: Callable[[int], PixelArray],
        mask: Difference | None = None,
    ) -> Difference:
        """Give contrast minus mask.

        Parameters
        ----------
        frame
            The frame to show.
        frames
            Number of frames of the loop.
        decode
            Gives a frame's stored values.
        mask
            What `mask` gave, if it is at hand.

        Returns
        -------
        ndarray
            (rows, columns) in stored values, negative where the mask is larger.

        Raises
        ------
        LoopError
            If it does not hold for the frame, or names frames that do not exist.
        """
        if not self.serves(frame, frames=frames):
            raise LoopError(
                f"Frame {frame} has no mask to be subtracted: show it unsubtracted, as it is "
                "measured."
            )
        contrast = range(frame, min(frame + self.contrast_frames, frames))
        difference = _mean([decode(one) for one in contrast])
        difference -= self.mask(frame, decode=decode) if mask is None else mask
        return difference


def _mean(images: list[PixelArray]) -> Difference:
    total = images[0].astype(np.float64)
    for image in images[1:]:
        total += image
    total /= len(images)
    return total
