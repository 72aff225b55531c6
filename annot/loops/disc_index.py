"""The index of a DICOM disc (DICOMDIR, PS3.10 8.6): which image files it names."""

from collections.abc import Iterator
from pathlib import Path

from pydicom import dcmread

from annot.errors import LoopError
from annot.loops.quiet import captured_warnings

NAME = "DICOMDIR"


def indexed_images(index: Path) -> Iterator[Path]:
    """List the image files that an index names, in its order, whether they exist or not.

    Raises
    ------
    LoopError
        If the index cannot be read, or names a file outside its own folder.
    """
    try:
        with captured_warnings():
            records = dcmread(index).get("DirectoryRecordSequence") or ()
            named = [
                record.ReferencedFileID
                for record in records
                if record.get("DirectoryRecordType") == "IMAGE" and record.get("ReferencedFileID")
            ]
    except Exception as error:
        raise LoopError(
            f"{index.name} is no readable index of a disc ({type(error).__name__}): name the "
            "folder it lies in instead."
        ) from error
    for parts in named:
        yield _file_of(index, [parts] if isinstance(parts, str) else list(parts))


def _file_of(index: Path, parts: list[str]) -> Path:
    folder = index.parent.resolve()
    path = index.parent.joinpath(*parts)
    if not path.resolve().is_relative_to(folder):
        raise LoopError(
            f"{index.name} names a file outside its own folder and is not followed: name the "
            "folder it lies in instead."
        )
    # Discs are often mounted with names in small letters.
    small = index.parent.joinpath(*(part.lower() for part in parts))
    return small if not path.exists() and small.exists() else path
