"""What is true in an X-ray view: silhouette widths, depth, and the reference objects' places."""

from __future__ import annotations

import numpy as np

from synthetic_dicom.course import Course
from synthetic_dicom.filled_shape import FilledShape, filled_shape
from synthetic_dicom.phantom_truth import phantom_truth, point
from synthetic_dicom.quadrics import FloatArray
from synthetic_dicom.reference_objects import Catheter, MarkerBands, ReferenceObject, Sphere
from synthetic_dicom.scene import BeatingAnatomy
from synthetic_dicom.slope import Slope
from synthetic_dicom.truth import CaliperTruth, ObjectTruth, PointPx
from synthetic_dicom.xray_image import XrayScene, object_shifts_mm, scene_shifts_mm
from synthetic_dicom.xray_view import XraySetup

_TIP_MARGIN_MM = 3.0
_EDGE_MARGIN_PX = 16.0


def xray_calipers(scene: XrayScene, beating: BeatingAnatomy) -> tuple[CaliperTruth, ...]:
    """Return ostium width, landing-zone width and depth for every frame."""
    shifts = object_shifts_mm(beating)
    ostium, landing = beating.ostium_axes_mm(), beating.landing_zone_axes_mm()
    depths, tips = beating.landing_depths_mm(), beating.tips_mm()
    calipers = []
    for index, shift in enumerate(shifts):
        place = filled_shape(scene.setup, beating, index=index, ostium_mm=scene.ostium_mm(shift))
        for quantity, axes, depth in (
            ("ostium_width", ostium[index], 0.0),
            ("landing_zone_width", landing[index], float(depths[index])),
        ):
            orientation = beating.anatomy.orientation_deg
            calipers.append(
                silhouette_caliper(
                    place, axes, (quantity, index), depth_mm=depth, orientation_deg=orientation
                )
            )
        calipers.append(_depth_caliper(place, tips[index], index))
    return tuple(calipers)


def silhouette_caliper(
    place: FilledShape,
    axes_mm: FloatArray,
    name: tuple[str, int],
    *,
    depth_mm: float,
    orientation_deg: float,
) -> CaliperTruth:
    """Return the width of an elliptical section's shadow across the projected neck.

    The section's extreme points across the neck are slid along the neck until the line between
    their shadows crosses the axis's shadow at a right angle, at the section's centre: the caliper
    a careful reader would draw. The width is √(D²cos²φ + d²sin²φ) of the section's axes.

    Parameters
    ----------
    place : FilledShape
        Where the neck is in the view.
    axes_mm : ndarray, shape (2,)
        Full axes of the section.
    name : tuple
        Quantity and frame.
    depth_mm : float
        Distance of the section from the ostium along the neck.
    orientation_deg : float
        Direction of the section's major axis from the cross-section's zero.
    """
    to_view = place.turn.T
    neck = to_view[:, 2]
    centre = place.ostium_mm + depth_mm * neck
    ray = centre - place.setup.source_mm()
    ray /= np.linalg.norm(ray)
    across = np.cross(neck, ray)
    across /= np.linalg.norm(across)
    in_section = place.turn @ across
    half = 0.5 * axes_mm
    support = float(np.sqrt(((half * in_section[:2]) ** 2).sum()))
    extreme = to_view @ np.array([*(half**2 * in_section[:2] / support), 0.0])
    seen_neck = neck - (neck @ ray) * ray
    extreme -= (extreme @ seen_neck) / (neck @ seen_neck) * neck
    ends = place.setup.project(np.array([centre - extreme, centre + extreme]))
    direction = np.rad2deg(np.arctan2(in_section[1], in_section[0])) + orientation_deg
    return CaliperTruth(
        quantity=name[0],
        frame=name[1],
        points_px=(point(ends[0]), point(ends[1])),
        value_mm=2.0 * support,
        view_deg=float(direction % 180.0),
        foreshortening_deg=float(np.rad2deg(np.arcsin(abs(neck @ ray)))),
        mm_per_px=place.setup.mm_per_px(float(centre[2])),
    )


def _depth_caliper(place: FilledShape, tip_mm: FloatArray, frame: int) -> CaliperTruth:
    """Return the straight distance from the ostium's centre to the appendage's end."""
    centre = place.ostium_mm
    reach = place.turn.T @ tip_mm
    length = float(np.linalg.norm(reach))
    middle = centre + 0.5 * reach
    ray = middle - place.setup.source_mm()
    out_of_plane = abs(float(reach @ ray)) / (length * float(np.linalg.norm(ray)))
    ends = place.setup.project(np.array([centre, centre + reach]))
    return CaliperTruth(
        quantity="depth",
        frame=frame,
        points_px=(point(ends[0]), point(ends[1])),
        value_mm=length,
        view_deg=None,
        foreshortening_deg=float(np.rad2deg(np.arcsin(out_of_plane))),
        mm_per_px=place.setup.mm_per_px(float(middle[2])),
    )


def xray_objects(scene: XrayScene, beating: BeatingAnatomy) -> tuple[ObjectTruth, ...]:
    """Return the reference objects with their exact places and projected sizes."""
    shifts = scene_shifts_mm(scene, beating)
    return tuple(_object_truth(scene.setup, item, shifts) for item in scene.objects)


def _object_truth(setup: XraySetup, item: ReferenceObject, shifts: FloatArray) -> ObjectTruth:
    scale = setup.mm_per_px(item.height_mm())
    moved = shifts[:, ::-1] / np.array(scale)
    shift_px = tuple(point(shift) for shift in moved)
    if isinstance(item, Sphere):
        return _sphere_truth(setup, item, shift_px)
    if isinstance(item, Catheter):
        return _catheter_truth(setup, item, shift_px)
    if isinstance(item, MarkerBands):
        return _marker_truth(setup, item, shift_px)
    return phantom_truth(setup, item, shift_px)


def _catheter_truth(setup: XraySetup, item: Catheter, shift_px: tuple[PointPx, ...]) -> ObjectTruth:
    return ObjectTruth(
        id=item.id,
        kind="catheter",
        size_mm=item.outer_mm,
        surface="outer",
        inner_mm=item.inner_mm,
        filling="contrast" if item.filled else "empty",
        stripe=item.stripe,
        depth_h_mm=item.path.height_mm,
        mm_per_px=setup.mm_per_px(item.path.height_mm),
        size_px=shadow_width_px(setup, item),
        axis_px=visible_axis_px(setup, item.path, shift_px),
        shift_px=shift_px,
    )


def visible_axis_px(
    setup: XraySetup, path: Course, shift_px: tuple[PointPx, ...]
) -> tuple[PointPx, ...]:
    """Return the axis where it is clear of the image's edge in every frame and of the tip."""
    along = np.arange(_TIP_MARGIN_MM, path.length_mm() - _TIP_MARGIN_MM, 0.25)
    pixels = setup.project(np.array([path.point_mm(float(place)) for place in along]))
    moved = pixels[:, np.newaxis, :] + np.array(shift_px)[np.newaxis]
    size = np.array([setup.rows, setup.columns])
    clear = ((moved >= _EDGE_MARGIN_PX) & (moved <= size - 1 - _EDGE_MARGIN_PX)).all(axis=(1, 2))
    seen = pixels[clear]
    count = 2 if path.bend_per_mm == 0.0 else 9
    chosen = np.linspace(0, len(seen) - 1, count).round().astype(int)
    return tuple(point(pixel) for pixel in seen[chosen])


def shadow_width_px(setup: XraySetup, item: Catheter | Sphere) -> float:
    """Return the exact width of the shadow of a tube's middle, or a ball's mean shadow diameter.

    Both edges are rays that touch the surface. For a ball the shadow is an ellipse and this is
    the diameter of the circle of the same area.
    """
    if isinstance(item, Sphere):
        off = float(np.hypot(*item.centre_mm[:2]))
        away, radius = setup.sod_mm - item.centre_mm[2], 0.5 * item.diameter_mm
        along = tangent_width_mm(setup.sid_mm, off, (away, radius))
        turn, sine = np.arctan2(off, away), radius / np.hypot(off, away)
        # minor axis of the section of the tangent cone by the detector
        across = 2.0 * setup.sid_mm * sine / np.sqrt(np.cos(turn) ** 2 - sine**2)
        return float(np.sqrt(along * across) / np.sqrt(np.prod(setup.spacing_mm)))
    path = item.path
    middle = path.point_mm(0.5 * path.length_mm())[np.newaxis, :2]
    tangent = path.locate(middle.T)[2][:, 0]
    off = abs(float(middle[0, 1] * tangent[0] - middle[0, 0] * tangent[1]))
    width = tangent_width_mm(
        setup.sid_mm, off, (setup.sod_mm - path.height_mm, 0.5 * item.outer_mm)
    )
    return float(width / np.sqrt(np.prod(setup.spacing_mm)))


def tangent_width_mm(sid_mm: float, off_mm: float, circle_mm: tuple[float, float]) -> float:
    """Return the shadow's width at the detector of a circle (distance from source, radius)."""
    away, radius = circle_mm
    middle = np.arctan2(off_mm, away)
    half = np.arcsin(radius / np.hypot(off_mm, away))
    return float(sid_mm * (np.tan(middle + half) - np.tan(middle - half)))


def _sphere_truth(setup: XraySetup, item: Sphere, shift_px: tuple[PointPx, ...]) -> ObjectTruth:
    size = shadow_width_px(setup, item)
    return ObjectTruth(
        id=item.id,
        kind="sphere",
        size_mm=item.diameter_mm,
        surface="outer",
        inner_mm=None,
        filling=None,
        stripe=False,
        depth_h_mm=item.centre_mm[2],
        mm_per_px=setup.mm_per_px(item.centre_mm[2]),
        size_px=size,
        centre_px=point(setup.project(np.array(item.centre_mm))),
        radius_px=0.5 * size,
        shift_px=shift_px,
    )


def _marker_truth(
    setup: XraySetup, item: MarkerBands, shift_px: tuple[PointPx, ...]
) -> ObjectTruth:
    centres = item.centres_mm()
    bands = setup.project(np.array([item.path.point_mm(centre) for centre in centres]))
    span = _arc_px(setup, item.path, centres)
    gaps = round((centres[-1] - centres[0]) / item.spacing_mm)
    return ObjectTruth(
        id=item.id,
        kind="markers",
        size_mm=item.spacing_mm,
        surface=None,
        inner_mm=None,
        filling=None,
        stripe=False,
        depth_h_mm=item.path.height_mm,
        mm_per_px=setup.mm_per_px(item.path.height_mm),
        size_px=span / gaps,
        axis_px=_traced_px(setup, item),
        tilt_deg=item.path.tilt_deg if isinstance(item.path, Slope) else 0.0,
        missing=item.missing,
        band_px=tuple(point(band) for band in bands),
        shift_px=shift_px,
    )


def _arc_px(setup: XraySetup, path: Course | Slope, limits_mm: tuple[float, ...]) -> float:
    """Return the length of the shadow of a path from the first to the last place."""
    fine = np.linspace(limits_mm[0], limits_mm[-1], 2001)
    shadow = setup.project(np.array([path.point_mm(float(place)) for place in fine]))
    return float(np.hypot(*np.diff(shadow, axis=0).T).sum())


def _traced_px(setup: XraySetup, item: MarkerBands) -> tuple[PointPx, ...]:
    """Return a trace from before the first band to beyond the last, 2 points or 9 on a bend."""
    first, *_, last = item.centres_mm()
    reach = 0.25 * item.spacing_mm
    bent = isinstance(item.path, Course) and item.path.bend_per_mm != 0.0
    places = np.linspace(first - reach, last + reach, 9 if bent else 2)
    return tuple(point(setup.project(item.path.point_mm(float(place)))) for place in places)
