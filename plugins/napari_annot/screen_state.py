"""What the screen shows, and the snapshot it is worked out from: frozen facts, no Qt."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from annot.calibration import DeviceOffer, ScaleRequest
from annot.geometry import PixelPoint
from annot.measurement import Caliper
from annot.reads import Conditions
from annot.reads.read import Implant
from annot.tasks.guides import Guide
from annot.tasks.open import DisplayChoice, Loop
from annot.tasks.read import Read
from napari_annot.answers import Answer
from napari_annot.assisted import Carried, Ghost
from napari_annot.display_state import DisplayWords
from napari_annot.drawing import Draft
from napari_annot.end_placing import EndPlacing
from napari_annot.standings import Standing, State
from napari_annot.tools import Tool, Trace
from napari_annot.visible import OPEN_SEAT, Seat

Points = tuple[PixelPoint, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Aids:
    """What helps drawing: guides, the calipers of neighbouring frames, the end in hand."""

    guides: bool = True
    onion: bool = False
    end: int = -1


@dataclass(frozen=True, slots=True, kw_only=True)
class LoopLine:
    """One line of the list of loops."""

    file: str
    number: int
    name: str
    modality: str
    view: str
    scale: str
    frames: int
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ScaleWords:
    """The scale of the loop on show, in words."""

    state: State
    headline: str
    details: str = ""
    warnings: tuple[str, ...] = ()
    others: tuple[str, ...] = ()
    offers: tuple[DeviceOffer, ...] = ()
    protected: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnLine:
    """A line on the frame on show.

    `ends` asks for a crossbar at either end; `label` stands beside the line, empty for none; `mark`
    draws a cross or a ring of constant size at each point and no line; `beside` are the points that
    the label stands beside, where they are more than the line's own.
    """

    key: str
    points: Points
    colour: str
    label: str = ""
    ends: bool = True
    selected: bool = False
    thin: bool = False
    mark: Literal["", "cross", "ring"] = ""
    beside: Points = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One row of the table in the dock."""

    key: str
    loop: int
    quantity: str
    colour: str
    frame: int
    view: str
    value: str
    interval: str
    number: float
    scaled: bool
    provisional: bool
    confirmed: bool
    repeat: int
    warnings: tuple[str, ...]
    here: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class ScreenState:
    """Everything the panels and the picture show at one moment."""

    loops: tuple[LoopLine, ...]
    shown: str | None
    modality: str
    display: DisplayWords
    frame: int
    caption: str
    scale: ScaleWords
    request: ScaleRequest | None
    trace: Trace | None
    lines: tuple[DrawnLine, ...]
    rows: tuple[Row, ...]
    tool: Tool | None
    drawing_path: bool
    selected: Caliper | None
    conditions: Conditions
    plane_deg: float | None
    reader: str
    study: str
    protocol: str
    implant: Implant | None
    placing: EndPlacing
    ghost: bool
    aids: Aids
    landmarks: tuple[str, ...]
    carrying: str
    unconfirmed: int
    unsaved: bool
    can_undo: bool
    can_redo: bool
    message: str
    message_is_fault: bool
    seat: Seat = OPEN_SEAT


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """A snapshot of the desk."""

    read: Read
    loops: Mapping[str, Loop]
    standings: Mapping[str, Standing]
    measured: Mapping[str, tuple[Answer, ...]]
    derived: Mapping[str, tuple[Caliper, ...]]
    traces: Mapping[str, Trace]
    shown: str | None
    display: DisplayChoice
    frame: int
    tool: Tool | None
    draft: Draft | None
    drafted: tuple[Answer, ...]
    aids: Aids
    guides: tuple[Guide, ...]
    selected: str | None
    placing: EndPlacing
    ghost: Ghost | None
    carried: Carried | None
    unsaved: bool
    can_undo: bool
    can_redo: bool
    message: str
    message_is_fault: bool
    seat: Seat = OPEN_SEAT
