"""The list in a reader's package, version 1: what to read in which order, and nothing else."""

import json
from typing import Annotated, Any, Literal

from pydantic import Field, ValidationError

from annot.reads.field_types import FromOne, Part
from annot.reads.plain_words import refusal_of
from annot.reads.study_file import Code, Digest
from annot.vocabulary.protocol import Hidden

VERSION: Literal[1] = 1
PACKAGE_FILE = "package.json"


class PresentationPart(Part):
    """One showing of a loop.

    `file` is the blinded loop and `read` the reader's own file, both named by the code; `sha256`
    is the blinded loop's, for the read is the reader's to change.
    """

    code: Code
    order: FromOne
    file: Annotated[str, Field(pattern=r"^[A-Za-z0-9_.-]+\.dcm$")]
    read: Annotated[str, Field(pattern=r"^[A-Za-z0-9_.-]+\.read\.json$")]
    sha256: Digest


class BlindedProtocolPart(Part):
    """The part of the protocol that a reader may know, as a protocol file in the package.

    `hide` is what the window does not show; `fingerprint` is the blinded part's own.
    """

    file: Literal["protocol.yaml"] = "protocol.yaml"
    label: str
    fingerprint: str
    hide: tuple[Hidden, ...]
    sha256: Digest


class PackageFile(Part):
    """A whole package."""

    annot_package: Literal[1] = VERSION
    package: Code
    study: Code
    reader: Code
    protocol: BlindedProtocolPart
    presentations: Annotated[tuple[PresentationPart, ...], Field(min_length=1)]


def parse_package(text: str, *, name: str) -> PackageFile:
    """Parse the text of a package's list.

    Raises
    ------
    InputError
        One sentence that names every fault and where it stands.
    """
    try:
        return PackageFile.model_validate_json(text)
    except ValidationError as faults:
        raise refusal_of(faults, name) from None


def dump_package(package: PackageFile) -> str:
    """Return the text of a package's list."""
    return json.dumps(package.model_dump(mode="json"), indent=1, ensure_ascii=False) + "\n"


def package_schema() -> dict[str, Any]:
    """Return the JSON Schema of a package's list (draft 2020-12)."""
    schema = PackageFile.model_json_schema()
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}
