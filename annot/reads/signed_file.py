"""The signed answer beside a read, version 1: who stands behind which content, when, in what sense.

A signed read never changes. The signature names a person and a content by its SHA-256; that
nobody signs for somebody else is for whoever keeps the folder.
"""

import json
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field, ValidationError, model_validator

from annot.errors import InputError
from annot.reads.field_types import Flag, Part
from annot.reads.plain_words import refusal_of
from annot.reads.study_file import Code, Digest

VERSION: Literal[1] = 1
MEANING: Literal["I measured this"] = "I measured this"
READ_END, SIGNED_END = ".read.json", ".signed.json"


class SignedFile(Part):
    """One signed answer.

    `at` is in UTC; `readable` is false for a loop that cannot be measured, with its `reason`;
    `sha256` is the read file's as it lies.
    """

    annot_signed: Literal[1] = VERSION
    code: Code
    reader: Code
    at: Annotated[str, Field(pattern=r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\+00:00$")]
    meaning: Literal["I measured this"] = MEANING
    readable: Flag
    reason: str = ""
    sha256: Digest

    @model_validator(mode="after")
    def _reason_where_unreadable(self) -> "SignedFile":
        if self.readable == bool(self.reason.strip()):
            raise ValueError("what is not readable needs a reason, and only that")
        return self


def signed_path(read: Path) -> Path | None:
    """Return where the signed answer of a package's read lies; None for any other file."""
    if not read.name.endswith(READ_END):
        return None
    return read.with_name(read.name.removesuffix(READ_END) + SIGNED_END)


def parse_signed(text: str, *, name: str) -> SignedFile:
    """Parse the text of a signed answer.

    Raises
    ------
    InputError
        One sentence that names every fault and where it stands.
    """
    try:
        return SignedFile.model_validate_json(text)
    except ValidationError as faults:
        raise refusal_of(faults, name) from None


def dump_signed(signed: SignedFile) -> str:
    """Return the text of a signed answer."""
    return json.dumps(signed.model_dump(mode="json"), indent=1, ensure_ascii=False) + "\n"


def refuse_signed(read: Path) -> None:
    """Raise InputError if a read was signed, for then it is closed."""
    beside = signed_path(read)
    if beside is not None and beside.exists():
        raise InputError(
            f"{read.name} was signed and is closed: only the laboratory amends it, with a reason."
        )


def signed_schema() -> dict[str, Any]:
    """Return the JSON Schema of a signed answer (draft 2020-12)."""
    schema = SignedFile.model_json_schema()
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}
