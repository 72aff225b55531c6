"""Load and save reads."""

from dataclasses import replace
from pathlib import Path

from annot.errors import InputError
from annot.exports import JSON, write_whole
from annot.reads import Read, dump, file_of, load, read_of
from annot.reads.protocol_file import load_protocol
from annot.reads.signed_file import refuse_signed
from annot.vocabulary.protocol import Protocol

__all__ = ["Read", "load_read", "ruled", "rules_of", "save_read"]


def load_read(path: Path) -> Read:
    """Return the read in a file with its protocol; raise InputError with every fault named."""
    read = read_of(load(path), name=path.name)
    try:
        return ruled(read, beside=path.parent)
    except InputError as fault:
        raise InputError(f"{path.name}, protocol: {fault.message}") from None


def ruled(read: Read, *, beside: Path | None = None) -> Read:
    """Return the read with what its protocol says; one that has been looked up stays.

    Raises
    ------
    InputError
        If there is no such protocol, or its file is at fault.
    """
    if read.rules is not None:
        return read
    return replace(read, rules=load_protocol(read.protocol, beside=beside))


def rules_of(read: Read) -> Protocol:
    """Return what the protocol of a read says, looked up where it has not been."""
    rules = ruled(read).rules
    assert rules is not None
    return rules


def save_read(read: Read, path: Path) -> None:
    """Write a read whole or not at all; one that was signed is closed and stays as it is."""
    refuse_signed(path)
    write_whole(path, dump(file_of(read)), replaces=JSON)
