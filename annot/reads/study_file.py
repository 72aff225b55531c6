"""The study file, version 1: what is read under which protocol, without any identity.

It stays in the laboratory: it holds no name, no file and no stored identifier, but it names every
loop by its fingerprint. Where a loop lies and whose it is stands in the sealed key alone.
"""

import json
from collections.abc import Mapping
from typing import Annotated, Any, Literal, TypeVar

from pydantic import Field, ValidationError

from annot.errors import InputError
from annot.reads.field_types import Flag, FromOne, FromZero, Number, Part
from annot.reads.plain_words import refusal_of

Filled = TypeVar("Filled", bound=Part)
VERSION: Literal[1] = 1
STUDY_FILE, STORE_FILE = "study.json", "study.sqlite"
PROTOCOL_COPY: Literal["protocol.yaml"] = "protocol.yaml"
# Codes become file names and DICOM identifiers (VR LO and PN): nothing in them needs a quote.
Code = Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9_.-]*$", max_length=32)]
Digest = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
Box = tuple[FromZero, FromZero, FromZero, FromZero]


class FactsPart(Part):
    """What stands only in the picture and is gone once it is masked; each stated by a person."""

    plane_deg: Annotated[Number, Field(ge=0, le=180)] | None = None
    notes: dict[Annotated[str, Field(min_length=1, max_length=60)], str] = Field(
        default_factory=dict
    )


class MaskPart(Part):
    """What stays visible: inside any `shown` box and outside every `hidden` one.

    A box is first row, first column, last row, last column, all inclusive and from 0.
    """

    shown: tuple[Box, ...]
    hidden: tuple[Box, ...] = ()


class ConfirmedPart(Part):
    """Who looked at the masked picture and found nothing that identifies."""

    by: Annotated[str, Field(min_length=1)]
    at: Annotated[str, Field(min_length=1)]
    mask: Digest


class StudyLoopPart(Part):
    """One loop of a study.

    `label` is its number in the study, `fingerprint` the SHA-256 of its file, `case` a keyed
    pseudonym of the examination it belongs to, `system` one of the imaging system.
    """

    label: Code
    fingerprint: Digest
    case: Code
    system: str
    modality: str
    rows: FromOne
    columns: FromOne
    frames: FromOne
    burned_in: Flag | None = None
    needs_look: Flag
    facts: FactsPart = FactsPart()
    mask: MaskPart
    confirmed: ConfirmedPart | None = None


class ProtocolPart(Part):
    """The protocol of the study: its copy beside the study file, and the digests of what it says.

    `protocol_hash` is the table's: it covers this program's defaults too.
    """

    file: Literal["protocol.yaml"] = PROTOCOL_COPY
    label: str
    fingerprint: str
    protocol_hash: str


class StudyFile(Part):
    """A whole study: its loops, its protocol, its store, and how readers were assigned."""

    annot_study: Literal[1] = VERSION
    code: Code
    protocol: ProtocolPart
    store: Annotated[str, Field(min_length=1)] = STORE_FILE
    loops: Annotated[tuple[StudyLoopPart, ...], Field(min_length=1)]
    seed: FromZero | None = None
    readers: tuple[Code, ...] = ()


def filled(part: type[Filled], content: Mapping[str, object], *, name: str) -> Filled:
    """Return a part made of values that a person stated or a store kept.

    Raises
    ------
    InputError
        One sentence that names every fault and where it stands.
    """
    try:
        return part.model_validate(content)
    except ValidationError as faults:
        raise refusal_of(faults, name) from None


def parse_study(text: str, *, name: str) -> StudyFile:
    """Parse the text of a study file.

    Raises
    ------
    InputError
        One sentence that names every fault and where it stands.
    """
    try:
        return StudyFile.model_validate_json(text)
    except ValidationError as faults:
        raise refusal_of(faults, name) from None


def dump_study(study: StudyFile) -> str:
    """Return the text of a study file."""
    return json.dumps(study.model_dump(mode="json"), indent=1, ensure_ascii=False) + "\n"


def loop_of(study: StudyFile, label: str) -> StudyLoopPart:
    """Return a loop by its label; raise InputError if the study has none of that name."""
    for loop in study.loops:
        if loop.label == label:
            return loop
    known = f"{study.loops[0].label} to {study.loops[-1].label}"
    raise InputError(f"Study {study.code} has no loop {label}; it has {known}.")


def study_schema() -> dict[str, Any]:
    """Return the JSON Schema of a study file (draft 2020-12)."""
    schema = StudyFile.model_json_schema()
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}
