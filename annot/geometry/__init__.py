"""Plane and view: points, lengths, profiles. No image file, no uncertainty."""

from annot.geometry.closed_curve import (
    chord_knots,
    crosses_itself,
    polygon_area,
    polygon_perimeter,
    smooth_area,
    smooth_perimeter,
)
from annot.geometry.points import (
    ImagePoint,
    PixelPoint,
    pixel_point,
    to_image_point,
    to_pixel_point,
)
from annot.geometry.segments import along, length_px, normals_of, profiles

__all__ = [
    "ImagePoint",
    "PixelPoint",
    "along",
    "chord_knots",
    "crosses_itself",
    "length_px",
    "normals_of",
    "pixel_point",
    "polygon_area",
    "polygon_perimeter",
    "profiles",
    "smooth_area",
    "smooth_perimeter",
    "to_image_point",
    "to_pixel_point",
]
