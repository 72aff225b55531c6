"""The scale that one of a projection's stored spacings gives on a frame."""

from annot.calibration.depth import depth_ratio
from annot.calibration.distortion import distortion_factor
from annot.calibration.frame_hold import held_frames
from annot.calibration.header_error import header_spacing
from annot.calibration.identity import geometry_key, short_hash
from annot.calibration.plausible import spacing_doubts
from annot.calibration.projection_geometry import StoredSpacing, stored_spacing
from annot.calibration.request import HeaderRequest
from annot.calibration.scale import NoScale, PixelScale, pair_of_scales
from annot.errors import InputError
from annot.loops import LoopHeader
from annot.uncertainty import propagate


def frame_scale(header: LoopHeader, request: HeaderRequest, frame: int) -> PixelScale | NoScale:
    """Return the most trusted header scale of one frame of a projection."""
    assert header.xray is not None
    spacing = stored_spacing(header.xray.at(frame))
    if isinstance(spacing, NoScale):
        return spacing
    return scale_of_spacing(header, request, spacing, frame=frame)


def scale_of_spacing(
    header: LoopHeader, request: HeaderRequest, spacing: StoredSpacing, *, frame: int = 0
) -> PixelScale | NoScale:
    """Return the scale that one of the header's spacings gives on a frame, or why it gives none."""
    try:
        return _at_depth(header, request, spacing, frame=frame)
    except InputError as fault:
        # a list of many loops goes on where one header contradicts the depth
        return NoScale(reason=fault.message.removeprefix(f"{header.path.name}: ").rstrip("."))


def _at_depth(
    header: LoopHeader, request: HeaderRequest, spacing: StoredSpacing, *, frame: int
) -> PixelScale:
    assert header.xray is not None
    view, geometry = header.xray.at(frame), geometry_key(header, frame)
    frames = held_frames(header, frame)
    # a frame whose angles nobody states is like no other
    alone = frame if None in geometry.angles_deg else None
    place = (geometry, view.table_mm, alone) if frames else ()
    key = f"header-{short_hash(header.sop_instance_uid, request, spacing.name, *place)}"
    depth = depth_ratio(
        header,
        request.placing,
        # the isocentre's depth is not the depth of an object in the same loop
        key=f"depth-{short_hash(header.sop_instance_uid, request.placing, 'isocentre', *place)}",
        view=view,
        off_isocentre=False,
    )
    stored = header_spacing(
        header,
        size_mm=spacing.mm_per_px[0],
        key=key,
        allowance=spacing.allowance,
        made_by=spacing.made_by,
        u_rel=request.u_rel,
    )
    there = distortion_factor(view, stored.result, key=key)
    scale = propagate(lambda size, ratio: size * ratio, [there, depth.quantity], unit="mm/px")
    aspect = spacing.mm_per_px[1] / spacing.mm_per_px[0]
    row, column = pair_of_scales(scale, aspect)
    return PixelScale(
        key=key,
        kind="header",
        row=row,
        column=column,
        basis=spacing.basis,
        geometry=geometry,
        depth_group=depth.group,
        system_id=stored.system_id,
        frames=frames,
        at_object=there,
        overruled=request.placing.overrule,
        warnings=(
            f"header scale: {spacing.basis}; check it against an object of known size",
            *spacing_doubts(row.value),
            *depth.warnings,
        ),
    )
