"""Sign a read: the reader stands behind what was measured, and from then on it is closed."""

from dataclasses import dataclass
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path

from annot.errors import AnnotError, InputError
from annot.exports import JSON, write_whole
from annot.reads.package_file import PresentationPart
from annot.reads.signed_file import SIGNED_END, SignedFile, dump_signed
from annot.tasks.measure import measure_read
from annot.tasks.package_folder import PackageFolder, open_package
from annot.tasks.read import ruled

READ_ONLY = 0o444


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenShowing:
    """A showing of a package and how far its reader has come with it."""

    code: str
    order: int
    calipers: int
    signed: SignedFile | None


def sign(folder: Path, code: str, *, reader: str, unreadable: str = "") -> SignedFile:
    """Sign one showing's read, or that the loop cannot be read.

    The read and its loop are looked at and measured first: what cannot be measured is not signed.

    Parameters
    ----------
    folder : Path
        The reader's package.
    code : str
        Of the showing.
    reader : str
        Who signs; the package must be theirs.
    unreadable : str
        Why the loop cannot be measured; empty for a read that was measured.

    Raises
    ------
    AnnotError
        If it is signed already, is somebody else's, holds no caliper or an unconfirmed one, or
        cannot be measured.
    """
    package = open_package(folder)
    if reader != package.list.reader:
        raise InputError(
            f"{folder} is the package of reader {package.list.reader}; {reader} cannot sign in it."
        )
    one = package.showing(code)
    before = package.signed(one)
    if before is not None:
        raise InputError(
            f"{code} was signed by {before.reader} at {before.at}: it is closed, and only the "
            "laboratory amends it, with a reason."
        )
    package.refuse_damaged_loop(one)
    digest = sha256(package.read_bytes(one)).hexdigest()
    if not unreadable.strip():
        _refuse_unmeasured(package, one)
    signed = SignedFile(
        code=code,
        reader=reader,
        at=datetime.now(UTC).isoformat(timespec="seconds"),
        readable=not unreadable.strip(),
        reason=unreadable.strip(),
        sha256=digest,
    )
    read, path = folder / one.read, folder / f"{code}{SIGNED_END}"
    # a window that saves meanwhile finds it closed, or the digest shows that it came first
    write_whole(path, dump_signed(signed), replaces=JSON)
    try:
        package.signed(one)
    except InputError:
        path.unlink(missing_ok=True)
        raise InputError(
            f"{one.read} was changed while it was signed, so it is not: sign again."
        ) from None
    for closed in (read, path):
        closed.chmod(READ_ONLY)
    return signed


def _refuse_unmeasured(package: PackageFolder, one: PresentationPart) -> None:
    read = package.read(one)
    try:
        entries = measure_read(ruled(read, beside=package.folder), package.folder)
    except AnnotError as fault:
        raise InputError(f"{one.code} is not signed, for it cannot be measured: {fault}") from None
    if not entries:
        raise InputError(
            f"{one.code} holds no caliper, so there is nothing to sign: measure it, or say why it "
            "is not readable."
        )
    proposed = [part.key for loop in read.loops for part in loop.calipers if not part.confirmed]
    if proposed:
        raise InputError(
            f"{one.code} is not signed, for a program proposed {', '.join(proposed)} and nobody "
            "confirmed it: confirm it or take it out."
        )


def showings_of(folder: Path) -> list[OpenShowing]:
    """Return a package's showings in their order, with what is signed.

    Raises
    ------
    InputError
        If the folder is no package, or a file in it is at fault.
    """
    package = open_package(folder)
    return [
        OpenShowing(
            code=one.code,
            order=one.order,
            calipers=sum(len(loop.calipers) for loop in package.read(one).loops),
            signed=package.signed(one),
        )
        for one in sorted(package.list.presentations, key=lambda part: part.order)
    ]
