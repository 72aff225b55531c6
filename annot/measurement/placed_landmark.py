"""Landmarks as a reader placed them, and the neck that two of them describe."""

import math
from collections.abc import Iterable
from dataclasses import dataclass

from annot.errors import InputError
from annot.geometry import PixelPoint
from annot.measurement.placement import END_PX, PIXEL_HALF_WIDTH
from annot.uncertainty import InputQuantity, stated
from annot.vocabulary.landmarks import LANDMARKS

HALF_WAY = "middle of the ostium taken half way from the circumflex side to the ridge tip"


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacedLandmark:
    """A named point, or an axis's two, on one frame.

    Attributes
    ----------
    name : str
        One of `LANDMARKS`.
    frame : int
    points : tuple of PixelPoint
    u_px : float or None
        Standard uncertainty of each coordinate; None takes the default for an end.
    """

    name: str
    frame: int
    points: tuple[PixelPoint, ...]
    u_px: float | None = None

    def __post_init__(self) -> None:
        known = LANDMARKS.get(self.name)
        if known is None:
            raise InputError(
                f"There is no landmark '{self.name}'; known are {', '.join(LANDMARKS)}."
            )
        if len(self.points) != known.points:
            raise InputError(
                f"Landmark {self.name} takes {known.points} point(s), got {len(self.points)}."
            )
        if not all(math.isfinite(part) for point in self.points for part in point):
            raise InputError(f"Landmark {self.name}: a point is not two finite numbers.")
        if len(set(self.points)) < len(self.points):
            raise InputError(f"Landmark {self.name}: its points coincide, so it has no direction.")

    @property
    def u_placed_px(self) -> float:
        """Standard uncertainty of a coordinate, the pixel grid included."""
        u = END_PX.value if self.u_px is None else self.u_px
        return math.hypot(u, PIXEL_HALF_WIDTH.value / math.sqrt(3))


@dataclass(frozen=True, slots=True, kw_only=True)
class LandmarkSet:
    """All landmarks of one loop on one frame."""

    frame: int
    marks: tuple[PlacedLandmark, ...]

    def points(self, name: str) -> tuple[PixelPoint, ...]:
        """Return a landmark's points, empty where it is not placed."""
        return next((one.points for one in self.marks if one.name == name), ())

    @property
    def centre(self) -> PixelPoint | None:
        """Middle of the ostium as placed, else half way between its two ends."""
        placed, ends = self.points("ostium_centre"), self.ostium
        if placed:
            return placed[0]
        if not ends:
            return None
        (r0, c0), (r1, c1) = ends
        return PixelPoint((r0 + r1) / 2, (c0 + c1) / 2)

    @property
    def ostium(self) -> tuple[PixelPoint, ...]:
        """Circumflex side and ridge tip, empty where one is not placed."""
        ends = (*self.points("circumflex"), *self.points("ridge_tip"))
        return ends if len(ends) == 2 else ()

    @property
    def notes(self) -> tuple[str, ...]:
        """What was taken where nothing was placed."""
        taken = self.centre is not None and not self.points("ostium_centre")
        return (HALF_WAY,) if taken else ()

    @property
    def stated_u_px(self) -> float | None:
        """The largest uncertainty that a reader stated for one of them."""
        return max((one.u_px for one in self.marks if one.u_px is not None), default=None)

    def coordinates(
        self, points: Iterable[PixelPoint], *, key: str, moved_px: float = 0.0
    ) -> list[InputQuantity]:
        """Return rows and columns of some points as inputs of a budget.

        Parameters
        ----------
        points : iterable of PixelPoint
        key : str
            Of the loop; points at one place share their inputs.
        moved_px : float
            How far they have moved to another frame at most: a half-range, rectangular.
        """
        u = max((one.u_placed_px for one in self.marks), default=END_PX.value)
        u = math.hypot(u, moved_px / math.sqrt(3))
        return [
            stated(
                value,
                u,
                key=f"{key}:landmark:{self.frame}:{point.row:.3f},{point.column:.3f}:{axis}",
                unit="px",
                component="ends",
                source="placing a landmark and its motion between the frames",
            )
            for point in points
            for axis, value in zip(("row", "column"), point, strict=True)
        ]


def sets_by_frame(marks: Iterable[PlacedLandmark]) -> tuple[LandmarkSet, ...]:
    """Return landmarks frame by frame, in rising order."""
    frames: dict[int, list[PlacedLandmark]] = {}
    for one in marks:
        frames.setdefault(one.frame, []).append(one)
    return tuple(
        LandmarkSet(frame=frame, marks=tuple(found)) for frame, found in sorted(frames.items())
    )
