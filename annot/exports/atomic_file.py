"""Write a file whole or not at all."""

import os
import tempfile
from pathlib import Path

from annot.errors import InputError


def write_whole(path: Path, content: str | bytes) -> None:
    """Write text (UTF-8) or bytes beside the target, then move it into place.

    Raises
    ------
    InputError
        If the folder does not exist or cannot be written; an older file there stays as it was.
    """
    data = content.encode("utf-8") if isinstance(content, str) else content
    try:
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        try:
            with os.fdopen(handle, "wb") as stream:
                stream.write(data)
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
