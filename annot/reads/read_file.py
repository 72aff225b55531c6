"""The read file, version 1: JSON a person or a program wrote, checked, to frozen types and back."""

import json
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import (
    BaseModel,
    ConfigDict,
    Discriminator,
    Field,
    Tag,
    TypeAdapter,
    ValidationError,
    model_validator,
)

from annot.errors import InputError

VERSION: Literal[1] = 1
Point = tuple[float, float]
Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]
FrameIndex = Annotated[int, Field(ge=0)]


class _Part(BaseModel):
    """A piece of the file: unknown fields refused, numbers finite."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class ReadingPart(_Part):
    """One look at a reference object; which trace it needs depends on the object's kind."""

    frame: FrameIndex = 0
    axis_px: list[Point] | None = Field(None, min_length=2)
    points_px: list[Point] | None = Field(None, min_length=2, max_length=2)
    centre_px: Point | None = None
    radius_px: Positive | None = None


class _ObjectPart(ReadingPart):
    readings: list[ReadingPart] | None = Field(None, min_length=1)
    tolerance_mm: Positive | None = None
    size_source: Literal["label", "measured"] | None = None
    material: str = ""
    depth_offset_mm: NotNegative | None = None
    tilt_deg: Annotated[float, Field(ge=0, le=60)] | None = None
    overrule: str = ""

    _trace: str = ""

    @model_validator(mode="after")
    def _one_way_of_reading(self) -> "_ObjectPart":
        own = any(
            value is not None
            for value in (self.axis_px, self.points_px, self.centre_px, self.radius_px)
        )
        if self.readings is not None and own:
            raise ValueError("give either 'readings' or one trace of its own, not both")
        if self.readings is None and not own:
            raise ValueError("the object's trace is missing")
        return self

    def looks(self) -> list[ReadingPart]:
        """Return every reading, a single trace counting as one."""
        return list(self.readings) if self.readings is not None else [self]


class CatheterPart(_ObjectPart):
    """A catheter: its French or mm size, the diameter this is, and a rough trace of its axis."""

    kind: Literal["catheter"]
    size_fr: Positive | None = None
    size_mm: Positive | None = None
    other_mm: Positive | None = Field(
        None, description="the other diameter (inner if surface is outer), where known"
    )
    surface: Literal["outer", "inner"] = "outer"
    filling: Literal["empty", "contrast", "unknown"] = "unknown"

    @model_validator(mode="after")
    def _one_size(self) -> "CatheterPart":
        if (self.size_fr is None) == (self.size_mm is None):
            raise ValueError("give either size_fr or size_mm")
        if self.surface == "inner" and (self.size_fr is not None or self.tolerance_mm is None):
            raise ValueError(
                "an inner diameter is given in mm with its tolerance_mm: labels in French and "
                "label rounding speak of the outer diameter"
            )
        if any(look.axis_px is None for look in self.looks()):
            raise ValueError("a catheter needs axis_px, two or more points along its axis")
        return self


class SpherePart(_ObjectPart):
    """A sphere: its diameter, and a first guess of centre and radius."""

    kind: Literal["sphere"]
    diameter_mm: Positive

    @model_validator(mode="after")
    def _guess(self) -> "SpherePart":
        if any(look.centre_px is None or look.radius_px is None for look in self.looks()):
            raise ValueError("a sphere needs centre_px and radius_px as a first guess")
        return self


class SegmentPart(_ObjectPart):
    """A known length between two points placed by hand."""

    kind: Literal["segment"]
    length_mm: Positive
    u_end_px: Positive | None = None

    @model_validator(mode="after")
    def _ends(self) -> "SegmentPart":
        if any(look.points_px is None for look in self.looks()):
            raise ValueError("a segment needs points_px, its two ends")
        return self


class HeaderPart(_Part):
    """The scale that the file states itself."""

    kind: Literal["header"]
    u_rel: Positive | None = None
    depth_offset_mm: NotNegative | None = None
    overrule: str = ""


class GivenPart(_Part):
    """A scale from elsewhere: one number, or (row, column)."""

    kind: Literal["given"]
    mm_per_px: Positive | tuple[Positive, Positive]
    u_rel: Positive
    overrule: str = ""


class BorrowedPart(_Part):
    """The scale made on another loop of the same read file."""

    lender: str = Field(alias="from", min_length=1)
    overrule: str = ""


def _kind_of(part: object) -> str | None:
    """Tell the variants of a scale apart: by their kind, or by whom it is borrowed from."""
    if isinstance(part, dict):
        return "from" if "from" in part else part.get("kind")
    return getattr(part, "kind", "from")


ObjectPart = CatheterPart | SpherePart | SegmentPart
ScalePart = Annotated[
    Annotated[CatheterPart, Tag("catheter")]
    | Annotated[SpherePart, Tag("sphere")]
    | Annotated[SegmentPart, Tag("segment")]
    | Annotated[HeaderPart, Tag("header")]
    | Annotated[GivenPart, Tag("given")]
    | Annotated[BorrowedPart, Tag("from")],
    Discriminator(
        _kind_of,
        custom_error_type="scale_kind",
        custom_error_message=(
            "a scale has the kind catheter, sphere, segment, header or given, "
            'or is borrowed by {{"from": FILE}}'
        ),
    ),
]


class CaliperPart(_Part):
    """What was drawn for one quantity on one frame."""

    id: str = Field(min_length=1)
    quantity: str
    frame: FrameIndex
    points_px: list[Point] = Field(min_length=2)
    view_deg: Annotated[float, Field(ge=0, lt=180)] | None = None
    repeat: Annotated[int, Field(ge=1)] = 1
    beat: Annotated[int, Field(ge=0)] | None = None
    moment: str | None = None
    u_end_mm: Positive | None = None
    u_end_px: Positive | None = None
    tilt_deg: Annotated[float, Field(ge=0, le=60)] | None = None
    origin: Literal["drawn", "tracked", "refined"] = "drawn"
    confirmed: bool = True
    note: str = ""


class ConditionsPart(_Part):
    """Filling of the heart and rhythm while the loop was taken."""

    loading: str = "not stated"
    rhythm: str = "not stated"


class ViewPart(_Part):
    """View angles that replace the file's own."""

    primary_deg: float | None = None
    secondary_deg: float | None = None
    plane_deg: float | None = None


class LoopPart(_Part):
    """One loop: where it lies, its scale, its calipers."""

    file: str = Field(min_length=1)
    sop_instance_uid: str | None = None
    conditions: ConditionsPart = ConditionsPart()
    view: ViewPart = ViewPart()
    scale: ScalePart | None = None
    calipers: list[CaliperPart] = []


class ReadFile(_Part):
    """A whole read file."""

    annot_read: Literal[1]
    reader: str = Field(min_length=1)
    protocol: str = "closure-planning"
    study: str | None = None
    loops: list[LoopPart]


def json_schema() -> dict[str, Any]:
    """Return the JSON Schema of a read file (draft 2020-12)."""
    schema = ReadFile.model_json_schema(by_alias=True)
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}


def parse(text: str, *, name: str) -> ReadFile:
    """Parse the text of a read file.

    Raises
    ------
    InputError
        One sentence that names every fault and where it stands.
    """
    try:
        document = json.loads(text)
    except json.JSONDecodeError as fault:
        raise InputError(
            f"{name} is not JSON: {fault.msg} at line {fault.lineno}, column {fault.colno}."
        ) from None
    if not isinstance(document, dict) or "annot_read" not in document:
        raise InputError(f'{name} is not a read file: it has no "annot_read" number.')
    if document["annot_read"] != VERSION:
        raise InputError(
            f"{name} is a read file of version {document['annot_read']!r}; this program reads "
            f"version {VERSION}."
        )
    try:
        return ReadFile.model_validate(document)
    except ValidationError as faults:
        raise _refusal(faults, name) from None


def parse_scale(fields: dict[str, object], *, name: str) -> ScalePart:
    """Check one scale part given as the file's own fields; raise InputError as `parse` does."""
    adapter: TypeAdapter[ScalePart] = TypeAdapter(ScalePart)
    try:
        return adapter.validate_python(fields)
    except ValidationError as faults:
        raise _refusal(faults, name) from None


def load(path: Path) -> ReadFile:
    """Load a read file.

    Raises
    ------
    InputError
        If the file cannot be read or is at fault.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except UnicodeDecodeError:
        raise InputError(f"{path.name} is not a read file: it is not text in UTF-8.") from None
    except OSError as fault:
        raise InputError(f"{path}: the read file cannot be opened: {fault.strerror}.") from None
    return parse(text, name=path.name)


def dump(document: ReadFile) -> str:
    """Return the text of a read file; fields that say nothing are left out."""
    content = document.model_dump(mode="json", by_alias=True, exclude_defaults=True)
    return json.dumps({"annot_read": VERSION, **content}, indent=1, ensure_ascii=False) + "\n"


def _refusal(faults: ValidationError, name: str) -> InputError:
    return InputError(f"{name}: {'; '.join(_fault(one) for one in faults.errors())}.")


def _fault(error: Any) -> str:
    place = ".".join(str(step) for step in error["loc"]) or "the file"
    message = error["msg"].removeprefix("Value error, ")
    return f"{place}: {message[0].lower()}{message[1:]}"
