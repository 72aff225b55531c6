"""How the command line comes by a passphrase: from a file, the environment or the keyboard."""

import getpass
import os
import sys
from pathlib import Path
from typing import Annotated

import typer

from annot.errors import InputError
from annot.tasks.reads_key import KeyRing, default_key_path

VARIABLE = "ANNOT_PASSPHRASE"
KeyOption = Annotated[
    Path | None,
    typer.Option("--key", help="the study's sealed key (default: STUDY.key.json beside the study)"),
]
PassphraseOption = Annotated[
    Path | None,
    typer.Option(
        "--passphrase-file", help=f"its first line opens the key (else {VARIABLE}, else asked)"
    ),
]
By = Annotated[str, typer.Option("--by", help="who does this (default: the system's user name)")]


def key_ring(study: Path, key: Path | None, passphrase_file: Path | None) -> KeyRing:
    """Return where the key lies and what opens it; never from the words of the command itself."""
    return KeyRing(
        path=key or default_key_path(study), passphrase=_passphrase(study, passphrase_file)
    )


def _passphrase(study: Path, file: Path | None) -> str:
    if file is not None:
        try:
            lines = file.read_text(encoding="utf-8").splitlines()
        except (OSError, UnicodeDecodeError):
            raise InputError(f"{file}: the passphrase cannot be read from it.") from None
        return lines[0] if lines else ""
    stated = os.environ.get(VARIABLE)
    if stated:
        return stated
    if not sys.stdin.isatty():
        raise InputError(
            f"The key of {study} needs its passphrase: give --passphrase-file or set {VARIABLE}."
        )
    return getpass.getpass(f"Passphrase of the key of {study}: ")


def actor(by: str) -> str:
    """Return who acts: as stated, else the system's user."""
    return by or getpass.getuser()
