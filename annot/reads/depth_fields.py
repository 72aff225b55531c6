"""How a read file states the difference in depth between a reference and the anatomy."""

from typing import Any, Literal, Protocol

from annot.calibration import Placing
from annot.reads.field_types import Number

# At least and at most how many mm nearer to the source than its reference the anatomy lies.
DepthRange = tuple[Number, Number]
DepthPreset = Literal["beside", "other-chamber", "skin-detector-side", "skin-source-side"]
_FIELDS = ("depth_offset_mm", "depth_range_mm", "depth_preset")


class StatesDepth(Protocol):
    """A part of a read file with the three ways of stating depth."""

    @property
    def depth_offset_mm(self) -> float | None:
        """Half-range."""

    @property
    def depth_range_mm(self) -> tuple[float, float] | None:
        """A range that need not be symmetric."""

    @property
    def depth_preset(self) -> DepthPreset | None:
        """A usual place by its name."""

    @property
    def overrule(self) -> str:
        """Reason for using a scale where it would be refused."""


def placing_of(part: StatesDepth, *, tilt_deg: float | None = None) -> Placing:
    """Return how an object lies to the anatomy, as a part states it.

    Raises
    ------
    InputError
        If depth is stated in two ways or a range runs backwards.
    """
    return Placing(
        depth_offset_mm=part.depth_offset_mm,
        depth_range_mm=part.depth_range_mm,
        depth_preset=part.depth_preset,
        tilt_deg=tilt_deg,
        overrule=part.overrule,
    )


def depth_fields(placing: Placing) -> dict[str, Any]:
    """Return the fields of a part that state a placing's depth, the reverse of `placing_of`."""
    return {name: getattr(placing, name) for name in _FIELDS}
