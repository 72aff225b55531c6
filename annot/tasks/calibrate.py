"""Scale a loop and say how good the scale is."""

from collections.abc import Sequence
from dataclasses import dataclass

from annot.calibration import (
    BorrowedRequest,
    MadeScale,
    NoScale,
    PixelScale,
    RegionScales,
    ScaleRequest,
    make_scale,
)
from annot.errors import InputError
from annot.geometry import PixelPoint
from annot.loops import Loop
from annot.uncertainty import expand
from annot.vocabulary import CAUTION

__all__ = ["MadeScale", "ScaleAnswer", "answer_of", "make_scale", "scale_loop"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ScaleAnswer:
    """One scale with the object it came from, ready to be printed."""

    made: MadeScale
    scale: PixelScale

    def as_dict(self) -> dict[str, object]:
        """Return the answer for machines; the budget's shares add up to 1."""
        row, seen = self.scale.row, self.made.seen
        interval = expand(row)
        variance = row.u**2
        return {
            "mm_per_px_row": row.value,
            "mm_per_px_column": self.scale.column.value,
            "u_rel": self.scale.u_rel,
            "u": row.u,
            "low": interval.low,
            "high": interval.high,
            "coverage": interval.probability,
            "kind": self.scale.kind,
            "scale_id": self.scale.key,
            "basis": self.scale.basis,
            "size_px": seen.size.value if seen else None,
            "sections_used": seen.sections_used if seen else None,
            "sections_rejected": seen.sections_rejected if seen else None,
            "object": dict(seen.details) if seen else {},
            "budget": [
                {
                    "input": line.input.key,
                    "component": line.input.component,
                    "value": line.input.value,
                    "u": line.input.u,
                    "unit": line.input.unit,
                    "contribution": abs(line.contribution),
                    "share": line.contribution**2 / variance,
                    "evaluation": line.input.evaluation,
                    "source": line.input.source,
                }
                for line in row.lines
            ],
            "warnings": list(self.scale.warnings),
            "caution": CAUTION,
        }


def scale_loop(loop: Loop, request: ScaleRequest, *, at: Sequence[PixelPoint] = ()) -> ScaleAnswer:
    """Return the scale of a loop, at a place where an ultrasound header needs one.

    Raises
    ------
    InputError
        If no scale can be had, with the reason.
    """
    if isinstance(request, BorrowedRequest):
        raise InputError("A borrowed scale needs a read file that holds both loops.")
    made = make_scale(loop, request)
    return answer_of(made, loop, at=at)


def answer_of(made: MadeScale, loop: Loop, *, at: Sequence[PixelPoint] = ()) -> ScaleAnswer:
    """Return the scale that holds at a place, or raise InputError with the reason."""
    name = loop.header.path.name
    places = at or _places(made.scale, name)
    scale = made.scale.at(places)
    if isinstance(scale, NoScale):
        raise InputError(f"{name}: no scale: {scale.reason}.")
    return ScaleAnswer(made=made, scale=scale)


def _places(scale: object, name: str) -> tuple[PixelPoint, ...]:
    """Return the middle of the region where one size holds for the whole ultrasound picture."""
    if not isinstance(scale, RegionScales):
        return ()
    regions = [one for one in scale.header.regions if one.is_2d_length]
    if len({one.mm_per_px for one in regions}) > 1:
        raise InputError(
            f"{name} has ultrasound regions with different pixel sizes: say where with --at "
            "ROW,COLUMN."
        )
    if not regions:
        return (PixelPoint(0.0, 0.0),)
    one = regions[0]
    return (PixelPoint((one.min_y0 + one.max_y1) / 2, (one.min_x0 + one.max_x1) / 2),)
