"""What lies beside the implant: vessels cut across and a leaflet, in the plane that holds its axis.

Own invention, places by rough anatomy (from memory): the circumflex artery in the groove on one
side, the upper pulmonary vein behind the ridge on the other, the pulmonary artery deeper on that
side, the mitral leaflet in the atrium below the groove.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from synthetic_dicom.anatomy import Anatomy
from synthetic_dicom.implant import Implant
from synthetic_dicom.quadrics import FloatArray, Quadric, ellipsoid
from synthetic_dicom.ultrasound_truth import central_chord_mm

_LONG_MM = 400.0
LEAFLET_HALF_MM = 0.5
Way = tuple[FloatArray, FloatArray]


@dataclass(frozen=True, slots=True, kw_only=True)
class Tube:
    """A vessel that runs square to the plane: its middle (lateral, axial) and radius."""

    quantity: str
    middle_mm: tuple[float, float]
    radius_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class DeviceNeighbours:
    """Vessels and leaflet in one plane; they hold still.

    Attributes
    ----------
    plane_deg : float
        Of the plane, which holds the implant's axis.
    tubes : tuple of Tube
    leaflet_mm : pair of (lateral, axial)
        Hinge and tip of the leaflet's middle line.
    """

    plane_deg: float
    tubes: tuple[Tube, ...]
    leaflet_mm: tuple[tuple[float, float], tuple[float, float]]

    def solids(self, anatomy: Anatomy) -> tuple[Quadric, ...]:
        """Return the vessels' blood in the anatomy's frame."""
        side, neck = anatomy.in_frame(self.plane_deg), np.array([0.0, 0.0, 1.0])
        axes = np.array([side, np.cross(neck, side), neck])
        return tuple(
            ellipsoid(
                one.middle_mm[0] * side + one.middle_mm[1] * neck,
                np.array([one.radius_mm, _LONG_MM, one.radius_mm]),
                axes,
            )
            for one in self.tubes
        )

    def leaflet_holds(self, lateral_mm: FloatArray, axial_mm: FloatArray) -> FloatArray:
        """Return 1 where points of the plane lie in the leaflet, else 0."""
        hinge, tip = (np.array(one) for one in self.leaflet_mm)
        way = tip - hinge
        places = np.stack([lateral_mm, axial_mm], axis=-1) - hinge
        share = np.clip(places @ way / (way @ way), 0.0, 1.0)
        away = np.linalg.norm(places - share[..., None] * way, axis=-1)
        return np.asarray(np.where(away <= LEAFLET_HALF_MM, 1.0, 0.0))

    def ways(self, implant: Implant) -> dict[str, Way]:
        """Return the shortest way from the drum's outline to each neighbour, by quantity.

        A vessel runs square to the plane and the drum's axis lies in it, so the shortest way in
        the plane is the shortest in space.
        """
        outline = implant.outline_mm()
        found: dict[str, Way] = {}
        for one in self.tubes:
            middle = np.array(one.middle_mm)
            near = _nearest_to(middle, outline)
            found[one.quantity] = near, _shortened(near, middle, one.radius_mm)
        near, line = _between(outline, np.array(self.leaflet_mm))
        found["mitral_distance"] = near, _shortened(near, line, LEAFLET_HALF_MM)
        return found


def device_neighbours(anatomy: Anatomy, plane_deg: float) -> DeviceNeighbours:
    """Place the neighbours of one appendage clear of its neck, in a plane along the neck."""
    full = anatomy.section_axes_mm(0.0)
    half = 0.5 * central_chord_mm(full, plane_deg - anatomy.orientation_deg)
    return DeviceNeighbours(
        plane_deg=plane_deg,
        tubes=(
            Tube(quantity="circumflex_distance", middle_mm=(-half - 4.5, 5.0), radius_mm=1.7),
            Tube(quantity="vein_distance", middle_mm=(half + 9.0, 1.0), radius_mm=5.0),
            Tube(quantity="artery_distance", middle_mm=(half + 11.0, 14.0), radius_mm=6.0),
        ),
        leaflet_mm=((-half - 5.0, -6.0), (-half + 2.0, -14.0)),
    )


def _nearest_to(place: FloatArray, outline: FloatArray) -> FloatArray:
    """Return the point of a closed outline, shape (n, 2), nearest to a place outside it."""
    starts, ways = outline, np.roll(outline, -1, axis=0) - outline
    shares = np.clip(((place - starts) * ways).sum(axis=1) / (ways**2).sum(axis=1), 0.0, 1.0)
    feet = starts + shares[:, None] * ways
    return np.asarray(feet[int(np.argmin(np.linalg.norm(feet - place, axis=1)))])


def _between(outline: FloatArray, line: FloatArray) -> Way:
    """Return the nearest points of a closed outline and of a line that does not meet it."""
    pairs = [(_nearest_to(end, outline), end) for end in line]
    # back and forth: a line as an outline of two points
    pairs += [(corner, _nearest_to(corner, line)) for corner in outline]
    return min(pairs, key=lambda pair: float(np.linalg.norm(pair[0] - pair[1])))


def _shortened(start: FloatArray, end: FloatArray, by_mm: float) -> FloatArray:
    way = end - start
    return np.asarray(end - by_mm * way / np.linalg.norm(way))
