"""A reader's package as it lies: its list, its loops, what was read and what was signed."""

from collections.abc import Iterator
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

from annot.errors import InputError
from annot.reads import Read, read_of
from annot.reads import load as load_read_file
from annot.reads.package_file import PACKAGE_FILE, PackageFile, PresentationPart, parse_package
from annot.reads.signed_file import READ_END, SIGNED_END, SignedFile, parse_signed
from annot.tasks.reads_study import file_digest

LOOP_END = ".dcm"


@dataclass(frozen=True, slots=True, kw_only=True)
class PackageFolder:
    """A package that is open; nothing of its loops or reads has been looked at yet."""

    folder: Path
    list: PackageFile

    def showing(self, code: str) -> PresentationPart:
        """Return a showing by its code; raise InputError if the package has none of that code."""
        for one in self.list.presentations:
            if one.code == code:
                return one
        codes = ", ".join(one.code for one in self.list.presentations)
        raise InputError(f"{self.folder} has no showing {code}; it has {codes}.")

    def read_bytes(self, one: PresentationPart) -> bytes:
        """Return a showing's read file as it lies."""
        return _bytes_of(self.folder / one.read)

    def read(self, one: PresentationPart) -> Read:
        """Return a showing's read, which must be this reader's of this loop.

        Raises
        ------
        InputError
            If the file is no read, or is about something else.
        """
        path = self.folder / one.read
        found = read_of(load_read_file(path), name=path.name)
        if found.reader != self.list.reader:
            raise InputError(
                f"{path.name} is a read of {found.reader}, but this is the package of reader "
                f"{self.list.reader}."
            )
        files = [loop.file for loop in found.loops]
        if files != [one.file] or found.study != one.code:
            raise InputError(
                f"{path.name} is not the read of {one.code}: it holds {', '.join(files) or 'none'} "
                f"of {found.study}, where {one.file} alone is meant."
            )
        return found

    def signed(self, one: PresentationPart) -> SignedFile | None:
        """Return a showing's signed answer, which must fit its read; None if there is none yet.

        Raises
        ------
        InputError
            If it signs another showing or reader, or the read was changed since.
        """
        path = self.folder / f"{one.code}{SIGNED_END}"
        if not path.exists():
            return None
        found = parse_signed(_text_of(path), name=path.name)
        if (found.code, found.reader) != (one.code, self.list.reader):
            raise InputError(
                f"{path.name} signs {found.code} for reader {found.reader}, not {one.code} for "
                f"{self.list.reader}."
            )
        if found.sha256 != sha256(self.read_bytes(one)).hexdigest():
            raise InputError(f"{one.read} was changed after it was signed, or is damaged.")
        return found

    def refuse_damaged_loop(self, one: PresentationPart) -> None:
        """Raise InputError if a showing's loop is not, byte for byte, what was handed out."""
        if file_digest(self.folder / one.file) != one.sha256:
            raise InputError(f"{one.file} is not the loop that was handed out, or is damaged.")

    def strangers(self) -> Iterator[str]:
        """Yield names of loops, reads and signed answers that the list does not know."""
        ends = (LOOP_END, READ_END, SIGNED_END)
        known = {f"{one.code}{end}" for one in self.list.presentations for end in ends}
        for path in sorted(self.folder.iterdir()):
            if path.name.endswith(ends) and path.name not in known:
                yield path.name


def holds_package(path: Path) -> bool:
    """Whether a folder is a reader's package."""
    return (path / PACKAGE_FILE).is_file()


def open_package(folder: Path) -> PackageFolder:
    """Open a reader's package.

    Raises
    ------
    InputError
        If the folder holds no package.
    """
    path = folder / PACKAGE_FILE
    if not path.is_file():
        raise InputError(f"{folder} is no reader's package: it holds no {PACKAGE_FILE}.")
    return PackageFolder(folder=folder, list=parse_package(_text_of(path), name=str(path)))


def _bytes_of(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as fault:
        raise InputError(f"{path} cannot be read: {fault.strerror}.") from None


def _text_of(path: Path) -> str:
    try:
        return _bytes_of(path).decode("utf-8")
    except UnicodeDecodeError:
        raise InputError(f"{path} is not text in UTF-8, so it is damaged or something else.") from (
            None
        )
