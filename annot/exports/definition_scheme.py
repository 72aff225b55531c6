"""An appendage as a sketch in mm, and where each quantity's points lie on it: own drawing.

Landmarks stand at named places; what follows from them is computed by the same rules as for a
read, so that a sketch cannot show another rule than the one that is measured.
"""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from annot.geometry import PixelPoint
from annot.measurement.by_landmarks import derived_calipers
from annot.measurement.placed_landmark import LandmarkSet, PlacedLandmark
from annot.vocabulary.device_measurands import COMPRESSIONS, RIDGE_DISTANCE, RIDGE_SWING
from annot.vocabulary.landmarks import LANDMARKS

FloatArray = NDArray[np.float64]
Place = tuple[float, float]

# across and down in mm, the atrium above, the appendage below
WALL, RIDGE, CENTRE = (-12.0, 0.0), (12.0, 0.0), (0.0, 0.0)
ZONE_MM = 10.0
ZONE = ((-10.0, ZONE_MM), (10.0, ZONE_MM))
BEND, END, SECOND_END, CROSSING = (0.0, 18.0), (7.0, 32.0), (-12.5, 19.0), (-6.0, -22.0)
LEAFLET = ((-23.0, -9.0), (-15.0, -15.0))
VESSELS = {
    "circumflex_distance": ((-18.0, 6.0), 1.8),
    "vein_distance": ((20.3, 3.0), 3.6),
    "artery_distance": ((22.0, 20.0), 5.0),
}
TILT_DEG, WIDTH_MM, LENGTH_MM, PROTRUSION_MM = 12.0, 15.0, 10.0, 2.5
MARKS: dict[str, tuple[Place, ...]] = {
    "circumflex": (WALL,),
    "ridge_tip": (RIDGE,),
    "ostium_centre": (CENTRE,),
    "neck_axis": (CENTRE, (0.0, ZONE_MM)),
    "bend": (BEND,),
    "appendage_end": (END,),
    "second_lobe_end": (SECOND_END,),
    "septal_crossing": (CROSSING,),
}
CONTOURS = {"ostium_contour": (24.0, 18.0), "landing_zone_contour": (20.0, 15.5)}


def sketched_landmarks() -> LandmarkSet:
    """Return every landmark at its place on the sketch, one pixel a millimetre."""
    return LandmarkSet(
        frame=0,
        marks=tuple(
            PlacedLandmark(
                name=name, frame=0, points=tuple(PixelPoint(y, x) for x, y in MARKS[name])
            )
            for name in LANDMARKS
        ),
    )


def device_outline() -> tuple[Place, ...]:
    """Return the device's corners: face beside the wall, face beside the ridge, and the far end."""
    turn = math.radians(TILT_DEG)
    along, across = (math.sin(turn), math.cos(turn)), (math.cos(turn), -math.sin(turn))

    def corner(deep: float, side: float) -> Place:
        return (
            deep * along[0] + side * across[0],
            -PROTRUSION_MM + deep * along[1] + side * across[1],
        )

    half = WIDTH_MM / 2
    pairs = ((0.0, -half), (0.0, half), (LENGTH_MM, half), (LENGTH_MM, -half))
    return tuple(corner(deep, side) for deep, side in pairs)


def sketched_points(quantity: str) -> tuple[Place, ...]:
    """Return a quantity's points on the sketch, in the order in which they are drawn.

    Raises
    ------
    KeyError
        If nobody has sketched it.
    """
    if quantity in CONTOURS:
        return _oval(*CONTOURS[quantity])
    follows = {outcome.name: width for width, outcome in COMPRESSIONS.items()}
    follows[RIDGE_SWING.name] = RIDGE_DISTANCE.name
    name = follows.get(quantity, quantity)
    places = {**_drawn(), **_on_device(), **_beside_device(), **_derived()}
    return places[name]


def _derived() -> dict[str, tuple[Place, ...]]:
    found = derived_calipers(sketched_landmarks(), loop="", sop_instance_uid="")
    return {
        one.caliper.measurand.name: tuple((p.column, p.row) for p in one.caliper.points)
        for one in found
    }


def _drawn() -> dict[str, tuple[Place, ...]]:
    return {
        "ostium_width": (WALL, RIDGE),
        "landing_zone_width": ZONE,
        "depth": (CENTRE, BEND, END),
        "neck_angle": (CENTRE, BEND, END),
        "distance": ((-9.0, -16.0), (9.0, -16.0)),
    }


def _on_device() -> dict[str, tuple[Place, ...]]:
    left, right, far_right, far_left = device_outline()
    middle = tuple(_half_way(a, b) for a, b in ((left, far_left), (right, far_right)))
    face, end = _half_way(left, right), _half_way(far_left, far_right)
    inside = (0.0, ZONE_MM)
    return {
        "device_face_width": (left, right),
        "device_shoulder_width": middle,
        "device_end_width": (far_left, far_right),
        "protrusion": (WALL, RIDGE, inside, face),
        "axis_tilt": (CENTRE, inside, face, end),
        "ostium_cover": (WALL, RIDGE, left, right),
        "ridge_distance": (right, RIDGE),
        "gap_width": (wall_at(middle[0][1]), middle[0]),
    }


def wall_at(down: float) -> Place:
    """Return the neck's wall beside the circumflex at a depth between ostium and landing zone."""
    return WALL[0] + (ZONE[0][0] - WALL[0]) * down / ZONE_MM, down


def _beside_device() -> dict[str, tuple[Place, ...]]:
    outline = np.array(device_outline())
    found: dict[str, tuple[Place, ...]] = {}
    for name, (centre, radius) in VESSELS.items():
        near = nearest_on(outline, np.array(centre))
        way = np.array(centre) - near
        found[name] = _pair(near, near + way * (1 - radius / float(np.linalg.norm(way))))
    pairs = [(nearest_on(outline, np.array(end)), np.array(end)) for end in LEAFLET]
    pairs += [(corner, nearest_on(np.array(LEAFLET), corner)) for corner in outline]
    shortest = min(pairs, key=lambda one: float(np.linalg.norm(one[1] - one[0])))
    found["mitral_distance"] = _pair(*shortest)
    return found


def nearest_on(outline: FloatArray, place: FloatArray) -> FloatArray:
    """Return the point of a closed outline, shape (n, 2), nearest to a place."""
    ways = np.roll(outline, -1, axis=0) - outline
    shares = ((place - outline) * ways).sum(axis=1) / (ways**2).sum(axis=1)
    feet = outline + np.clip(shares, 0.0, 1.0)[:, None] * ways
    return np.asarray(feet[int(np.argmin(np.linalg.norm(feet - place, axis=1)))])


def _oval(long_mm: float, short_mm: float) -> tuple[Place, ...]:
    turns = [2 * math.pi * step / 16 for step in range(16)]
    return tuple(
        (long_mm / 2 * math.cos(turn), ZONE_MM + short_mm / 2 * math.sin(turn)) for turn in turns
    )


def _half_way(one: Place, other: Place) -> Place:
    return (one[0] + other[0]) / 2, (one[1] + other[1]) / 2


def _pair(*places: Sequence[float] | FloatArray) -> tuple[Place, ...]:
    return tuple((float(one[0]), float(one[1])) for one in places)
