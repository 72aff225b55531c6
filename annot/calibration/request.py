"""What a person asks for when a loop is to be scaled: an object, the header, or a given number."""

from dataclasses import dataclass, field
from typing import Literal

from annot.calibration.allowances import DEPTH_PRESETS
from annot.calibration.known_objects import KnownSize, Surface
from annot.calibration.shaft_fit import Filling
from annot.errors import InputError
from annot.geometry import PixelPoint

ObjectKind = Literal["catheter", "sphere", "segment", "markers", "grid", "step"]
Device = Literal["catheter", "sheath"]
SPACED = frozenset({"markers", "grid", "step"})  # kinds that are known by a spacing


@dataclass(frozen=True, slots=True, kw_only=True)
class ObjectReading:
    """One look at the object.

    Attributes
    ----------
    frame : int
        Frame index from 0.
    points : tuple of PixelPoint
        Catheter: a rough trace along its axis. Sphere: its centre, roughly. Segment: both ends.
        Markers: a rough trace from beyond the first band to beyond the last. Grid: its four
        outermost nodes, in turn around. Step: from beyond the first edge to beyond the last.
    radius_px : float or None
        Sphere only: its radius, roughly.
    """

    frame: int
    points: tuple[PixelPoint, ...]
    radius_px: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Placing:
    """How the object lies to the anatomy, as far as somebody knows.

    Attributes
    ----------
    depth_offset_mm : float or None
        Half-range of the unknown difference in depth between object and anatomy along the beam;
        None takes the default allowance and says so.
    depth_range_mm : tuple of float or None
        The same as a range that need not be symmetric: how many mm nearer to the source than the
        object the anatomy lies, at least and at most (negative: farther from it).
    depth_preset : str or None
        The same by the name of a usual place, see `DEPTH_PRESETS`.
    tilt_deg : float or None
        Half-range of the unknown tilt of a segment or of marks at a spacing out of the image
        plane; for marks None takes the default allowance and says so.
    overrule : str
        Reason for using a scale where it would be refused.

    Raises
    ------
    InputError
        If depth is stated in two ways, a range runs backwards, or a preset does not exist.
    """

    depth_offset_mm: float | None = None
    depth_range_mm: tuple[float, float] | None = None
    depth_preset: str | None = None
    tilt_deg: float | None = None
    overrule: str = ""

    def __post_init__(self) -> None:
        stated = (self.depth_offset_mm, self.depth_range_mm, self.depth_preset)
        if sum(one is not None for one in stated) > 1:
            raise InputError(
                "The difference in depth is stated in two ways: give one of depth_offset_mm, "
                "depth_range_mm and depth_preset."
            )
        if self.depth_range_mm is not None and self.depth_range_mm[0] > self.depth_range_mm[1]:
            low, high = self.depth_range_mm
            raise InputError(f"The range of depth {low:g} to {high:g} mm runs backwards: swap it.")
        if self.depth_preset is not None and self.depth_preset not in DEPTH_PRESETS:
            raise InputError(
                f"There is no preset of depth '{self.depth_preset}': choose one of "
                f"{', '.join(DEPTH_PRESETS)}."
            )

    @property
    def states_depth(self) -> bool:
        """Whether somebody states how the depths differ."""
        stated = (self.depth_offset_mm, self.depth_range_mm, self.depth_preset)
        return any(one is not None for one in stated)


@dataclass(frozen=True, slots=True, kw_only=True)
class ObjectRequest:
    """Scale from an object of known size seen in the loop.

    `surface` says which diameter of a catheter `size` is; `other_mm` is the other one, where
    somebody knows it: it fixes the wall, which a picture alone shows poorly. `filling_rel` is how
    far, relatively, filling and material may change the width of its shadow (half-width; None takes
    the default allowance). `segment` needs none of them. `device` says whether the tube is a
    catheter or a sheath, whose labels speak of different surfaces. `count` is how many bands or
    edges somebody counts on the traced piece. `u_end_px` is how well one end of a segment is placed
    by hand.

    Raises
    ------
    InputError
        If there is no reading, a fitted object is read twice in one frame (the second says nothing
        new and would only shrink the interval), or the inner diameter is not the smaller one.
    """

    kind: ObjectKind
    size: KnownSize
    readings: tuple[ObjectReading, ...]
    surface: Surface = "outer"
    other_mm: float | None = None
    filling: Filling = "unknown"
    filling_rel: float | None = None
    device: Device = "catheter"
    count: int | None = None
    material: str = ""
    u_end_px: float | None = None
    placing: Placing = field(default_factory=Placing)

    def __post_init__(self) -> None:
        frames = [one.frame for one in self.readings]
        if not frames:
            raise InputError(f"The {self.kind} is read in no frame: trace it on at least one.")
        if self.kind != "segment" and len(set(frames)) < len(frames):
            raise InputError(
                f"The {self.kind} is read twice in one frame: fit it once in each frame."
            )
        if self.other_mm is None:
            return
        pair = (self.other_mm, self.size.size_mm)
        inner, outer = pair if self.surface == "outer" else pair[::-1]
        if not 0 < inner < outer:
            raise InputError(
                f"The {self.kind}'s inner diameter ({inner:g} mm) is not smaller than its outer "
                f"one ({outer:g} mm): check which of the two is which."
            )


LARGEST_STATED_REL = 0.5  # a scale that may as well be none; past it somebody meant percent


def _refuse_percent(u_rel: float) -> None:
    if not 0 < u_rel <= LARGEST_STATED_REL:
        raise InputError(
            f"A relative standard uncertainty of {u_rel:g} is {100 * u_rel:g} %: give it as a "
            f"fraction above 0 and up to {LARGEST_STATED_REL:g}, for instance 0.02 for 2 %."
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class HeaderRequest:
    """Scale from what the file itself states; `u_rel` overrides the default allowance.

    Raises
    ------
    InputError
        If `u_rel` is no fraction.
    """

    kind: Literal["header"] = "header"
    u_rel: float | None = None
    placing: Placing = field(default_factory=Placing)

    def __post_init__(self) -> None:
        if self.u_rel is not None:
            _refuse_percent(self.u_rel)


@dataclass(frozen=True, slots=True, kw_only=True)
class GivenRequest:
    """A number from elsewhere, with the relative standard uncertainty its giver states.

    Raises
    ------
    InputError
        If `u_rel` is no fraction.
    """

    mm_per_px: tuple[float, float]
    u_rel: float
    kind: Literal["given"] = "given"
    placing: Placing = field(default_factory=Placing)

    def __post_init__(self) -> None:
        _refuse_percent(self.u_rel)


@dataclass(frozen=True, slots=True, kw_only=True)
class BorrowedRequest:
    """The scale made on another loop of the same read."""

    file: str
    kind: Literal["borrowed"] = "borrowed"
    placing: Placing = field(default_factory=Placing)


ScaleRequest = ObjectRequest | HeaderRequest | GivenRequest | BorrowedRequest
