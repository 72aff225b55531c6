"""The ultrasound region that rules a line (PS3.3 C.8.5.5), or why none does."""

from collections.abc import Sequence

from annot.calibration.scale import NoScale
from annot.geometry import PixelPoint
from annot.loops import LoopHeader, UltrasoundRegion


def region_for(header: LoopHeader, points: Sequence[PixelPoint]) -> UltrasoundRegion | NoScale:
    """Return the region that holds all points and measures lengths.

    A region that reaches outside the image shows that the picture was cut or resized after the
    regions were written, so no region of such a file is trusted.
    """
    if not header.regions:
        return NoScale(reason="the file has no ultrasound regions, so its pixels have no size")
    stale = [one for one in header.regions if not one.inside(header.rows, header.columns)]
    if stale:
        one = stale[0]
        return NoScale(
            reason=(
                f"an ultrasound region (columns {one.min_x0} to {one.max_x1}, rows {one.min_y0} to "
                f"{one.max_y1}) reaches outside the image of {header.columns} columns and "
                f"{header.rows} rows: the picture was resized after calibration"
            )
        )
    holding = [
        one
        for one in header.regions
        if one.is_2d_length and all(one.contains(point.row, point.column) for point in points)
    ]
    if not holding:
        return NoScale(reason=_why_none(header, points))
    sizes = {one.mm_per_px for one in holding}
    if len(sizes) > 1:
        return NoScale(
            reason=f"{len(holding)} overlapping ultrasound regions give different pixel sizes"
        )
    return holding[0]


def _why_none(header: LoopHeader, points: Sequence[PixelPoint]) -> str:
    if not any(one.is_2d_length for one in header.regions):
        return "none of the file's ultrasound regions is a 2-D picture measured in centimetres"
    touched = [
        one
        for one in header.regions
        if any(one.contains(point.row, point.column) for point in points)
    ]
    if any(one.is_2d_length for one in touched):
        return "the ends do not lie in one and the same 2-D ultrasound region"
    if touched:
        return "the ends lie in an ultrasound region that does not measure lengths"
    return "the ends lie outside every ultrasound region"
