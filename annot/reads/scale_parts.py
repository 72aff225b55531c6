"""The scale of a loop as the read file has it: one part for each kind."""

from typing import Annotated, ClassVar, Literal

from pydantic import Discriminator, Field, Tag, model_validator

from annot.reads.depth_fields import DepthPreset, DepthRange
from annot.reads.field_types import (
    FromOne,
    FromZero,
    NotNegative,
    Part,
    PartOfOne,
    Point,
    Positive,
    Tilt,
)

# a nanometre to a kilometre: beyond it lengths would vanish or overflow
PixelSize = Annotated[Positive, Field(ge=1e-6)]
TRACES = ("axis_px", "points_px", "path_px", "corners_px", "centre_px", "radius_px")


class ReadingPart(Part):
    """One look at a reference object; which trace it needs depends on the object's kind."""

    frame: FromZero = 0
    axis_px: list[Point] | None = Field(None, min_length=2)
    points_px: list[Point] | None = Field(None, min_length=2, max_length=2)
    path_px: list[Point] | None = Field(None, min_length=2)
    corners_px: list[Point] | None = Field(None, min_length=4, max_length=4)
    centre_px: Point | None = None
    radius_px: Positive | None = None

    def traces(self) -> set[str]:
        """Return the names of the traces that are given."""
        return {name for name in TRACES if getattr(self, name) is not None}


class _ObjectPart(ReadingPart):
    readings: list[ReadingPart] | None = Field(None, min_length=1)
    tolerance_mm: Positive | None = None
    size_source: Literal["label", "measured"] | None = None
    object: str = Field("", description="which object it is; the same name is the same object")
    material: str = ""
    depth_offset_mm: NotNegative | None = None
    depth_range_mm: DepthRange | None = None
    depth_preset: DepthPreset | None = None
    tilt_deg: Tilt | None = None
    overrule: str = ""

    needed_traces: ClassVar[set[str]]
    needs: ClassVar[str]

    @model_validator(mode="after")
    def _one_way_of_reading(self) -> "_ObjectPart":
        if self.readings is not None and (self.traces() or "frame" in self.model_fields_set):
            raise ValueError(
                "give either 'readings' or one frame and trace of the object's own, not both"
            )
        if self.readings is None and not self.traces():
            raise ValueError(f"the object's trace is missing: {self.needs}")
        if any(look.traces() != self.needed_traces for look in self.looks()):
            raise ValueError(f"{self.needs}, and no other trace")
        return self

    def looks(self) -> list[ReadingPart]:
        """Return every reading, a single trace counting as one."""
        return list(self.readings) if self.readings is not None else [self]


class CatheterPart(_ObjectPart):
    """A catheter: its French or mm size, the diameter this is, and a rough trace of its axis."""

    needed_traces: ClassVar[set[str]] = {"axis_px"}
    needs: ClassVar[str] = "a catheter needs axis_px, two or more points along its axis"

    kind: Literal["catheter"]
    device: Literal["catheter", "sheath"] = "catheter"
    size_fr: Positive | None = None
    size_mm: Positive | None = None
    other_mm: Positive | None = Field(
        None, description="the other diameter (inner if surface is outer), where known"
    )
    surface: Literal["outer", "inner"] = "outer"
    filling: Literal["empty", "contrast", "unknown"] = "unknown"
    filling_rel: PartOfOne | None = Field(
        None,
        description="half-width of what filling and material may change in its shadow's width, as "
        "a fraction; 0.01 unless stated",
    )

    @model_validator(mode="after")
    def _one_size(self) -> "CatheterPart":
        if (self.size_fr is None) == (self.size_mm is None):
            raise ValueError("give either size_fr or size_mm")
        fault = self._fault_of_sheath() if self.device == "sheath" else self._fault_of_inner()
        if fault:
            raise ValueError(fault)
        if self.size_source == "label" and self.tolerance_mm is not None:
            raise ValueError(
                "a label's tolerance is its own rounding: leave out tolerance_mm, or say that the "
                "size is measured"
            )
        return self

    def _fault_of_inner(self) -> str:
        """Return what an inner diameter lacks, empty if nothing."""
        if self.surface == "outer" or (self.size_fr is None and self.tolerance_mm is not None):
            return ""
        return (
            "an inner diameter is given in mm with its tolerance_mm: labels in French and label "
            "rounding speak of the outer diameter"
        )

    def _fault_of_sheath(self) -> str:
        """Return what a sheath's size lacks: its label names the inside, the outside is seen."""
        if self.size_fr is not None or "surface" not in self.model_fields_set:
            return (
                "a sheath's French size names its inside, while its shadow ends at its outside, so "
                "every length would come out small: give the measured size_mm and say which "
                "surface it is, outer or inner"
            )
        if self.tolerance_mm is not None or self.size_source == "measured":
            return ""
        if self.surface == "inner" and self.size_source == "label":
            return ""
        return (
            "a sheath's size in mm needs its source: tolerance_mm, or size_source measured, or "
            "for its inner diameter size_source label"
        )


class SpherePart(_ObjectPart):
    """A sphere: its diameter, and a first guess of centre and radius."""

    needed_traces: ClassVar[set[str]] = {"centre_px", "radius_px"}
    needs: ClassVar[str] = "a sphere needs centre_px and radius_px as a first guess"

    kind: Literal["sphere"]
    size_source: Literal["measured"] | None = None
    diameter_mm: Positive


class SegmentPart(_ObjectPart):
    """A known length between two points placed by hand."""

    needed_traces: ClassVar[set[str]] = {"points_px"}
    needs: ClassVar[str] = "a segment needs points_px, its two ends"

    kind: Literal["segment"]
    size_source: Literal["measured"] | None = None
    length_mm: Positive
    u_end_px: Positive | None = None


class MarkersPart(_ObjectPart):
    """Radio-opaque bands at one spacing on a wire or catheter, roughly traced."""

    needed_traces: ClassVar[set[str]] = {"path_px"}
    needs: ClassVar[str] = (
        "markers need path_px, two or more points from beyond the first band to beyond the last"
    )

    kind: Literal["markers"]
    size_source: Literal["measured"] | None = None
    spacing_mm: Positive = Field(description="along the wire, from one band to the next")
    bands: FromOne | None = Field(None, ge=2, description="how many bands lie on the path")


class GridPart(_ObjectPart):
    """A grid of wires or beads in square cells, found from its four outermost nodes."""

    needed_traces: ClassVar[set[str]] = {"corners_px"}
    needs: ClassVar[str] = "a grid needs corners_px, its four outermost nodes in turn around it"

    kind: Literal["grid"]
    size_source: Literal["measured"] | None = None
    spacing_mm: Positive


class StepPart(_ObjectPart):
    """Parallel edges at one spacing: a plate of steps or strips."""

    needed_traces: ClassVar[set[str]] = {"path_px"}
    needs: ClassVar[str] = (
        "a step needs path_px, from beyond the first edge to beyond the last, square to them"
    )

    kind: Literal["step"]
    size_source: Literal["measured"] | None = None
    spacing_mm: Positive = Field(description="from one edge to the next")
    edges: FromOne | None = Field(None, ge=3, description="how many edges the path crosses")


class HeaderPart(Part):
    """The scale that the file states itself."""

    kind: Literal["header"]
    u_rel: PartOfOne | None = None
    depth_offset_mm: NotNegative | None = None
    depth_range_mm: DepthRange | None = None
    depth_preset: DepthPreset | None = None
    overrule: str = ""


class GivenPart(Part):
    """A scale from elsewhere: one number, or (row, column)."""

    kind: Literal["given"]
    mm_per_px: PixelSize | tuple[PixelSize, PixelSize]
    u_rel: PartOfOne
    overrule: str = ""


class BorrowedPart(Part):
    """The scale made on another loop of the same read file."""

    lender: str = Field(alias="from", min_length=1)
    depth_offset_mm: NotNegative | None = Field(
        None, description="depth stated anew for this view: then its angles may be others"
    )
    depth_range_mm: DepthRange | None = None
    depth_preset: DepthPreset | None = None
    overrule: str = ""


def _kind_of(part: object) -> str | None:
    """Tell the variants of a scale apart: by their kind, or by whom it is borrowed from."""
    if isinstance(part, dict):
        return "from" if "from" in part else part.get("kind")
    return getattr(part, "kind", "from") if isinstance(part, Part) else None


PlainPart = MarkersPart | SpherePart | GridPart | StepPart | SegmentPart
ObjectPart = CatheterPart | PlainPart
ScalePart = Annotated[
    Annotated[CatheterPart, Tag("catheter")]
    | Annotated[MarkersPart, Tag("markers")]
    | Annotated[SpherePart, Tag("sphere")]
    | Annotated[GridPart, Tag("grid")]
    | Annotated[StepPart, Tag("step")]
    | Annotated[SegmentPart, Tag("segment")]
    | Annotated[HeaderPart, Tag("header")]
    | Annotated[GivenPart, Tag("given")]
    | Annotated[BorrowedPart, Tag("from")],
    Discriminator(
        _kind_of,
        custom_error_type="scale_kind",
        custom_error_message=(
            "a scale has the kind catheter, markers, sphere, grid, step, segment, header or "
            'given, or is borrowed by {"from": FILE}'
        ),
    ),
]
