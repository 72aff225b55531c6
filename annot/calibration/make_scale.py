"""From a request to a scale: the one place where a loop, an object and a rule meet."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from annot.calibration.candidates import candidate_scales
from annot.calibration.depth import depth_ratio
from annot.calibration.distortion import distortion_factor
from annot.calibration.frame_hold import differing_frames, held_frames
from annot.calibration.geometry_key import Region
from annot.calibration.header_scale import FrameScales, header_scale
from annot.calibration.identity import geometry_key, pixel_aspect, short_hash
from annot.calibration.intensity import StoredPixels
from annot.calibration.object_in_frame import size_in_frames
from annot.calibration.plausible import shaft_doubts, spacing_doubts
from annot.calibration.region_scales import RegionScales
from annot.calibration.request import SPACED, GivenRequest, HeaderRequest, ObjectRequest
from annot.calibration.scale import (
    NoScale,
    PixelScale,
    pair_of_scales,
    size_scale,
)
from annot.calibration.scale_agreement import ScaleComparison, compare_scales, with_disagreements
from annot.calibration.seen_size import SeenSize
from annot.calibration.ultrasound_region import protects_its_scale, region_for
from annot.geometry import PixelPoint
from annot.loops import Loop, LoopHeader, refuse_outside
from annot.uncertainty import MeasurementResult, propagate, stated

LoopScale = PixelScale | RegionScales | FrameScales | NoScale
PROTECTED = (
    "the file protects its ultrasound scale, so another one only checks it: use the file's own, or "
    "overrule it with a reason"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class MadeScale:
    """A loop's scale and, where an object gave it, how that object was seen.

    `others` are the loop's other scales, each set against this one.
    """

    scale: LoopScale
    seen: SeenSize | None = None
    others: tuple[ScaleComparison, ...] = ()


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
        made = MadeScale(scale=header_scale(loop.header, request))
        return compared(made, loop.header, request=request)
    if protects_its_scale(loop.header) and not request.placing.overrule:
        return MadeScale(scale=NoScale(reason=PROTECTED))
    if isinstance(request, GivenRequest):
        return compared(MadeScale(scale=_given(loop.header, request)), loop.header)
    return _from_object(loop, request)


def compared(
    made: MadeScale,
    header: LoopHeader,
    *,
    frame: int = 0,
    at: Sequence[PixelPoint] = (),
    request: HeaderRequest | None = None,
) -> MadeScale:
    """Return a scale with the loop's other scales set against it; those that differ are warned of.

    Parameters
    ----------
    made
        The scale in use.
    header
        The loop's.
    frame
        The frame on which they are compared, where the geometry changes.
    at
        Where they are compared, where an ultrasound picture has several pixel sizes.
    request
        What a person states about header scales.
    """
    scale = made.scale
    if not isinstance(scale, PixelScale):
        return made
    others = compare_scales(scale, candidate_scales(header, request, frame=frame), at=at)
    return replace(made, scale=with_disagreements(scale, others), others=others)


def _from_object(loop: Loop, request: ObjectRequest) -> MadeScale:
    header = loop.header
    for reading in request.readings:
        refuse_outside(header, reading.frame, reading.points, what="the reference object")
    if header.modality == "US" and request.kind != "segment":
        return MadeScale(
            scale=NoScale(reason=f"a {request.kind}'s shadow is fitted on X-ray pictures only")
        )
    apart = differing_frames(header, [one.frame for one in request.readings])
    if apart:
        return MadeScale(
            scale=NoScale(
                reason=(
                    f"the {request.kind} is read on frames of different geometry: "
                    f"{', '.join(apart)} differ; read it on frames of one geometry"
                )
            )
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
    scale = _scale_of(header, request, seen, key=key, place=place)
    first = request.readings[0]
    return compared(MadeScale(scale=scale, seen=seen), header, frame=first.frame, at=first.points)


def _stored_pixels(loop: Loop) -> StoredPixels:
    """Return what the file says of how its values relate to the beam, and of its shutter."""
    xray, display = loop.header.xray, loop.display
    table = display.modality_table
    return StoredPixels(
        relation=xray.intensity_relationship if xray else None,
        sign=(xray.intensity_sign if xray else None) or 1,
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
        return _Place(aspect=pixel_aspect(header, request.readings[0].frame))
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
    frame = request.readings[0].frame
    frames = held_frames(header, frame)
    view = header.xray.at(frame) if header.xray else None
    where = (geometry_key(header, frame),) if frames else ()
    depth = depth_ratio(
        header,
        request.placing,
        key=f"depth-{short_hash(header.sop_instance_uid, request.placing, known.key, *where)}",
        view=view,
    )

    def at_depth(of_object: MeasurementResult) -> MeasurementResult:
        both = [of_object, depth.quantity]
        return propagate(lambda size, ratio: size * ratio, both, unit="mm/px")

    at_object = distortion_factor(view, size_scale(key, known, seen.size), key=key)
    row, column = pair_of_scales(at_depth(at_object), place.aspect)
    across = None
    if seen.column_size is not None:
        across = distortion_factor(view, size_scale(key, known, seen.column_size), key=key)
        column = at_depth(across)
    made_of = f" ({request.material})" if request.material else ""
    return PixelScale(
        key=key,
        kind=request.kind,
        row=row,
        column=column,
        basis=f"{known.source}{made_of}, seen as {seen.size.value:.2f} px",
        geometry=geometry_key(header, frame),
        object_id=known.key,
        depth_group=depth.group,
        region=place.region,
        frames=frames,
        at_object=at_object,
        column_at_object=across,
        overruled=request.placing.overrule,
        warnings=(
            *_size_warnings(request),
            *spacing_doubts(row.value),
            *_model_warnings(header, request),
            *seen.notes,
            *place.warnings,
            *depth.warnings,
        ),
    )


def _size_warnings(request: ObjectRequest) -> tuple[str, ...]:
    """Say what was assumed of the object's size, and that it hardly can be."""
    size = request.size
    doubts = shaft_doubts(size.size_mm, device=request.device) if request.kind == "catheter" else ()
    if not size.assumed:
        return doubts
    return (
        *doubts,
        f"tolerance of the {size.name} not stated: ±{size.tolerance_mm:g} mm assumed "
        f"({size.assumed})",
    )


def _model_warnings(header: LoopHeader, request: ObjectRequest) -> tuple[str, ...]:
    """Say where the object's own model rests on something that nobody stated."""
    if request.kind in SPACED:
        return ()  # places of marks do not depend on how values go with the intensity
    if request.kind == "segment":
        if header.modality == "US" or request.placing.tilt_deg is not None:
            return ()
        return (
            "tilt of the known length not stated and not in the interval: seen obliquely it makes "
            "every length too long",
        )
    idle = f"the stated tilt has no effect on the width of a {request.kind}"
    return (idle,) if request.placing.tilt_deg else ()


def _given(header: LoopHeader, request: GivenRequest) -> PixelScale | NoScale:
    if header.xray is not None and header.xray.varies and not request.placing.overrule:
        return NoScale(
            reason=(
                "the loop's geometry changes from frame to frame, so one given number cannot hold "
                "on all of them: scale it by its header or by an object, or overrule with a reason"
            )
        )
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
        at_object=row,
        overruled=request.placing.overrule,
        warnings=(
            "scale given from elsewhere: nothing in this loop bears it out",
            *spacing_doubts(row.value),
        ),
    )


def _grey(frame: NDArray[np.generic]) -> NDArray[np.generic]:
    """Return one channel: colour pictures of X-ray loops are grey in colour's clothing."""
    return frame if frame.ndim == 2 else np.asarray(frame, dtype=float).mean(axis=2)
