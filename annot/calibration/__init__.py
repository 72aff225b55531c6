"""Pixel scales: where millimetres come from, how sure they are and where they hold."""

from annot.calibration.allowances import Allowance, all_allowances
from annot.calibration.header_scale import RegionScales, header_scale
from annot.calibration.known_objects import KnownSize, french_to_mm
from annot.calibration.make_scale import LoopScale, MadeScale, borrow_scale, make_scale
from annot.calibration.object_in_frame import SeenSize
from annot.calibration.request import (
    BorrowedRequest,
    GivenRequest,
    HeaderRequest,
    ObjectReading,
    ObjectRequest,
    Placing,
    ScaleRequest,
)
from annot.calibration.scale import GeometryKey, NoScale, PixelScale, Region

__all__ = [
    "Allowance",
    "BorrowedRequest",
    "GeometryKey",
    "GivenRequest",
    "HeaderRequest",
    "KnownSize",
    "LoopScale",
    "MadeScale",
    "NoScale",
    "ObjectReading",
    "ObjectRequest",
    "PixelScale",
    "Placing",
    "Region",
    "RegionScales",
    "ScaleRequest",
    "SeenSize",
    "all_allowances",
    "borrow_scale",
    "french_to_mm",
    "header_scale",
    "make_scale",
]
