"""The ultrasound region that rules a line (PS3.3 C.8.5.5), or why none does."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import isclose

from annot.calibration.allowances import SAME_GEOMETRY_REL
from annot.calibration.geometry_key import Region
from annot.calibration.scale import NoScale
from annot.geometry import PixelPoint
from annot.loops import LoopHeader, UltrasoundRegion

# Some writers give the bound after the last pixel where the standard asks for the last pixel.
EXCLUSIVE_BOUND_PX = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class RulingRegion:
    """The region whose pixel size holds, and what a reader must know of it."""

    region: UltrasoundRegion
    warnings: tuple[str, ...] = ()

    @property
    def box(self) -> Region:
        """Box of pixels in which its pixel size holds."""
        return Region(
            min_row=self.region.min_y0,
            min_column=self.region.min_x0,
            max_row=self.region.max_y1,
            max_column=self.region.max_x1,
        )


def region_for(header: LoopHeader, points: Sequence[PixelPoint]) -> RulingRegion | NoScale:
    """Return the region that holds all points and measures lengths.

    A region that reaches outside the image in both directions shows that the picture was resized
    after the regions were written: no size of such a file is trusted. One that reaches outside in
    one direction only fits a picture that was cut, whose pixels keep their size: it is used with
    a warning.
    """
    if not header.regions:
        return NoScale(reason="the file has no ultrasound regions, so its pixels have no size")
    stale = [one for one in header.regions if _overhang(one, header) == 2]
    if stale:
        return NoScale(
            reason=(
                f"{_outside(stale[0], header)} in both directions: the picture was resized after "
                "calibration, so its pixel size is no longer known"
            )
        )
    holding = [
        one
        for one in header.regions
        if one.is_2d_length and all(one.contains(point.row, point.column) for point in points)
    ]
    if not holding:
        return NoScale(reason=_why_none(header, points))
    if any(not _same_size(one, holding[0]) for one in holding):
        return NoScale(
            reason=f"{len(holding)} overlapping ultrasound regions give different pixel sizes"
        )
    warnings = tuple(
        f"{_outside(one, header)} in one direction: the picture was cut after calibration; check "
        "its scale against a known length in the picture"
        for one in holding[:1]
        if _overhang(one, header)
    )
    return RulingRegion(region=holding[0], warnings=warnings)


def _same_size(first: UltrasoundRegion, second: UltrasoundRegion) -> bool:
    """Tell whether two regions give one pixel size, up to the digits that writers keep."""
    pairs = zip(first.mm_per_px, second.mm_per_px, strict=True)
    return all(isclose(one, other, rel_tol=SAME_GEOMETRY_REL.value) for one, other in pairs)


def protects_its_scale(header: LoopHeader) -> bool:
    """Whether a region's flags forbid another scale than the file's own (PS3.3 C.8.5.5)."""
    return any(
        one.protected and one.is_2d_length and _overhang(one, header) < 2 for one in header.regions
    )


def _overhang(region: UltrasoundRegion, header: LoopHeader) -> int:
    """Return in how many directions, 0 to 2, a region reaches outside the image."""
    down = region.max_y1 - (header.rows - 1) > EXCLUSIVE_BOUND_PX or region.min_y0 < 0
    across = region.max_x1 - (header.columns - 1) > EXCLUSIVE_BOUND_PX or region.min_x0 < 0
    return int(down) + int(across)


def _outside(region: UltrasoundRegion, header: LoopHeader) -> str:
    return (
        f"an ultrasound region (columns {region.min_x0} to {region.max_x1}, rows {region.min_y0} "
        f"to {region.max_y1}) reaches outside the image of {header.columns} columns and "
        f"{header.rows} rows"
    )


def _why_none(header: LoopHeader, points: Sequence[PixelPoint]) -> str:
    if not any(one.is_2d_length for one in header.regions):
        shown = "; ".join(dict.fromkeys(what_it_shows(one) for one in header.regions))
        return (
            "none of the file's ultrasound regions is a 2-D picture measured in centimetres: "
            f"{shown}"
        )
    touched = [
        one
        for one in header.regions
        if any(one.contains(point.row, point.column) for point in points)
    ]
    if any(one.is_2d_length for one in touched):
        return "the ends do not lie in one and the same 2-D ultrasound region"
    if touched:
        return (
            "the ends lie in an ultrasound region that does not measure lengths: "
            f"{what_it_shows(touched[0])}"
        )
    return "the ends lie outside every ultrasound region"


# Region Spatial Format (0018,6012) and the physical units (0018,6024), as PS3.3 C.8.5.5.1 has them.
_FORMATS = {2: "an M-mode strip", 3: "a spectral trace", 4: "a waveform", 5: "graphics"}
_UNITS = {
    0: "no unit",
    1: "percent",
    2: "decibels",
    3: "centimetres",
    4: "seconds",
    5: "hertz",
    6: "decibels per second",
    7: "centimetres per second",
    8: "square centimetres",
    9: "square centimetres per second",
    0xA: "cubic centimetres",
    0xB: "cubic centimetres per second",
    0xC: "degrees",
}


def what_it_shows(region: UltrasoundRegion) -> str:
    """Say what a region shows that is no 2-D picture measured in centimetres."""
    kind = _FORMATS.get(region.spatial_format)
    if kind is not None:
        return f"it is {kind}"
    units = [_UNITS.get(unit, f"unit {unit}") for unit in (region.units_x, region.units_y)]
    curved = " (polar or curved data)" if "degrees" in units else ""
    return f"it measures {units[0]} across and {units[1]} down{curved}"
