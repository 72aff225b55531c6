"""A loop as it is looked at: greys as the file asks and a person chooses, never for measuring.

Frames come from `Loop.frame` and are turned into grey here, one at a time; the loop itself and its
stored values stay as they are. Sources: those of `annot.loops.display` and
`annot.loops.subtraction`.
"""

from dataclasses import dataclass, replace

import numpy as np

from annot.errors import LoopError
from annot.loops.display import Display, Grey, LookupTable, Window
from annot.loops.frame_cache import FrameCache
from annot.loops.loop import Loop
from annot.loops.pixel_layout import PixelArray
from annot.loops.subtraction import Difference, MaskOperation

# A mask that goes along with the frame shown, and averaged contrast, want neighbours again.
_KEPT_BYTES = 32 << 20
# A table from every storable value to its grey is made where there are no more values than this.
_MOST_VALUES = 1 << 16
# What part of a difference image stays between black and white (own choice, no source).
_SHOWN_PERCENT = 99.5
_MIDDLE = 127.5


@dataclass(frozen=True, slots=True, kw_only=True)
class DisplayChoice:
    """How a person wants to look at a loop.

    Attributes
    ----------
    greys
        Which of `Display.choices`, counted from 0; ``None`` spreads all storable values. Where the
        file offers no such window or table, all storable values are spread as well.
    shuttered
        Whether the file's shutter hides what it covers.
    subtracted
        Whether the file's mask is subtracted.
    inverted
        Whether dark and light are swapped against what the file asks for.
    """

    greys: int | None = 0
    shuttered: bool = True
    subtracted: bool = False
    inverted: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredRange:
    """The stored values that are black and white where greys lie evenly between them."""

    low: float
    high: float
    inverted: bool


def stored_range(loop: Loop, choice: DisplayChoice) -> StoredRange | None:
    """Give the range of stored values that shows a loop as chosen, if nothing else is needed.

    Returns
    -------
    StoredRange or None
        ``None`` if a table, a sigmoid, a shutter or a mask makes it more than a range of values,
        or if the loop is in colour.
    """
    display = loop.display
    window = _chosen(display, choice)
    hidden = choice.shuttered and display.shutter is not None
    window_ends = window.ends if isinstance(window, Window) else None
    curved = display.modality_table is not None or window_ends is None
    if loop.header.colour or choice.subtracted or hidden or curved:
        return None
    ends = [(value - display.intercept) / display.slope for value in window_ends or ()]
    return StoredRange(
        low=min(ends),
        high=max(ends),
        inverted=display.inverted ^ choice.inverted ^ (display.slope < 0),
    )


class ShownLoop:
    """The frames of a loop in 8-bit grey, or in colour under its shutter; may be used by threads.

    Parameters
    ----------
    loop
        The loop; its stored values are read and never changed.
    choice
        How to show it.
    """

    def __init__(self, loop: Loop, choice: DisplayChoice) -> None:
        self._loop = loop
        self._choice = choice
        self._display = replace(
            loop.display, inverted=loop.display.inverted ^ choice.inverted, shutter=None
        )
        self._hidden = self._hidden_pixels()
        self._table: Grey | None = None
        self._kept = FrameCache(_KEPT_BYTES)
        self._masks: dict[MaskOperation, Difference] = {}
        self._spread: float | None = None

    @property
    def shape(self) -> tuple[int, ...]:
        """(frames, rows, columns), with a last axis of 3 for colour."""
        return self._loop.shape

    @property
    def dtype(self) -> np.dtype[np.generic]:
        """Always ``uint8``."""
        return np.dtype(np.uint8)

    def frame(self, n: int) -> PixelArray:
        """Show one frame.

        Returns
        -------
        ndarray
            Read-only ``uint8``: (rows, columns), 255 the brightest, or (rows, columns, 3).

        Raises
        ------
        LoopError
            If the frame cannot be decoded, or a mask is to be subtracted and there is none for it.
        """
        if self._loop.header.colour:
            shown = np.array(self._loop.frame(n))
        elif self._choice.subtracted:
            shown = self._difference_grey(self._difference(n))
        else:
            shown = self._grey(self._loop.frame(n))
        if self._hidden is not None and self._loop.display.shutter is not None:
            shown[self._hidden] = self._loop.display.shutter.grey
        shown.setflags(write=False)
        return shown

    def _hidden_pixels(self) -> PixelArray | None:
        shutter = self._loop.display.shutter
        if shutter is None or not self._choice.shuttered:
            return None
        return ~shutter.visible(self._loop.header.rows, self._loop.header.columns)

    def _grey(self, stored: PixelArray) -> Grey:
        if 1 << 8 * stored.dtype.itemsize > _MOST_VALUES:
            return self._display.grey(stored, choice=_chosen(self._display, self._choice))
        plain = np.dtype(f"u{stored.dtype.itemsize}")
        if self._table is None:
            every = np.arange(1 << 8 * plain.itemsize, dtype=plain).view(stored.dtype)
            self._table = self._display.grey(every, choice=_chosen(self._display, self._choice))
        return np.asarray(self._table[stored.view(plain)])

    def _difference(self, n: int) -> Difference:
        loop = self._loop
        mask = next((one for one in loop.masks if one.serves(n, frames=loop.frames)), None)
        if mask is None:
            raise LoopError(
                f"{loop.header.path.name}: frame {n} has no mask to be subtracted; show it "
                "unsubtracted, as it is measured."
            )
        return mask.subtracted(
            n, frames=loop.frames, decode=self._stored, mask=self._lasting_mask(mask, n)
        )

    def _stored(self, n: int) -> PixelArray:
        return self._kept.get(n, self._loop.frame)

    def _lasting_mask(self, mask: MaskOperation, n: int) -> Difference | None:
        if mask.lasting and mask not in self._masks:
            self._masks[mask] = mask.mask(n, decode=self._loop.frame)
        return self._masks.get(mask)

    def _difference_grey(self, difference: Difference) -> Grey:
        """Show 0 as middle grey (common practice, no source), all frames of a loop alike."""
        if self._spread is None:
            self._spread = self._found_spread()
        sign = -1.0 if self._display.inverted else 1.0
        grey = (difference * (sign * _MIDDLE / self._spread)).astype(np.float32)
        grey += np.float32(_MIDDLE)
        np.clip(grey, 0.0, 2 * _MIDDLE, out=grey)
        return np.rint(grey, out=grey).astype(np.uint8)

    def _found_spread(self) -> float:
        """Judge by the middle of the frames with a mask, where contrast is likely to be in."""
        loop = self._loop
        served = [
            n
            for n in range(loop.frames)
            if any(mask.serves(n, frames=loop.frames) for mask in loop.masks)
        ]
        difference = np.abs(self._difference(served[len(served) // 2]))
        return max(float(np.percentile(difference, _SHOWN_PERCENT)), 1.0)


def _chosen(display: Display, choice: DisplayChoice) -> Window | LookupTable:
    if choice.greys is None or choice.greys >= len(display.choices):
        return display.whole_range
    return display.choices[choice.greys]
