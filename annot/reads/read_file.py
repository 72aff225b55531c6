"""The read file, version 1: JSON a person or a program wrote, checked, to frozen types and back."""

import json
from pathlib import Path
from typing import Annotated, Any, ClassVar, Literal

from pydantic import (
    BaseModel,
    BeforeValidator,
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


def _whole(value: object) -> object:
    """Take 3.0 for 3, as JSON does; what is no whole number is refused by the strict type."""
    return int(value) if isinstance(value, float) and value.is_integer() else value


# Strict: neither "2.0" nor true is a number, though Python would make one of them.
Number = Annotated[float, Field(strict=True)]
Flag = Annotated[bool, Field(strict=True)]
Point = tuple[Number, Number]
# No size, length or uncertainty of this field is larger; beyond it arithmetic would overflow.
Positive = Annotated[Number, Field(gt=0, le=1e6)]
NotNegative = Annotated[Number, Field(ge=0, le=1e6)]
FromZero = Annotated[int, Field(strict=True, ge=0), BeforeValidator(_whole)]
FromOne = Annotated[int, Field(strict=True, ge=1), BeforeValidator(_whole)]
Tilt = Annotated[Number, Field(ge=0, le=60)]
TRACES = ("axis_px", "points_px", "centre_px", "radius_px")


class _Part(BaseModel):
    """A piece of the file: unknown fields refused, numbers finite."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class ReadingPart(_Part):
    """One look at a reference object; which trace it needs depends on the object's kind."""

    frame: FromZero = 0
    axis_px: list[Point] | None = Field(None, min_length=2)
    points_px: list[Point] | None = Field(None, min_length=2, max_length=2)
    centre_px: Point | None = None
    radius_px: Positive | None = None

    def traces(self) -> set[str]:
        """Return the names of the traces that are given."""
        return {name for name in TRACES if getattr(self, name) is not None}


class _ObjectPart(ReadingPart):
    readings: list[ReadingPart] | None = Field(None, min_length=1)
    tolerance_mm: Positive | None = None
    size_source: Literal["label", "measured"] | None = None
    material: str = ""
    depth_offset_mm: NotNegative | None = None
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
        if self.size_source == "label" and self.tolerance_mm is not None:
            raise ValueError(
                "a label's tolerance is its own rounding: leave out tolerance_mm, or say that the "
                "size is measured"
            )
        return self


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
    return getattr(part, "kind", "from") if isinstance(part, _Part) else None


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
            'or is borrowed by {"from": FILE}'
        ),
    ),
]


class CaliperPart(_Part):
    """What was drawn for one quantity on one frame."""

    id: str = Field(min_length=1)
    quantity: str
    frame: FromZero
    points_px: list[Point] = Field(min_length=2)
    view_deg: Annotated[Number, Field(ge=0, lt=180)] | None = None
    repeat: FromOne = 1
    beat: FromZero | None = None
    moment: str | None = None
    u_end_mm: Positive | None = None
    u_end_px: Positive | None = None
    tilt_deg: Tilt | None = None
    origin: Literal["drawn", "tracked", "refined"] = "drawn"
    confirmed: Flag = True
    note: str = ""


class ConditionsPart(_Part):
    """Filling of the heart and rhythm while the loop was taken."""

    loading: str = "not stated"
    rhythm: str = "not stated"


class ViewPart(_Part):
    """View angles that replace the file's own."""

    primary_deg: Annotated[Number, Field(ge=-180, le=180)] | None = None
    secondary_deg: Annotated[Number, Field(ge=-90, le=90)] | None = None
    plane_deg: Annotated[Number, Field(ge=0, le=180)] | None = None


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
    document = _document(text, name)
    if not isinstance(document, dict) or "annot_read" not in document:
        raise InputError(f'{name} is not a read file: it has no "annot_read" number.')
    if document["annot_read"] != VERSION or isinstance(document["annot_read"], bool):
        raise InputError(
            f"{name} is a read file of version {document['annot_read']!r}; this program reads "
            f"version {VERSION}."
        )
    try:
        return ReadFile.model_validate(document)
    except ValidationError as faults:
        raise _refusal(faults, name) from None


def _document(text: str, name: str) -> object:
    if not text.strip():
        raise InputError(f"{name} is empty.")
    try:
        return json.loads(text, object_pairs_hook=_without_repeats)
    except json.JSONDecodeError as fault:
        raise InputError(
            f"{name} is not JSON: {fault.msg} at line {fault.lineno}, column {fault.colno}."
        ) from None
    except _RepeatedFieldError as fault:
        raise InputError(f"{name} gives the field {fault} twice in one place; keep one.") from None
    except (ValueError, RecursionError):
        raise InputError(
            f"{name} cannot be read: it nests too deeply or holds a number of too many digits."
        ) from None


class _RepeatedFieldError(ValueError):
    """A field that stands twice in one object; JSON would let the last one win in silence."""


def _without_repeats(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    fields = dict(pairs)
    if len(fields) < len(pairs):
        names = [name for name, _ in pairs]
        raise _RepeatedFieldError(next(repr(name) for name in names if names.count(name) > 1))
    return fields


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
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(f"{path.name} is not a read file: it is not text in UTF-8.") from None
    except OSError as fault:
        raise InputError(f"{path}: the read file cannot be opened: {fault.strerror}.") from None
    return parse(text, name=path.name)


def dump(document: ReadFile) -> str:
    """Return the text of a read file; fields that say nothing are left out."""
    content = document.model_dump(mode="json", by_alias=True, exclude_defaults=True)
    return json.dumps({"annot_read": VERSION, **content}, indent=1, ensure_ascii=False) + "\n"


# Faults whose usual wording speaks of a program's types, in words for whoever wrote the file.
PLAIN_WORDS = {
    "extra_forbidden": "there is no such field",
    "missing": "this field is missing",
    "tuple_type": "a list of numbers is needed, such as [row, column]",
    "list_type": "a list is needed",
    "too_long": "more values than asked for",
    "string_too_short": "this text is empty",
    "model_type": "an object in braces is needed",
    "model_attributes_type": "an object in braces is needed",
    "float_type": "a number is needed",
    "int_type": "a whole number is needed",
    "string_type": "a text in quotes is needed",
    "bool_type": "true or false is needed",
}


def _refusal(faults: ValidationError, name: str) -> InputError:
    return InputError(f"{name}: {'; '.join(_fault(one) for one in faults.errors())}.")


def _fault(error: Any) -> str:
    # a step with brackets or a dash names a type of ours, not a place in the file
    steps = [str(step) for step in error["loc"] if not set("[-") & set(str(step))]
    place = ".".join(steps) or "the file"
    message = PLAIN_WORDS.get(error["type"], error["msg"]).removeprefix("Value error, ")
    return f"{place}: {message[0].lower()}{message[1:]}"
