"""What is true of a synthetic loop: sizes, places and scales, kept as JSON beside the file."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any

PointPx = tuple[float, float]
Pair = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class XrayGeometryTruth:
    """How an X-ray loop was projected, whatever its header says."""

    sid_mm: float
    sod_mm: float
    imager_spacing_mm: Pair
    primary_deg: float
    secondary_deg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class UltrasoundGeometryTruth:
    """Where an ultrasound plane lies in the image; ``region`` is x0, y0, x1, y1, inclusive."""

    plane_deg: float
    mm_per_px: Pair
    region: tuple[int, int, int, int]
    apex_px: PointPx
    header_region: tuple[int, int, int, int] | None


@dataclass(frozen=True, slots=True, kw_only=True)
class AnatomyTruth:
    """The appendage itself.

    Attributes
    ----------
    ostium_axes_mm, landing_zone_axes_mm : tuple of pairs
        Full (major, minor) axes in each frame.
    orientation_deg : float
        Direction of the major axis, in the directions of ``view_deg``.
    depth_mm : tuple of float
        Straight distance from the ostium's centre to the appendage's end, in each frame.
    landing_zone_from_ostium_mm : tuple of float
        Distance between the two planes, in each frame.
    depth_h_mm : float or None
        Height of the ostium's centre above the isocentre along the central ray, towards the
        source; ``None`` in ultrasound.
    mm_per_px : pair
        Scale (row, column) at the ostium's centre.
    """

    ostium_axes_mm: tuple[Pair, ...]
    landing_zone_axes_mm: tuple[Pair, ...]
    orientation_deg: float
    depth_mm: tuple[float, ...]
    landing_zone_from_ostium_mm: tuple[float, ...]
    bend_deg: float
    depth_h_mm: float | None
    mm_per_px: Pair


@dataclass(frozen=True, slots=True, kw_only=True)
class ObjectTruth:
    """A reference object; places hold for the frame with zero ``shift_px``.

    ``tilt_deg`` is the angle between a wire and the detector's plane; ``missing`` says which bands
    of a row, or nodes of a grid (by their steps), are not there. A grid's nodes stand row by row
    along its first direction, which is turned by ``turn_deg`` from the rows downwards; a plate's
    edges are given by their middles.
    """

    id: str
    kind: str
    size_mm: float
    surface: str | None
    inner_mm: float | None
    filling: str | None
    stripe: bool
    depth_h_mm: float
    mm_per_px: Pair
    size_px: float
    axis_px: tuple[PointPx, ...] | None = None
    centre_px: PointPx | None = None
    radius_px: float | None = None
    band_px: tuple[PointPx, ...] | None = None
    tilt_deg: float = 0.0
    node_px: tuple[tuple[PointPx, ...], ...] | None = None
    edge_px: tuple[PointPx, ...] | None = None
    turn_deg: float | None = None
    missing: tuple[Any, ...] = ()
    shift_px: tuple[Pair, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class CaliperTruth:
    """One true distance in one frame.

    ``view_deg`` is the direction in the cross-section's plane, 0 to 180, ``None`` for a depth.
    ``foreshortening_deg`` is the angle between the distance and the plane that is seen.
    """

    quantity: str
    frame: int
    points_px: tuple[PointPx, PointPx]
    value_mm: float
    view_deg: float | None
    foreshortening_deg: float | None
    mm_per_px: Pair


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenTruth:
    """One true number in one frame, as the view shows it; unit mm, deg or 1."""

    quantity: str
    frame: int
    points_px: tuple[PointPx, ...]
    value: float
    unit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LandmarkTruth:
    """Where a landmark lies in one frame; an axis has two points."""

    name: str
    frame: int
    points_px: tuple[PointPx, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """Everything known about one file.

    ``image`` says what the recording did to an X-ray picture: the system blur's standard
    deviation in pixels, the scatter in stored values, and the first and last frame in which the
    appendage is well filled. ``largest_frame`` is that of the ostium's width. A phantom shows no
    appendage and has no ``calipers``. ``device`` is what an implant measures, ``derived`` what
    follows from the landmarks' places in space.
    """

    case: str
    file: str
    sop_instance_uid: str
    modality: str
    seed: int
    rows: int
    columns: int
    frame_times_ms: tuple[float, ...]
    r_wave_times_ms: tuple[float, ...]
    geometry: XrayGeometryTruth | UltrasoundGeometryTruth
    anatomy: AnatomyTruth
    objects: tuple[ObjectTruth, ...]
    calipers: tuple[CaliperTruth, ...]
    largest_frame: int
    image: Mapping[str, float] = field(default_factory=dict)
    landmarks: tuple[LandmarkTruth, ...] = ()
    device: tuple[SeenTruth, ...] = ()
    derived: tuple[SeenTruth, ...] = ()

    def caliper(self, quantity: str, frame: int) -> CaliperTruth:
        """Return the first true caliper of a quantity in a frame."""
        for caliper in self.calipers:
            if caliper.quantity == quantity and caliper.frame == frame:
                return caliper
        raise KeyError(f"{self.case}: no true {quantity} in frame {frame}")


def truth_to_json(truth: Truth) -> str:
    """Return the JSON text kept beside a file; every float survives the round trip."""
    return json.dumps({"synthetic_truth": 1, **asdict(truth)}, indent=1, allow_nan=False) + "\n"


def truth_from_json(text: str) -> Truth:
    """Read back what `truth_to_json` wrote.

    Raises
    ------
    ValueError
        If the text is no version 1 truth.
    """
    content = json.loads(text)
    if not isinstance(content, dict) or content.pop("synthetic_truth", None) != 1:
        raise ValueError("This is no synthetic truth of version 1: regenerate the loop.")
    plain: dict[str, Any] = {key: _frozen(value) for key, value in content.items()}
    shape = UltrasoundGeometryTruth if "plane_deg" in plain["geometry"] else XrayGeometryTruth
    plain["geometry"] = shape(**plain["geometry"])
    plain["anatomy"] = AnatomyTruth(**plain["anatomy"])
    plain["objects"] = tuple(ObjectTruth(**item) for item in plain["objects"])
    plain["calipers"] = tuple(CaliperTruth(**item) for item in plain["calipers"])
    plain["landmarks"] = tuple(LandmarkTruth(**item) for item in plain.get("landmarks", ()))
    for name in ("device", "derived"):
        plain[name] = tuple(SeenTruth(**item) for item in plain.get(name, ()))
    return Truth(**plain)


def _frozen(value: Any) -> Any:
    """Turn JSON lists into tuples, at every depth."""
    if isinstance(value, list):
        return tuple(_frozen(item) for item in value)
    if isinstance(value, dict):
        return {key: _frozen(item) for key, item in value.items()}
    return value
