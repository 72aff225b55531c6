"""A folder that appears under its name only when everything in it is complete."""

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from annot.errors import InputError


@contextmanager
def made_whole(folder: Path) -> Iterator[Path]:
    """Make a folder beside its place, for its owner alone, and name it when it is complete.

    Yields
    ------
    Path
        The folder while it is being filled; it is gone if that fails.

    Raises
    ------
    InputError
        If it cannot be made.
    """
    try:
        if not folder.resolve().parent.is_dir():
            raise InputError(f"{folder} cannot be made: there is no folder {folder.parent}.")
        made = Path(tempfile.mkdtemp(prefix=f".{folder.name}.", dir=folder.resolve().parent))
    except OSError as fault:
        raise InputError(f"{folder} cannot be made: {fault.strerror}.") from None
    try:
        yield made
        made.rename(folder)
    except BaseException:
        shutil.rmtree(made, ignore_errors=True)
        raise
