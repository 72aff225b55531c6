"""Along the beam and across it: what an echo picture resolves, and the speed of sound."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from annot.geometry import PixelPoint
from annot.measurement.placement import (
    ECHO_AXIAL_MM,
    ECHO_BLIND_MM,
    ECHO_LATERAL_REL,
    SOUND_SPEED_REL,
)
from annot.uncertainty import InputQuantity, rectangular

Direction = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Beam:
    """Where the beams of a sector start.

    Attributes
    ----------
    apex : PixelPoint
        Where the sector's edges meet; it may lie outside the picture.
    speed_group : str
        Whose error of the speed of sound it is: all loops of one patient under one setting of
        the machine share it.
    source : str
        Stated or fitted, for a reader of the budget.
    """

    apex: PixelPoint
    speed_group: str
    source: str

    def ray(self, point: PixelPoint, mm_per_px: tuple[float, float]) -> tuple[Direction, float]:
        """Return the unit direction (down, across) of the beam at a point and its depth in mm."""
        down = (point.row - self.apex.row) * mm_per_px[0]
        across = (point.column - self.apex.column) * mm_per_px[1]
        depth = math.hypot(down, across)
        return ((down / depth, across / depth) if depth > 0 else (1.0, 0.0)), depth

    def sound(self) -> InputQuantity:
        """Return the factor on distances along the beam for the unknown speed of sound."""
        return rectangular(
            1.0,
            SOUND_SPEED_REL.value,
            key=self.speed_group,
            unit="1",
            source=f"{SOUND_SPEED_REL.meaning} ({SOUND_SPEED_REL.source})",
            component="speed",
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Blur:
    """One point's unresolved displacement: (input, mm down and mm across for each mm of it)."""

    parts: tuple[tuple[InputQuantity, Direction], ...]


def blur_of(point: PixelPoint, key: str, mm_per_px: tuple[float, float], beam: Beam | None) -> Blur:
    """Return what an echo does not resolve at a point, in the beam's directions where known.

    What cannot be told apart within a distance δ displaces a wall by a rectangular ±δ/2
    (JCGM 100:2008 F.2.2.1); across the beam δ grows with depth.
    """
    if beam is None:
        words = f"{ECHO_BLIND_MM.meaning} ({ECHO_BLIND_MM.source})"
        half = ECHO_BLIND_MM.value / 2
        return Blur(
            parts=(
                (_displacement(half, f"{key}:echo-row", words), (1.0, 0.0)),
                (_displacement(half, f"{key}:echo-column", words), (0.0, 1.0)),
            )
        )
    (down, across), depth = beam.ray(point, mm_per_px)
    along = f"{ECHO_AXIAL_MM.meaning} ({ECHO_AXIAL_MM.source}), {beam.source}"
    beside = f"{ECHO_LATERAL_REL.meaning} ({ECHO_LATERAL_REL.source}), {beam.source}"
    lateral = max(ECHO_AXIAL_MM.value, ECHO_LATERAL_REL.value * depth) / 2
    return Blur(
        parts=(
            (_displacement(ECHO_AXIAL_MM.value / 2, f"{key}:echo-axial", along), (down, across)),
            (_displacement(lateral, f"{key}:echo-lateral", beside), (-across, down)),
        )
    )


def middle_of(points: Sequence[PixelPoint]) -> PixelPoint:
    """Return the points' mean place."""
    count = len(points)
    return PixelPoint(sum(p.row for p in points) / count, sum(p.column for p in points) / count)


def _displacement(half_width_mm: float, key: str, source: str) -> InputQuantity:
    return rectangular(0.0, half_width_mm, key=key, unit="mm", source=source, component="ends")
