"""Load and save reads."""

from pathlib import Path

from annot.exports import JSON, write_whole
from annot.reads import Read, dump, file_of, load, read_of

__all__ = ["Read", "load_read", "save_read"]


def load_read(path: Path) -> Read:
    """Return the read in a file; raise InputError with every fault named."""
    return read_of(load(path), name=path.name)


def save_read(read: Read, path: Path) -> None:
    """Write a read whole or not at all."""
    write_whole(path, dump(file_of(read)), replaces=JSON)
