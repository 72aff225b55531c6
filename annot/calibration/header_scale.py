"""The scale that a loop's own header offers, X-ray or ultrasound."""

from collections.abc import Sequence
from dataclasses import dataclass

from annot.calibration.allowances import ULTRASOUND_REL
from annot.calibration.depth import depth_ratio
from annot.calibration.distortion import distortion_factor
from annot.calibration.frame_hold import held_frames
from annot.calibration.header_error import header_spacing
from annot.calibration.identity import geometry_key, short_hash
from annot.calibration.projection_geometry import StoredSpacing, stored_spacing
from annot.calibration.request import HeaderRequest
from annot.calibration.scale import NoScale, PixelScale, pair_of_scales
from annot.calibration.ultrasound_region import region_for
from annot.geometry import PixelPoint
from annot.loops import LoopHeader
from annot.uncertainty import propagate


@dataclass(frozen=True, slots=True, kw_only=True)
class RegionScales:
    """An ultrasound loop's header scale: which region rules depends on where a line lies."""

    header: LoopHeader
    request: HeaderRequest

    def at(self, points: Sequence[PixelPoint], *, frame: int | None = None) -> PixelScale | NoScale:
        """Return the scale of the region that holds all points, or why none does."""
        del frame  # regions hold for the whole loop (PS3.3 C.8.5.5)
        ruling = region_for(self.header, points)
        if isinstance(ruling, NoScale):
            return ruling
        box, size = ruling.box, ruling.region.mm_per_px
        key = f"header-{short_hash(self.header.sop_instance_uid, self.request, box)}"
        spacing = header_spacing(
            self.header,
            size_mm=size[0],
            key=key,
            allowance=ULTRASOUND_REL,
            made_by="ultrasound",
            u_rel=self.request.u_rel,
        )
        row, column = pair_of_scales(spacing.result, size[1] / size[0])
        return PixelScale(
            key=key,
            kind="header",
            row=row,
            column=column,
            basis=f"ultrasound region of rows {box.min_row} to {box.max_row}",
            geometry=geometry_key(self.header),
            system_id=spacing.system_id,
            region=box,
            overruled=self.request.placing.overrule,
            warnings=ruling.warnings,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameScales:
    """An X-ray loop's header scale where the geometry changes: each frame has its own."""

    header: LoopHeader
    request: HeaderRequest

    def at(self, points: Sequence[PixelPoint], *, frame: int | None = None) -> PixelScale | NoScale:
        """Return the scale of a frame, or why that frame has none."""
        del points  # a projection has one scale all over
        if frame is None:
            return NoScale(
                reason="the loop's geometry changes on the way: name the frame to be scaled"
            )
        return frame_scale(self.header, self.request, frame)


def header_scale(
    header: LoopHeader, request: HeaderRequest
) -> PixelScale | RegionScales | FrameScales | NoScale:
    """Return the scale stated in a header.

    Returns
    -------
    PixelScale for a projection, FrameScales for one that changes from frame to frame, RegionScales
    for ultrasound with regions, otherwise NoScale with the reason: secondary captures and pictures
    whose plane is not known have none.
    """
    if header.xray is not None:
        if header.xray.varies:
            return FrameScales(header=header, request=request)
        return frame_scale(header, request, 0)
    if header.modality == "US":
        if not header.regions:
            return NoScale(reason="the file has no ultrasound regions, so its pixels have no size")
        return RegionScales(header=header, request=request)
    return NoScale(
        reason=(
            f"a {header.modality or 'nameless'} picture's header states no size in the patient "
            "that can be relied on"
        )
    )


def frame_scale(header: LoopHeader, request: HeaderRequest, frame: int) -> PixelScale | NoScale:
    """Return the most trusted header scale of one frame of a projection."""
    assert header.xray is not None
    spacing = stored_spacing(header.xray.at(frame))
    if isinstance(spacing, NoScale):
        return spacing
    return scale_of_spacing(header, request, spacing, frame=frame)


def scale_of_spacing(
    header: LoopHeader, request: HeaderRequest, spacing: StoredSpacing, *, frame: int = 0
) -> PixelScale:
    """Return the scale that one of the header's spacings gives on a frame."""
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
            *depth.warnings,
        ),
    )
