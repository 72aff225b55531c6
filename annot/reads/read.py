"""A read: who measured what, on which loops, under which scale. Frozen, without any identity."""

from dataclasses import dataclass

from annot.calibration import ScaleRequest
from annot.geometry import PixelPoint
from annot.measurement import Caliper

NOT_STATED = "not stated"


@dataclass(frozen=True, slots=True, kw_only=True)
class Conditions:
    """What changes the size by a step of a chart; "not stated" is an answer and is printed."""

    loading: str = NOT_STATED
    rhythm: str = NOT_STATED


@dataclass(frozen=True, slots=True, kw_only=True)
class ViewOverride:
    """View angles that the file lacks or has wrong; None keeps the file's."""

    primary_deg: float | None = None
    secondary_deg: float | None = None
    plane_deg: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LoopRead:
    """One loop's part of a read.

    `file` is the path as written in the read, relative to the read file; `sop_instance_uid` is
    checked against the loop where it is given. `apex` is where an echo sector's beams start;
    without it the sector's edges are fitted.
    """

    file: str
    sop_instance_uid: str | None = None
    conditions: Conditions = Conditions()
    view: ViewOverride = ViewOverride()
    apex: PixelPoint | None = None
    scale: ScaleRequest | None = None
    calipers: tuple[Caliper, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Read:
    """One reader's read of one study."""

    reader: str
    loops: tuple[LoopRead, ...]
    protocol: str = "closure-planning"
    study: str | None = None
