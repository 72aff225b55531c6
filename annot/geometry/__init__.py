"""Plane and view: points, lengths, profiles. No image file, no uncertainty."""

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
    "length_px",
    "normals_of",
    "pixel_point",
    "profiles",
    "to_image_point",
    "to_pixel_point",
]
