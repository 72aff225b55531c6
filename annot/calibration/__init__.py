"""Pixel scales: where millimetres come from, how sure they are and where they hold."""

from annot.calibration.allowances import (
    Allowance,
    DepthPreset,
    all_allowances,
    all_depth_presets,
)
from annot.calibration.borrow_scale import borrow_scale
from annot.calibration.candidates import ScaleCandidate, candidate_scales
from annot.calibration.device_offer import DeviceOffer, device_offers
from annot.calibration.geometry_key import GeometryKey, Region
from annot.calibration.header_scale import FrameScales, header_scale
from annot.calibration.known_objects import KnownSize, french_to_mm
from annot.calibration.make_scale import LoopScale, MadeScale, compared, make_scale
from annot.calibration.region_scales import RegionScales
from annot.calibration.request import (
    BorrowedRequest,
    GivenRequest,
    HeaderRequest,
    ObjectKind,
    ObjectReading,
    ObjectRequest,
    Placing,
    ScaleRequest,
)
from annot.calibration.scale import NoScale, PixelScale
from annot.calibration.scale_agreement import ScaleComparison
from annot.calibration.seen_size import SeenSize
from annot.calibration.ultrasound_region import protects_its_scale

__all__ = [
    "Allowance",
    "BorrowedRequest",
    "DepthPreset",
    "DeviceOffer",
    "FrameScales",
    "GeometryKey",
    "GivenRequest",
    "HeaderRequest",
    "KnownSize",
    "LoopScale",
    "MadeScale",
    "NoScale",
    "ObjectKind",
    "ObjectReading",
    "ObjectRequest",
    "PixelScale",
    "Placing",
    "Region",
    "RegionScales",
    "ScaleCandidate",
    "ScaleComparison",
    "ScaleRequest",
    "SeenSize",
    "all_allowances",
    "all_depth_presets",
    "borrow_scale",
    "candidate_scales",
    "compared",
    "device_offers",
    "french_to_mm",
    "header_scale",
    "make_scale",
    "protects_its_scale",
]
