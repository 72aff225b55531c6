"""The read file, version 1: JSON a person or a program wrote, checked, to frozen types and back."""

import json
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field, TypeAdapter, ValidationError

from annot.errors import InputError
from annot.reads.caliper_parts import CaliperPart, LandmarkPart
from annot.reads.field_types import Number, Part, Positive
from annot.reads.plain_words import refusal_of
from annot.reads.scale_parts import ScalePart

VERSION: Literal[1] = 1


# an apex may lie outside the picture, but not so far that its beams could not be told apart
Apex = Annotated[Number, Field(ge=-1e6, le=1e6)]


class ConditionsPart(Part):
    """Loading, rhythm, filling and moment while the loop was taken."""

    loading: str = "not stated"
    rhythm: str = "not stated"
    filling: Annotated[str, Field(description="of the appendage with contrast")] = "not stated"
    moment: Annotated[str, Field(description="of the cycle")] = "not stated"
    atrial_pressure_mmhg: Annotated[Number, Field(ge=-20, le=80)] | None = None


class ViewPart(Part):
    """View angles that replace the file's own."""

    primary_deg: Annotated[Number, Field(ge=-180, le=180)] | None = None
    secondary_deg: Annotated[Number, Field(ge=-90, le=90)] | None = None
    plane_deg: Annotated[Number, Field(ge=0, le=180)] | None = None


class LoopPart(Part):
    """One loop: where it lies, its scale, its calipers."""

    file: str = Field(min_length=1)
    sop_instance_uid: str | None = None
    conditions: ConditionsPart = ConditionsPart()
    view: ViewPart = ViewPart()
    apex_px: tuple[Apex, Apex] | None = Field(
        None, description="where an echo sector's beams start, which may lie outside the picture"
    )
    scale: ScalePart | None = None
    calipers: tuple[CaliperPart, ...] = ()
    landmarks: tuple[LandmarkPart, ...] = ()


class ImplantPart(Part):
    """The implanted device: its nominal width and by how much that may be off, either way."""

    nominal_width_mm: Positive
    tolerance_mm: Positive


class ReadFile(Part):
    """A whole read file."""

    annot_read: Literal[1]
    reader: str = Field(min_length=1)
    protocol: str = "closure-planning"
    study: str | None = None
    implant: ImplantPart | None = None
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
        raise refusal_of(faults, name) from None


def _document(text: str, name: str) -> object:
    if not text.strip():
        raise InputError(f"{name} is empty.")
    try:
        document = json.loads(text, object_pairs_hook=_without_repeats)
        # half of a pair of escapes is no character, and no file could be written with it
        json.dumps(document, ensure_ascii=False).encode()
        return document
    except UnicodeEncodeError:
        raise InputError(
            f"{name} holds an escape such as \\ud800 that is no character; remove it."
        ) from None
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
        raise refusal_of(faults, name) from None


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
