"""From a request to a scale: the one place where a loop, an object and a rule meet."""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from annot.calibration.depth import depth_ratio
from annot.calibration.header_scale import RegionScales, header_scale
from annot.calibration.identity import geometry_key, pixel_aspect, short_hash
from annot.calibration.intensity import StoredPixels
from annot.calibration.object_in_frame import SeenSize, size_in_frames
from annot.calibration.request import (
    BorrowedRequest,
    GivenRequest,
    HeaderRequest,
    ObjectRequest,
    Placing,
)
from annot.calibration.scale import (
    NoScale,
    PixelScale,
    Region,
    pair_of_scales,
    scale_from_reference_object,
)
from annot.calibration.ultrasound_region import protects_its_scale, region_for
from annot.loops import Loop, LoopHeader, refuse_outside
from annot.uncertainty import MeasurementResult, propagate, stated

DISAGREEING = 3.0  # standard uncertainties of the difference

LoopScale = PixelScale | RegionScales | NoScale
PROTECTED = (
    "the file protects its ultrasound scale, so another one only checks it: use the file's own, or "
    "overrule it with a reason"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class MadeScale:
    """A loop's scale and, where an object gave it, how that object was seen."""

    scale: LoopScale
    seen: SeenSize | None = None


def make_scale(loop: Loop, request: ObjectRequest | HeaderRequest | GivenRequest) -> MadeScale:
    """Return the scale of a loop that a request asks for.

    Raises
    ------
    InputError
        If the request names a frame or a place that the loop does not have.
    LoopError
        If a frame cannot be decoded.
    """
    if isinstance(request, HeaderRequest):
        return MadeScale(scale=header_scale(loop.header, request))
    if protects_its_scale(loop.header) and not request.placing.overrule:
        return MadeScale(scale=NoScale(reason=PROTECTED))
    if isinstance(request, GivenRequest):
        return MadeScale(scale=_given(loop.header, request))
    return _from_object(loop, request)


def _from_object(loop: Loop, request: ObjectRequest) -> MadeScale:
    header = loop.header
    for reading in request.readings:
        refuse_outside(header, reading.frame, reading.points, what="the reference object")
    if header.modality == "US" and request.kind != "segment":
        return MadeScale(
            scale=NoScale(reason=f"a {request.kind}'s shadow is fitted on X-ray pictures only")
        )
    key = f"{request.kind}-{short_hash(header.sop_instance_uid, request)}"
    frames = (
        {}
        if request.kind == "segment"
        else {one.frame: _grey(loop.frame(one.frame)) for one in request.readings}
    )
    place = _place_of(header, request)
    seen = size_in_frames(
        frames,
        request,
        key=key,
        full_scale=float(2**header.bits_stored - 1),
        aspect=place.aspect,
        stored=_stored_pixels(loop) if frames else StoredPixels(),
    )
    if isinstance(seen, NoScale):
        return MadeScale(scale=seen)
    return MadeScale(scale=_scale_of(header, request, seen, key=key, place=place), seen=seen)


def _stored_pixels(loop: Loop) -> StoredPixels:
    """Return what the file says of how its values relate to the beam, and of its shutter."""
    xray, display = loop.header.xray, loop.display
    table = display.modality_table
    return StoredPixels(
        relation=xray.intensity_relationship if xray else None,
        to_intensity=None if table is None else table.apply,
        hidden=(
            None
            if display.shutter is None
            else ~display.shutter.visible(loop.header.rows, loop.header.columns)
        ),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Place:
    """Shape of the pixels where the object lies, and the box in which that is known to hold."""

    aspect: float
    region: Region | None = None
    warnings: tuple[str, ...] = ()


def _place_of(header: LoopHeader, request: ObjectRequest) -> _Place:
    """Return where a scale from this object holds: in ultrasound, in the object's own region."""
    if header.modality != "US":
        return _Place(aspect=pixel_aspect(header))
    ruling = region_for(header, [point for one in request.readings for point in one.points])
    if isinstance(ruling, NoScale):
        text = f"square pixels and one scale for the whole picture assumed: {ruling.reason}"
        return _Place(aspect=1.0, warnings=(text,))
    row, column = ruling.region.mm_per_px
    return _Place(aspect=column / row, region=ruling.box, warnings=ruling.warnings)


def _scale_of(
    header: LoopHeader, request: ObjectRequest, seen: SeenSize, *, key: str, place: _Place
) -> PixelScale:
    known = request.size.quantity()
    depth = depth_ratio(
        header, request.placing, key=f"depth-{short_hash(header.sop_instance_uid, request.placing)}"
    )
    scale = scale_from_reference_object(
        key=key, known_size=known, seen_size=seen.size, depth_ratio=depth.quantity
    )
    row, column = pair_of_scales(scale, place.aspect)
    return PixelScale(
        key=key,
        kind=request.kind,
        row=row,
        column=column,
        basis=f"{known.source}, seen as {seen.size.value:.2f} px",
        geometry=geometry_key(header),
        object_id=known.key,
        depth_group=depth.group,
        region=place.region,
        overruled=request.placing.overrule,
        warnings=(
            *_size_warnings(request),
            *_header_warnings(header, row),
            *_model_warnings(header, request),
            *seen.notes,
            *place.warnings,
            *depth.warnings,
        ),
    )


def _size_warnings(request: ObjectRequest) -> tuple[str, ...]:
    """Say what was assumed of the object's size."""
    size = request.size
    if not size.assumed:
        return ()
    return (
        f"tolerance of the {size.name} not stated: ±{size.tolerance_mm:g} mm assumed "
        f"({size.assumed})",
    )


def _header_warnings(header: LoopHeader, row: MeasurementResult) -> tuple[str, ...]:
    """Say where the object and the file's own spacing cannot both be right."""
    own = header_scale(header, HeaderRequest())
    if not isinstance(own, PixelScale):
        return ()
    apart = row.value - own.row.value
    if abs(apart) <= DISAGREEING * math.hypot(row.u, own.row.u):
        return ()
    return (
        f"the scale is {100 * apart / own.row.value:+.0f} % off the header's "
        f"{own.row.value:.4g} mm/px, more than both uncertainties allow: check size, unit and "
        "trace",
    )


def _model_warnings(header: LoopHeader, request: ObjectRequest) -> tuple[str, ...]:
    """Say where the object's own model rests on something that nobody stated."""
    if request.kind == "segment":
        if header.modality == "US" or request.placing.tilt_deg is not None:
            return ()
        return (
            "tilt of the known length not stated and not in the interval: seen obliquely it makes "
            "every length too long",
        )
    idle = f"the stated tilt has no effect on the width of a {request.kind}"
    return (idle,) if request.placing.tilt_deg else ()


def _given(header: LoopHeader, request: GivenRequest) -> PixelScale:
    key = f"given-{short_hash(header.sop_instance_uid, request)}"
    size = request.mm_per_px
    number = stated(
        size[0],
        size[0] * request.u_rel,
        key=key,
        unit="mm/px",
        component="scale",
        source=f"{size[0]:g} mm/px given from elsewhere, relative u = {request.u_rel:g}",
    )
    row, column = pair_of_scales(
        propagate(lambda value: value, [number], unit="mm/px"), size[1] / size[0]
    )
    return PixelScale(
        key=key,
        kind="given",
        row=row,
        column=column,
        basis=number.source,
        geometry=geometry_key(header),
        overruled=request.placing.overrule,
        warnings=("scale given from elsewhere: nothing in this loop bears it out",),
    )


def borrow_scale(
    made: MadeScale, lender: LoopHeader, borrower: LoopHeader, request: BorrowedRequest
) -> LoopScale:
    """Return a scale made on one loop for use on another of the same geometry.

    A different geometry is refused unless the request overrules with a reason.
    """
    scale = made.scale
    if isinstance(scale, NoScale):
        return scale
    if isinstance(scale, RegionScales):
        return NoScale(
            reason="an ultrasound header scale belongs to its own loop; use this loop's header"
        )
    differences = scale.geometry.differences(geometry_key(borrower))
    if differences and not request.placing.overrule:
        return NoScale(
            reason=(
                f"the scale of {lender.path.name} does not hold here: "
                f"{', '.join(differences)} differ"
            )
        )
    warnings = scale.warnings
    if differences:
        warnings = (*warnings, f"scale overruled although {', '.join(differences)} differ")
    elif scale.geometry.is_silent:
        silent = "neither header states its geometry, so nothing shows that the scale holds here"
        warnings = (*warnings, f"scale of {lender.path.name} borrowed: {silent}")
    reasons = [one for one in (scale.overruled, request.placing.overrule) if one]
    return replace(scale, overruled="; ".join(dict.fromkeys(reasons)), warnings=warnings)


def _grey(frame: NDArray[np.generic]) -> NDArray[np.generic]:
    """Return one channel: colour pictures of X-ray loops are grey in colour's clothing."""
    return frame if frame.ndim == 2 else np.asarray(frame, dtype=float).mean(axis=2)


__all__ = ["LoopScale", "MadeScale", "Placing", "borrow_scale", "make_scale"]
