"""How a stored frame becomes grey on a screen: for looking only, never for measuring.

Measurements always work on stored pixels. Sources: PS3.3 C.11.1 (modality LUT), C.11.2 (VOI LUT:
windows, sigmoid, tables), C.7.6.11 (display shutter), C.7.6.10 (mask subtraction).
"""

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from annot.loops.pixel_layout import PixelArray

Grey = npt.NDArray[np.uint8]
Values = npt.NDArray[np.float64]
_TOP = 255.0
# Beyond it the exponential overflows; the sigmoid is black long before.
_LARGEST_EXPONENT = 700.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LookupTable:
    """A table from whole numbers to values: below and above its range the ends hold.

    Attributes
    ----------
    entries
        The values, in order.
    first
        Input that the first entry belongs to.
    bits
        Bits per entry, which give the largest value.
    name
        Its explanation, or empty.
    """

    entries: tuple[int, ...]
    first: int
    bits: int
    name: str = ""

    def apply(self, values: PixelArray) -> Values:
        """Look up every value."""
        place = np.clip(np.rint(values).astype(np.int64) - self.first, 0, len(self.entries) - 1)
        return np.asarray(self.entries, dtype=np.float64)[place]


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """A range of values spread over all greys: ``LINEAR``, ``LINEAR_EXACT`` or ``SIGMOID``."""

    centre: float
    width: float
    function: str = "LINEAR"
    name: str = ""

    @property
    def ends(self) -> tuple[float, float] | None:
        """Values shown black and white, ``None`` if greys do not lie evenly between them."""
        middle, span = self._middle_and_span()
        even = self.function != "SIGMOID" and span > 0
        return (middle - span / 2, middle + span / 2) if even else None

    def apply(self, values: PixelArray) -> Values:
        """Give brightness from 0 to 1."""
        x = np.asarray(values, dtype=np.float64)
        if self.function == "SIGMOID":
            steps = np.clip(-4.0 * (x - self.centre) / self.width, None, _LARGEST_EXPONENT)
            return np.asarray(1.0 / (1.0 + np.exp(steps)))
        middle, span = self._middle_and_span()
        if span <= 0:  # a window of width 1 is a threshold
            return (x > middle).astype(np.float64)
        return np.clip((x - middle) / span + 0.5, 0.0, 1.0)

    def _middle_and_span(self) -> tuple[float, float]:
        if self.function == "LINEAR":
            return self.centre - 0.5, self.width - 1
        return self.centre, self.width


@dataclass(frozen=True, slots=True, kw_only=True)
class Shutter:
    """What a shutter leaves visible; of several shapes, what all of them leave.

    Edges, centre and corners are 0-based pixel positions; edges belong to what is visible (common
    practice, no source).

    Attributes
    ----------
    rectangle
        First row, last row, first column, last column.
    circle
        Row and column of the centre, radius.
    polygon
        Corners as (row, column).
    grey
        What hidden pixels are shown as.
    """

    rectangle: tuple[float, float, float, float] | None = None
    circle: tuple[float, float, float] | None = None
    polygon: tuple[tuple[float, float], ...] = ()
    grey: int = 0

    def visible(self, rows: int, columns: int) -> npt.NDArray[np.bool_]:
        """Tell for every pixel whether it is visible."""
        row, column = np.mgrid[:rows, :columns].astype(np.float64)
        seen = np.ones((rows, columns), dtype=bool)
        if self.rectangle:
            top, bottom, left, right = self.rectangle
            seen &= (row >= top) & (row <= bottom) & (column >= left) & (column <= right)
        if self.circle:
            middle_row, middle_column, radius = self.circle
            seen &= np.hypot(row - middle_row, column - middle_column) <= radius
        if self.polygon:
            seen &= _inside(self.polygon, row, column)
        return seen


def _inside(
    corners: tuple[tuple[float, float], ...], row: Values, column: Values
) -> npt.NDArray[np.bool_]:
    """Count the edges to the right of each pixel; an odd number means inside."""
    odd = np.zeros(row.shape, dtype=bool)
    for (row_a, column_a), (row_b, column_b) in zip(
        corners, (*corners[1:], corners[0]), strict=True
    ):
        if row_a == row_b:
            continue
        spans = (row >= min(row_a, row_b)) & (row < max(row_a, row_b))
        crossing = column_a + (row - row_a) * (column_b - column_a) / (row_b - row_a)
        odd ^= spans & (column < crossing)
    return odd


@dataclass(frozen=True, slots=True, kw_only=True)
class Display:
    """Everything a file says about showing its frames.

    Attributes
    ----------
    slope, intercept
        Linear modality transformation.
    modality_table
        Modality table, instead of it.
    windows, tables
        VOI windows and VOI tables to choose from, in the file's order.
    shutter
        Display shutter, if there is one.
    inverted
        Whether low values are bright (MONOCHROME1).
    lowest, highest
        Range of stored values, shown where the file offers neither window nor table.
    notes
        What of the file's wishes is not carried out; it makes no picture another.
    """

    slope: float = 1.0
    intercept: float = 0.0
    modality_table: LookupTable | None = None
    windows: tuple[Window, ...] = ()
    tables: tuple[LookupTable, ...] = ()
    shutter: Shutter | None = None
    inverted: bool = False
    lowest: float = 0.0
    highest: float = 255.0
    notes: tuple[str, ...] = field(default=(), compare=False)

    @property
    def choices(self) -> tuple[Window | LookupTable, ...]:
        """What the file offers for choosing greys: windows first, then tables."""
        return (*self.windows, *self.tables)

    def modality_values(self, stored: PixelArray) -> Values:
        """Bring stored values to the scale that windows are stated in."""
        if self.modality_table is not None:
            return self.modality_table.apply(stored)
        return np.asarray(stored, dtype=np.float64) * self.slope + self.intercept

    def grey(
        self,
        stored: PixelArray,
        *,
        choice: Window | LookupTable | None = None,
        shuttered: bool = True,
    ) -> Grey:
        """Show one grey frame.

        Parameters
        ----------
        stored
            (rows, columns) of stored values.
        choice
            A window or table; by default the file's first, else the whole stored range.
        shuttered
            Whether the shutter hides what it covers.

        Returns
        -------
        ndarray
            (rows, columns) of ``uint8``, 255 the brightest.
        """
        chosen = choice or next(iter(self.choices), self.whole_range)
        values = self.modality_values(stored)
        if isinstance(chosen, Window):
            brightness = chosen.apply(values)
        else:
            brightness = chosen.apply(values) / ((1 << chosen.bits) - 1)
        if self.inverted:
            brightness = 1.0 - brightness
        grey = np.rint(brightness * _TOP).astype(np.uint8)
        if shuttered and self.shutter is not None:
            grey[~self.shutter.visible(*grey.shape)] = self.shutter.grey
        return grey

    @property
    def whole_range(self) -> Window:
        """A window over every value that can be stored."""
        ends = self.modality_values(np.array([self.lowest, self.highest]))
        low, high = float(ends.min()), float(ends.max())
        return Window(centre=(low + high) / 2, width=max(high - low, 1.0), function="LINEAR_EXACT")
