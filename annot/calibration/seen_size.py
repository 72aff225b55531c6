"""How a reference object was seen: its size in pixels, and what a person needs to trust it."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from annot.geometry import PixelPoint
from annot.uncertainty import MeasurementResult


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenSize:
    """The object's size in pixels and what a person needs to see to trust it.

    Attributes
    ----------
    size : MeasurementResult
        In pixels of the row pitch.
    sections_used, sections_rejected : int
        Independent pieces the size rests on, and those set aside.
    outline : tuple of tuples of PixelPoint
        What was fitted, for drawing over the frame of the first reading: a closed circle, or
        both edges of a shaft, or the segment itself, or a path and its bands, or a grid.
    column_size : MeasurementResult or None
        In pixels of the column pitch, where the object itself shows both.
    details : mapping of str to numbers and lists
        What else was found, in plain values for machines.
    """

    size: MeasurementResult
    sections_used: int
    sections_rejected: int
    outline: tuple[tuple[PixelPoint, ...], ...]
    notes: tuple[str, ...] = ()
    column_size: MeasurementResult | None = None
    details: Mapping[str, object] = field(default_factory=dict)
