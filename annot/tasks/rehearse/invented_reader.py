"""The demonstration's invented reader: an unsteady hand that starts from the true places."""

import random
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from synthetic_dicom import Truth

READER = "demo-reader"
STUDY = "HARBOUR-01"
PLACING_PX = 0.8  # how far the hand strays from a true place, standard deviation along an axis
DRAWN = ("ostium_width", "landing_zone_width", "depth")
Fields = dict[str, object]
Px = tuple[float, float]


def reading_frame(truth: "Truth") -> int:
    """Return the frame of the largest ostium; in X-ray, the nearest that contrast fills."""
    if truth.modality == "US":
        return truth.largest_frame
    first, last = truth.image["first_filled_frame"], truth.image["last_filled_frame"]
    return int(min(max(truth.largest_frame, first), last))


def loop_part(truth: "Truth", *, seed: int, after: bool) -> Fields:
    """Return one loop's part of a read as the invented reader would write it.

    Parameters
    ----------
    truth : Truth
    seed : int
        Of the hand, which is another one on every loop.
    after : bool
        Whether an implant is measured, else what planning draws.
    """
    hand = random.Random(f"{seed}, {truth.case}")
    # a plane square to the neck, as cut from a volume, has no multiplane angle
    plane = getattr(truth.geometry, "plane_deg", None) if truth.calipers else None
    return {
        "file": truth.file,
        "sop_instance_uid": truth.sop_instance_uid,
        "scale": scale_part(truth, hand),
        "view": {} if plane is None else {"plane_deg": plane},
        "conditions": {"loading": "not stated", "rhythm": "sinus", "moment": "largest"},
        "calipers": _device(truth, hand) if after else planned(truth, hand),
        "landmarks": _landmarks(truth, hand),
    }


def scale_part(truth: "Truth", hand: random.Random) -> Fields:
    """Trace the reference object roughly; a catheter in several frames before contrast comes."""
    if truth.modality == "US":
        return {"kind": "header"}
    one = truth.objects[0]
    frames = range(min(5, len(truth.frame_times_ms)))
    if one.kind == "sphere":
        assert one.centre_px is not None
        assert one.radius_px is not None
        looks = [
            {
                "frame": frame,
                "centre_px": strayed(one.centre_px, hand, 2.0, shift=one.shift_px[frame]),
                "radius_px": round(one.radius_px * 1.05, 1),
            }
            for frame in frames
        ]
        # the ball lies on the skin on the source's side, so the anatomy lies farther away
        return {
            "kind": "sphere",
            "diameter_mm": one.size_mm,
            "tolerance_mm": 0.02,
            "depth_range_mm": [-50, 0],
            "readings": looks,
        }
    assert one.axis_px is not None
    traces = [
        {
            "frame": frame,
            "axis_px": [
                strayed(point, hand, 1.5, shift=one.shift_px[frame]) for point in one.axis_px
            ],
        }
        for frame in frames
    ]
    return {
        "kind": "catheter",
        "size_mm": one.size_mm,
        "tolerance_mm": 0.01,
        "other_mm": one.inner_mm,
        "filling": one.filling,
        "depth_offset_mm": 20,
        "readings": traces,
    }


def planned(truth: "Truth", hand: random.Random) -> list[Fields]:
    """Draw what planning asks for where the ostium is largest."""
    frame, parts = reading_frame(truth), []
    if not truth.calipers:
        return [_contour(truth, frame, hand)]
    for quantity in DRAWN:
        true = truth.caliper(quantity, frame)
        part = _caliper(truth.case, quantity, frame, _placed(true.points_px, hand))
        if true.view_deg is not None:
            part["view_deg"] = round(true.view_deg % 180.0, 3)
        if quantity == "depth":
            part["tilt_deg"] = 20
        elif truth.modality == "US":
            part["tilt_deg"] = 5
        parts.append(part)
    parts += [
        _caliper(truth.case, one.quantity, frame, _placed(one.points_px, hand))
        for one in truth.derived
        if (one.quantity, one.frame) == ("neck_angle", frame) and truth.modality != "US"
    ]
    return parts


def _contour(truth: "Truth", frame: int, hand: random.Random) -> Fields:
    """Draw once round the section that a plane square to the neck shows."""
    rim = next(one for one in truth.derived if (one.frame, one.unit) == (frame, "mm2"))
    quantity = rim.quantity.replace("_area", "_contour")
    return _caliper(truth.case, quantity, frame, _placed(rim.points_px, hand)) | {"tilt_deg": 5}


def _device(truth: "Truth", hand: random.Random) -> list[Fields]:
    frame = reading_frame(truth)
    return [
        _caliper(truth.case, one.quantity, frame, _placed(one.points_px, hand))
        for one in truth.device
        if one.frame == frame
    ]


def _caliper(case: str, quantity: str, frame: int, points_px: list[list[float]]) -> Fields:
    return {
        "id": f"{case}-{quantity.removesuffix('_width')}",
        "quantity": quantity,
        "frame": frame,
        "points_px": points_px,
        "u_end_px": PLACING_PX,
        "moment": "largest",
    }


def _landmarks(truth: "Truth", hand: random.Random) -> list[Fields]:
    frame = reading_frame(truth)
    return [
        {
            "name": one.name,
            "frame": frame,
            "points_px": _placed(one.points_px, hand),
            "u_px": PLACING_PX,
        }
        for one in truth.landmarks
        if one.frame == frame
    ]


def _placed(points_px: tuple[Px, ...], hand: random.Random) -> list[list[float]]:
    return [strayed(point, hand, PLACING_PX) for point in points_px]


def strayed(point: Px, hand: random.Random, sd_px: float, *, shift: Px = (0.0, 0.0)) -> list[float]:
    """Return where an unsteady hand puts a point that has moved by a shift."""
    return [
        round(place + moved + hand.gauss(0.0, sd_px), 2)
        for place, moved in zip(point, shift, strict=True)
    ]
