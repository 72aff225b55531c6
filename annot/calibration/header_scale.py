"""The scale that a loop's own header offers, X-ray or ultrasound."""

from collections.abc import Sequence
from dataclasses import dataclass

from annot.calibration.allowances import ULTRASOUND_REL
from annot.calibration.depth import depth_ratio
from annot.calibration.identity import geometry_key, short_hash
from annot.calibration.projection_geometry import stored_spacing
from annot.calibration.request import HeaderRequest
from annot.calibration.scale import NoScale, PixelScale, pair_of_scales
from annot.calibration.ultrasound_region import region_for
from annot.geometry import PixelPoint
from annot.loops import LoopHeader
from annot.uncertainty import InputQuantity, propagate, rectangular, stated


@dataclass(frozen=True, slots=True, kw_only=True)
class RegionScales:
    """An ultrasound loop's header scale: which region rules depends on where a line lies."""

    header: LoopHeader
    request: HeaderRequest

    def at(self, points: Sequence[PixelPoint]) -> PixelScale | NoScale:
        """Return the scale of the region that holds all points, or why none does."""
        ruling = region_for(self.header, points)
        if isinstance(ruling, NoScale):
            return ruling
        box, size = ruling.box, ruling.region.mm_per_px
        key = f"header-{short_hash(self.header.sop_instance_uid, self.request, box)}"
        spacing = _spacing(
            self.request,
            key=key,
            size_mm=size[0],
            default=(ULTRASOUND_REL.value, f"{ULTRASOUND_REL.meaning} ({ULTRASOUND_REL.source})"),
        )
        row, column = pair_of_scales(
            propagate(lambda value: value, [spacing], unit="mm/px"), size[1] / size[0]
        )
        return PixelScale(
            key=key,
            kind="header",
            row=row,
            column=column,
            basis=f"ultrasound region of rows {box.min_row} to {box.max_row}",
            geometry=geometry_key(self.header),
            region=box,
            overruled=self.request.placing.overrule,
            warnings=ruling.warnings,
        )


def header_scale(header: LoopHeader, request: HeaderRequest) -> PixelScale | RegionScales | NoScale:
    """Return the scale stated in a header.

    Returns
    -------
    PixelScale for a projection, RegionScales for ultrasound with regions, otherwise NoScale with
    the reason: secondary captures and pictures whose plane is not known have none.
    """
    if header.xray is not None:
        return _projection_scale(header, request)
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


def _projection_scale(header: LoopHeader, request: HeaderRequest) -> PixelScale | NoScale:
    assert header.xray is not None
    spacing = stored_spacing(header.xray)
    if isinstance(spacing, NoScale):
        return spacing
    key = f"header-{short_hash(header.sop_instance_uid, request)}"
    depth = depth_ratio(
        header, request.placing, key=f"depth-{short_hash(header.sop_instance_uid, request.placing)}"
    )
    allowance = spacing.allowance
    stored = _spacing(
        request,
        key=key,
        size_mm=spacing.mm_per_px[0],
        default=(allowance.value, f"{allowance.meaning} ({allowance.source})"),
    )
    scale = propagate(lambda size, ratio: size * ratio, [stored, depth.quantity], unit="mm/px")
    row, column = pair_of_scales(scale, spacing.mm_per_px[1] / spacing.mm_per_px[0])
    warnings = (
        f"header scale: {spacing.basis}; check it against an object of known size",
        *depth.warnings,
    )
    return PixelScale(
        key=key,
        kind="header",
        row=row,
        column=column,
        basis=spacing.basis,
        geometry=geometry_key(header),
        depth_group=depth.group,
        overruled=request.placing.overrule,
        warnings=warnings,
    )


def _spacing(
    request: HeaderRequest, *, key: str, size_mm: float, default: tuple[float, str]
) -> InputQuantity:
    """Return a stored spacing with its stated u, else with the default rectangular allowance."""
    if request.u_rel is not None:
        return stated(
            size_mm,
            size_mm * request.u_rel,
            key=key,
            unit="mm/px",
            component="scale",
            source=f"stored spacing, relative u = {request.u_rel:g} as stated",
        )
    return rectangular(
        size_mm,
        size_mm * default[0],
        key=key,
        unit="mm/px",
        component="scale",
        source=f"stored spacing ± {100 * default[0]:g} %: {default[1]}",
    )
