"""Scale a loop and say how good the scale is."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from annot.calibration import (
    BorrowedRequest,
    DeviceOffer,
    MadeScale,
    NoScale,
    ObjectRequest,
    PixelScale,
    RegionScales,
    ScaleCandidate,
    ScaleComparison,
    ScaleRequest,
    all_depth_presets,
    candidate_scales,
    compared,
    device_offers,
    make_scale,
)
from annot.errors import InputError
from annot.geometry import PixelPoint
from annot.loops import Loop, refuse_outside
from annot.vocabulary import CAUTION

__all__ = [
    "MadeScale",
    "NoScale",
    "ScaleAnswer",
    "ScaleComparison",
    "all_depth_presets",
    "answer_of",
    "make_scale",
    "scale_loop",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class ScaleAnswer:
    """One scale with the object it came from, ready to be printed.

    `refused` are the header's statements that give no scale, `offers` the objects it names.
    """

    made: MadeScale
    scale: PixelScale
    frame: int = 0
    why: str = ""
    refused: tuple[ScaleCandidate, ...] = ()
    offers: tuple[DeviceOffer, ...] = ()

    def as_dict(self) -> dict[str, object]:
        """Return the answer for machines; the budget's shares add up to 1."""
        row, seen = self.scale.row, self.made.seen
        interval = self.scale.interval()
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
            "why_this_one": self.why,
            "frame": self.frame,
            "system_id": self.scale.system_id,
            "others": [one.facts() for one in self.made.others],
            "refused": [{"basis": one.basis, "reason": _reason(one)} for one in self.refused],
            "offers": [one.facts() for one in self.offers],
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


def _reason(candidate: ScaleCandidate) -> str:
    return candidate.scale.reason if isinstance(candidate.scale, NoScale) else ""


def scale_loop(
    loop: Loop,
    request: ScaleRequest,
    *,
    at: Sequence[PixelPoint] = (),
    frame: int | None = None,
) -> ScaleAnswer:
    """Return the scale of a loop, at a place where an ultrasound header needs one.

    Parameters
    ----------
    loop
        The loop.
    request
        What the scale is to rest on.
    at
        Where, in an ultrasound picture with several pixel sizes.
    frame
        For which frame, where the geometry changes; the object's own or the first if left out.

    Raises
    ------
    InputError
        If no scale can be had, with the reason.
    """
    if isinstance(request, BorrowedRequest):
        raise InputError("A borrowed scale needs a read file that holds both loops.")
    if frame is None:
        frame = request.readings[0].frame if isinstance(request, ObjectRequest) else 0
    refuse_outside(loop.header, frame, (), what="the scale")
    answer = answer_of(make_scale(loop, request), loop, at=at, frame=frame)
    return replace(answer, why=_why(request))


def _why(request: ScaleRequest) -> str:
    """Say why this scale is used: choosing is a person's act."""
    words = {"header": "the header's was asked for", "given": "a given one was asked for"}
    return words.get(request.kind, f"a {request.kind} was asked for")


def answer_of(
    made: MadeScale, loop: Loop, *, at: Sequence[PixelPoint] = (), frame: int = 0
) -> ScaleAnswer:
    """Return the scale that holds at a place of a frame, or raise InputError with the reason."""
    header = loop.header
    places = at or _places(made.scale, header.path.name)
    scale = made.scale.at(places, frame=frame)
    if isinstance(scale, NoScale):
        raise InputError(f"{header.path.name}: no scale: {scale.reason}.")
    if scale is not made.scale:  # a header's scale of one region or frame
        made = compared(MadeScale(scale=scale, seen=made.seen), header, frame=frame, at=places)
    candidates = candidate_scales(header, frame=frame)
    return ScaleAnswer(
        made=made,
        scale=made.scale if isinstance(made.scale, PixelScale) else scale,
        frame=frame,
        refused=tuple(one for one in candidates if isinstance(one.scale, NoScale)),
        offers=device_offers(header),
    )


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
