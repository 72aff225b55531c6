"""Find DICOM files below folders, in zip archives and by a disc's index, in a fixed order."""

import os
from collections.abc import Iterable, Iterator
from pathlib import Path

from annot.errors import LoopError
from annot.loops.archives import (
    UNREADABLE,
    ArchiveMember,
    is_archive,
    member_at,
    member_bytes,
    members,
)
from annot.loops.byte_source import FileBytes
from annot.loops.dicom_file import has_mark
from annot.loops.disc_index import NAME, indexed_images


def find_loops(paths: Iterable[Path | str]) -> Iterator[Path]:
    """Walk files and folders.

    Parameters
    ----------
    paths
        A file is handed on as it is, whatever it holds, so that opening it can say what is wrong.
        Of a folder, every file with the DICOM mark is handed on, folder by folder, by name; of a
        zip archive, named or met in a folder, every such member, as a path below the archive; of a
        disc's index (DICOMDIR), the images it names.

    Yields
    ------
    Path
        Each file or member once.

    Raises
    ------
    LoopError
        If a path does not exist, or a folder, an archive or an index cannot be listed.
    """
    seen: set[Path] = set()
    for named in paths:
        for path in _below(Path(named)):
            real = path.resolve()
            if real not in seen:
                seen.add(real)
                yield path


def is_marked(path: Path) -> bool:
    """Tell whether a file or an archive's member carries the DICOM mark.

    A member that cannot be read counts as marked, so that opening it says why.

    Raises
    ------
    OSError
        If the file cannot be read.
    """
    member = None if path.is_file() else member_at(path)
    return has_mark(FileBytes(path)) if member is None else _worth_opening(member)


def leads_to_loops(path: Path) -> bool:
    """Tell whether a path is a DICOM file, or a folder, archive or disc's index that names some."""
    try:
        return any(found != path or is_marked(found) for found in find_loops([path]))
    except (LoopError, OSError):
        return False


def _below(path: Path) -> Iterator[Path]:
    if path.is_dir():
        for folder, subfolders, names in os.walk(path, onerror=_refuse):
            subfolders.sort()
            for name in sorted(names):
                if name != NAME and Path(folder, name).is_file():
                    yield from _met(Path(folder, name))
    elif not path.exists() and member_at(path) is None:
        raise LoopError(f"{path} does not exist: check the name.")
    elif path.name == NAME:
        yield from indexed_images(path)
    elif path.is_file() and is_archive(path):
        yield from _inside(path)
    else:
        yield path


def _met(file: Path) -> Iterator[Path]:
    """Hand on a file met in a folder, or what an archive met there holds, or nothing."""
    try:
        if is_archive(file):
            yield from _inside(file)
        elif has_mark(FileBytes(file)):
            yield file
    except OSError:
        yield file  # opening it will say why it cannot be read


def _inside(archive: Path) -> Iterator[Path]:
    for member in members(archive):
        if member.path.name != NAME and _worth_opening(member):
            yield member.path


def _worth_opening(member: ArchiveMember) -> bool:
    try:
        return has_mark(member_bytes(member))
    except (LoopError, OSError, *UNREADABLE):
        return True  # opening it will say why it cannot be read


def _refuse(error: OSError) -> None:
    raise LoopError(f"{error.filename} cannot be listed: {error.strerror}.") from error
