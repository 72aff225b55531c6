"""Landmarks as a reader placed them, and the neck that two of them describe."""

import math
from collections.abc import Iterable
from dataclasses import dataclass

from annot.errors import InputError
from annot.geometry import PixelPoint
from annot.measurement.caliper import Mark
from annot.vocabulary.landmarks import LANDMARKS

HALF_WAY = "middle of the ostium taken half way from the circumflex side to the ridge tip"
BY_AXIS = "bend taken at the inner point of the neck's axis"


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


@dataclass(frozen=True, slots=True, kw_only=True)
class LandmarkSet:
    """All landmarks of one loop on one frame; `loop` names them in a budget."""

    frame: int
    marks: tuple[PlacedLandmark, ...]
    loop: str = ""

    def placed(self, name: str) -> tuple[Mark, ...]:
        """Return a landmark's points with what names them, empty where it is not placed."""
        return next(
            (
                tuple(
                    Mark(
                        key=f"{self.loop}:landmark:{self.frame}:{name}:{index}",
                        point=point,
                        u_px=one.u_px,
                    )
                    for index, point in enumerate(one.points)
                )
                for one in self.marks
                if one.name == name
            ),
            (),
        )

    @property
    def centre(self) -> tuple[Mark, ...]:
        """What the ostium's middle is the middle of: itself where placed, else its two ends."""
        return self.placed("ostium_centre") or self.ostium

    @property
    def bend(self) -> tuple[Mark, ...]:
        """The bend where placed, else the inner point of the neck's axis."""
        return self.placed("bend") or self.placed("neck_axis")[1:]

    @property
    def ostium(self) -> tuple[Mark, ...]:
        """Circumflex side and ridge tip, empty where one is not placed."""
        ends = (*self.placed("circumflex"), *self.placed("ridge_tip"))
        return ends if len(ends) == 2 else ()


def middle_of_marks(marks: tuple[Mark, ...]) -> PixelPoint:
    """Return the middle of some marks."""
    rows, columns = zip(*(one.point for one in marks), strict=True)
    return PixelPoint(sum(rows) / len(marks), sum(columns) / len(marks))


def sets_by_frame(marks: Iterable[PlacedLandmark], *, loop: str = "") -> tuple[LandmarkSet, ...]:
    """Return landmarks frame by frame, in rising order."""
    frames: dict[int, list[PlacedLandmark]] = {}
    for one in marks:
        frames.setdefault(one.frame, []).append(one)
    return tuple(
        LandmarkSet(frame=frame, marks=tuple(found), loop=loop)
        for frame, found in sorted(frames.items())
    )
