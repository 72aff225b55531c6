"""The sign-off file, version 1: who signed which line of a hand-over list, when, in which word."""

import json
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AwareDatetime, Field, ValidationError

from annot.errors import InputError
from annot.reads.field_types import Part
from annot.reads.plain_words import words_of
from annot.reads.sign_off import SignOff

VERSION: Literal[1] = 1
Text = Annotated[str, Field(min_length=1, max_length=4000)]
Short = Annotated[str, Field(min_length=1, max_length=200, pattern=r"\S")]


class SignOffPart(Part):
    """One line that a person signed."""

    code: Annotated[str, Field(pattern=r"^[0-9a-f]{6}$")]
    topic: Text
    text: Text
    protocol: Text
    by: Short
    at: AwareDatetime
    word: Short


class SignOffFile(Part):
    """Everything that was signed of one read's list, in the order it was signed."""

    annot_sign_off: Literal[1]
    read: Text
    signed: list[SignOffPart]


def sign_off_path(read: Path) -> Path:
    """Return where a read's sign-offs are kept: beside it."""
    return read.with_name(f"{read.stem}.handover.json")


def load_sign_offs(path: Path) -> tuple[SignOff, ...]:
    """Return what was signed so far; nothing where there is no file yet.

    Raises
    ------
    InputError
        If the file cannot be read or is at fault.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        return ()
    except UnicodeDecodeError:
        raise InputError(f"{path.name} is no sign-off file: it is not text in UTF-8.") from None
    except OSError as fault:
        raise InputError(f"{path}: the sign-offs cannot be opened: {fault.strerror}.") from None
    content = _checked(text, path.name)
    return tuple(SignOff(**dict(one)) for one in content.signed)


def _checked(text: str, name: str) -> SignOffFile:
    try:
        document: Any = json.loads(text)
    except (ValueError, RecursionError) as fault:
        raise InputError(f"{name} is no sign-off file: {fault}.") from None
    try:
        return SignOffFile.model_validate(document)
    except ValidationError as faults:
        parts = [
            f"{'.'.join(str(step) for step in one['loc']) or 'the file'}: {words_of(one)}"
            for one in faults.errors()
        ]
        raise InputError(f"{name}: {'; '.join(parts)}.") from None


def dump_sign_offs(signed: tuple[SignOff, ...], *, read: str) -> str:
    """Return the text of a sign-off file."""
    content = {
        "annot_sign_off": VERSION,
        "read": read,
        "signed": [
            {
                "code": one.code,
                "topic": one.topic,
                "text": one.text,
                "protocol": one.protocol,
                "by": one.by,
                "at": one.at.isoformat(timespec="seconds"),
                "word": one.word,
            }
            for one in signed
        ],
    }
    _checked(json.dumps(content), read)
    return json.dumps(content, indent=1, ensure_ascii=False) + "\n"
