"""Named places of the appendage in space, how a view shows them, and the numbers between them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from synthetic_dicom.filled_shape import FilledShape, filled_shape
from synthetic_dicom.phantom_truth import point
from synthetic_dicom.quadrics import FloatArray
from synthetic_dicom.scene import BeatingAnatomy
from synthetic_dicom.truth import CaliperTruth, LandmarkTruth, PointPx, SeenTruth
from synthetic_dicom.ultrasound_view import Panel
from synthetic_dicom.xray_device import ray_at
from synthetic_dicom.xray_image import XrayScene, object_shifts_mm

# Own invention: where a sheath enters the atrium, in the plane at 45° and 31 mm before the ostium.
CROSSING_DEG, CROSSING_ASIDE_MM, CROSSING_BEFORE_MM = 45.0, -5.0, 31.0
_HELD_MM = 0.5
_LOBE = 2

Places = Mapping[str, FloatArray]


def places_mm(beating: BeatingAnatomy, frame: int) -> dict[str, FloatArray]:
    """Return the places of one frame in the neck's frame; the crossing does not beat."""
    anatomy, stretch = beating.anatomy, beating.stretches()[frame]
    crossing = CROSSING_ASIDE_MM * anatomy.in_frame(CROSSING_DEG)
    return {
        "ostium_centre": np.zeros(3),
        "inner": np.array([0.0, 0.0, float(beating.landing_depths_mm()[frame])]),
        "bend": stretch * anatomy.bend_corner_mm(),
        "appendage_end": stretch * anatomy.tip_mm(),
        "second_lobe_end": stretch * anatomy.lobe_end_mm(_LOBE),
        "septal_crossing": crossing - np.array([0.0, 0.0, CROSSING_BEFORE_MM]),
    }


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SeenPlaces:
    """Places of one frame in one view.

    Attributes
    ----------
    flat_mm : mapping of name to ndarray, shape (2,)
        In the plane of the picture, in mm.
    px : mapping of name to (row, column)
    """

    flat_mm: Places
    px: Mapping[str, PointPx]


def in_plane(panel: Panel, beating: BeatingAnatomy, frame: int) -> SeenPlaces:
    """Return the places as an ultrasound plane shows them.

    What lies beside the plane is marked where it comes nearest; crossing and second lobe are left
    out unless the plane holds them.
    """
    side = beating.anatomy.in_frame(panel.plane_deg)
    found = places_mm(beating, frame)
    held = {
        name: place
        for name, place in found.items()
        if name not in {"septal_crossing", "second_lobe_end"}
        or abs(float(place @ np.cross([0.0, 0.0, 1.0], side))) < _HELD_MM
    }
    flat = {name: np.array([place @ side, place[2]]) for name, place in held.items()}
    px = {
        name: panel.to_px(float(x), panel.ostium_depth_mm + float(z))
        for name, (x, z) in flat.items()
    }
    return SeenPlaces(flat_mm=flat, px=px)


def in_projection(place: FilledShape, beating: BeatingAnatomy, frame: int) -> SeenPlaces:
    """Return the places as a projection shows them: flat along the ray through the ostium."""
    ray = ray_at(place, place.ostium_mm)
    first = np.cross(ray, np.array([0.0, 1.0, 0.0]))
    first = first / np.linalg.norm(first)
    plane = np.array([first, np.cross(ray, first)])
    found = {name: place.turn.T @ at for name, at in places_mm(beating, frame).items()}
    return SeenPlaces(
        flat_mm={name: plane @ at for name, at in found.items()},
        px={name: point(place.setup.project(place.ostium_mm + at)) for name, at in found.items()},
    )


def landmarks_of(seen: SeenPlaces, ostium: CaliperTruth, frame: int) -> Iterator[LandmarkTruth]:
    """Return the landmarks of one frame; the ostium's ends are those of its caliper."""
    px = seen.px
    places: dict[str, tuple[PointPx, ...]] = {
        "circumflex": (ostium.points_px[0],),
        "ridge_tip": (ostium.points_px[1],),
        "neck_axis": (px["ostium_centre"], px["inner"]),
        **{name: (at,) for name, at in px.items() if name != "inner"},
    }
    return (
        LandmarkTruth(name=name, frame=frame, points_px=points) for name, points in places.items()
    )


def derived_of(seen: SeenPlaces, ostium: CaliperTruth, frame: int) -> Iterator[SeenTruth]:
    """Return the numbers between the places of one frame, as the view shows them."""
    flat = seen.flat_mm
    yield SeenTruth(
        quantity="ostium_by_landmarks",
        frame=frame,
        points_px=ostium.points_px,
        value=ostium.value_mm,
        unit="mm",
    )
    paths: dict[str, tuple[str, ...]] = {
        "depth_straight": ("ostium_centre", "appendage_end"),
        "depth_bent": ("ostium_centre", "bend", "appendage_end"),
        "bend_distance": ("ostium_centre", "bend"),
        "second_lobe_depth": ("ostium_centre", "second_lobe_end"),
        "crossing_distance": ("septal_crossing", "ostium_centre"),
    }
    angles = {
        "neck_angle": ("ostium_centre", "bend", "appendage_end"),
        "neck_angle_by_landmarks": ("ostium_centre", "bend", "appendage_end"),
        "crossing_angle": ("septal_crossing", "ostium_centre", "inner"),
    }
    for quantity, names in (*paths.items(), *angles.items()):
        if all(name in flat for name in names):
            at = [flat[name] for name in names]
            angle = quantity in angles
            yield SeenTruth(
                quantity=quantity,
                frame=frame,
                points_px=tuple(seen.px[name] for name in names),
                value=_angle_deg(at) if angle else _path_mm(at),
                unit="deg" if angle else "mm",
            )


def _path_mm(at: Sequence[FloatArray]) -> float:
    return float(np.linalg.norm(np.diff(np.array(at), axis=0), axis=1).sum())


def _angle_deg(at: Sequence[FloatArray]) -> float:
    first, last = at[0] - at[1], at[2] - at[1]
    cosine = first @ last / np.linalg.norm(first) / np.linalg.norm(last)
    return float(np.rad2deg(np.arccos(np.clip(cosine, -1.0, 1.0))))


def views_of_places(
    scene: XrayScene | Panel, beating: BeatingAnatomy
) -> Iterator[tuple[int, SeenPlaces]]:
    """Return every frame's places as a projection or a plane shows them."""
    if isinstance(scene, Panel):
        for frame in range(len(beating.times_ms)):
            yield frame, in_plane(scene, beating, frame)
        return
    for frame, shift in enumerate(object_shifts_mm(beating)):
        place = filled_shape(scene.setup, beating, index=frame, ostium_mm=scene.ostium_mm(shift))
        yield frame, in_projection(place, beating, frame)
