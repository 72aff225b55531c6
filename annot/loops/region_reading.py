"""Fill ultrasound regions from a header, noting those that do not fit the image."""

from annot.loops.attributes import Attributes, is_pixel_side
from annot.loops.ultrasound_regions import (
    MM_PER_CM,
    SPATIAL_2D,
    UNIT_CM,
    UNIT_NONE,
    UltrasoundRegion,
)

_BOX = (
    "RegionLocationMinX0",
    "RegionLocationMinY0",
    "RegionLocationMaxX1",
    "RegionLocationMaxY1",
)
_CODES = (
    "RegionSpatialFormat",
    "RegionDataType",
    "RegionFlags",
    "PhysicalUnitsXDirection",
    "PhysicalUnitsYDirection",
)


def read_regions(
    attributes: Attributes, *, rows: int, columns: int
) -> tuple[UltrasoundRegion, ...]:
    """Read all ultrasound regions; one without a usable rectangle or codes is left out.

    Parameters
    ----------
    attributes
        The header; faults are noted there.
    rows, columns
        Size of the image the regions must lie in.
    """
    regions = []
    for number, item in enumerate(attributes.items("SequenceOfUltrasoundRegions"), start=1):
        place = f"Ultrasound region {number}: "
        region = _read_region(Attributes(item, attributes.warnings, place=place))
        if region is None:
            continue
        regions.append(region)
        if not region.inside(rows, columns):
            attributes.warn(
                f"{place}its rectangle (columns {region.min_x0} to {region.max_x1}, rows "
                f"{region.min_y0} to {region.max_y1}) leaves the image of {columns} columns and "
                f"{rows} rows, so its scale may belong to another size of this image."
            )
    return tuple(regions)


def _read_region(item: Attributes) -> UltrasoundRegion | None:
    box = [item.whole(keyword) for keyword in _BOX]
    codes = [item.whole(keyword) for keyword in _CODES]
    missing = [
        keyword
        for keyword, value in zip((*_BOX, *_CODES), (*box, *codes), strict=True)
        if value is None
    ]
    if missing:
        item.warn(f"{', '.join(missing)} missing or unreadable; the region is not used.")
        return None
    min_x0, min_y0, max_x1, max_y1 = (value for value in box if value is not None)
    spatial_format, data_type, flags, units_x, units_y = (v for v in codes if v is not None)
    if min_x0 > max_x1 or min_y0 > max_y1:
        item.warn("its rectangle ends before it begins; the region is not used.")
        return None
    region = UltrasoundRegion(
        min_x0=min_x0,
        min_y0=min_y0,
        max_x1=max_x1,
        max_y1=max_y1,
        spatial_format=spatial_format,
        data_type=data_type,
        flags=flags,
        units_x=units_x,
        units_y=units_y,
        delta_x=_delta(item, "PhysicalDeltaX", units_x),
        delta_y=_delta(item, "PhysicalDeltaY", units_y),
        reference_x0=item.whole("ReferencePixelX0"),
        reference_y0=item.whole("ReferencePixelY0"),
    )
    _check_scale(item, region)
    return region


def _delta(item: Attributes, keyword: str, units: int) -> float | None:
    step = item.number(keyword)
    if step and units == UNIT_CM and not is_pixel_side(abs(step) * MM_PER_CM):
        item.warn(f"{keyword} is {step:g} cm, which is no size of a pixel, and is not used.")
        return None
    if step:
        return step
    if step == 0 and units != UNIT_NONE:
        item.warn(f"{keyword} is 0, which is no step, and is not used.")
    return None


def _check_scale(item: Attributes, region: UltrasoundRegion) -> None:
    if region.spatial_format != SPATIAL_2D:
        return
    if not region.is_2d_length:
        item.warn("a 2-D region without usable steps in cm; it gives no scale.")
    elif min(region.delta_x or 0, region.delta_y or 0) < 0:
        item.warn("a 2-D region with a negative step; its size is used, its direction is not.")
