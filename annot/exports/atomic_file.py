"""Write a file whole or not at all."""

import os
import tempfile
from collections.abc import Iterable
from pathlib import Path

from annot.errors import InputError

CSV, CURVE, PNG, JSON = b"study,", b"frame,dicom_frame,", b"\x89PNG", b"{"


def write_whole(path: Path, content: str | bytes | Iterable[str], *, replaces: bytes) -> None:
    """Write text (UTF-8) or bytes beside the target, then move it into place.

    Parameters
    ----------
    path : Path
    content : str or bytes, or an iterable of str
        Pieces of text are written as they come, so that a long file needs little memory; where
        they end in an error nothing is left behind.
    replaces : bytes
        How an older file must begin to be replaced: a table replaces a table, and never a loop,
        a read or a device that somebody named by mistake.

    Raises
    ------
    InputError
        If the folder does not exist or cannot be written, or something else stands there; an
        older file stays as it was.
    """
    pieces = (content,) if isinstance(content, str | bytes) else content
    _refuse_other_files(path, replaces)
    try:
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        try:
            with os.fdopen(handle, "wb") as stream:
                for piece in pieces:
                    stream.write(piece.encode("utf-8") if isinstance(piece, str) else piece)
                stream.flush()
                # without it a power cut can leave the new name on an empty file
                os.fsync(stream.fileno())
            Path(name).chmod(0o644)
            Path(name).replace(path)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
    except OSError as fault:
        raise InputError(f"{path} cannot be written: {fault.strerror}.") from None


def _refuse_other_files(path: Path, replaces: bytes) -> None:
    """Refuse a target that is no file, or a file of another kind than the one to be written."""
    try:
        if not path.parent.is_dir():
            raise InputError(f"{path} cannot be written: there is no folder {path.parent}.")
        if not path.exists():
            return
        if not path.is_file():
            raise InputError(f"{path} is not a file, so nothing is written there; name a file.")
        with path.open("rb") as stream:
            start = stream.read(len(replaces))
    except OSError as fault:
        raise InputError(f"{path} cannot be written: {fault.strerror}.") from None
    if start and start != replaces:
        raise InputError(
            f"{path} holds something else and is left as it is; name another file to write."
        )
