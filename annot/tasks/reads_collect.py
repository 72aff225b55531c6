"""Take a reader's package back: whole and unaltered, or not at all; twice is as good as once."""

import json
import shutil
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from annot.errors import AnnotError, InputError
from annot.reads.signed_file import SignedFile
from annot.store import Query
from annot.tasks.package_folder import PackageFolder, open_package
from annot.tasks.reads_change import Act, Changed, ReadsChange
from annot.tasks.reads_kept import COLLECTED, KeptRead, kept_read, loop_path
from annot.tasks.reads_measured import Progress
from annot.tasks.reads_study import PACKAGE_KIND, READ_KIND, Study, file_digest


@dataclass(frozen=True, slots=True, kw_only=True)
class Collected:
    """What a package brought.

    Attributes
    ----------
    reader : str
    showings : int
        In the package.
    fresh : int
        Of them, those that were not collected before.
    unreadable : tuple of str
        Fresh ones that the reader could not measure.
    changed : Changed
    """

    reader: str
    showings: int
    fresh: int
    unreadable: tuple[str, ...]
    changed: Changed


def collect(
    study: Study, folder: Path, *, by: str, progress: Progress = lambda _: None
) -> Collected:
    """Collect a package: check it, measure every read, keep the reads and all readings.

    Parameters
    ----------
    study : Study
    folder : Path
        The package as it came back.
    by : str
        Who collects.
    progress : callable
        Called with each showing's code.

    Raises
    ------
    AnnotError
        If the package is another study's, was altered, is damaged or not signed throughout, or one
        of its reads cannot be measured: it is refused whole, and nothing is kept.
    """
    package = open_package(folder)
    try:
        _refuse_foreign(study, package)
        reads = _reads(package, progress)
        fresh = _fresh(study, reads)
        changed = _kept(study, package, fresh, by, progress) if fresh else Changed()
    except AnnotError as fault:
        raise InputError(f"{folder} is refused whole: {fault.message}") from None
    return Collected(
        reader=package.list.reader,
        showings=len(reads),
        fresh=len(fresh),
        unreadable=tuple(one.code for one in fresh if not one.readable),
        changed=changed,
    )


def _refuse_foreign(study: Study, package: PackageFolder) -> None:
    """Refuse what was not handed out as it is, or holds what was never in it."""
    listed = package.list
    if listed.study != study.file.code:
        raise InputError(f"It belongs to study {listed.study}, not to {study.file.code}.")
    query = Query(study=study.file.code, kind=PACKAGE_KIND, key=listed.reader, history=True)
    handed: list[Any] = [event.record.body for event in study.store.read(query)]
    ours = [one for one in handed if one["package"] == listed.package]
    if not ours:
        raise InputError(
            f"Study {study.file.code} never handed out the package {listed.package} to reader "
            f"{listed.reader}."
        )
    kept = {name: part for name, part in ours[-1].items() if name in type(listed).model_fields}
    if kept != listed.model_dump(mode="json"):
        raise InputError("Its list is not the one that was handed out.")
    protocol = package.folder / listed.protocol.file
    if file_digest(protocol) != listed.protocol.sha256:
        raise InputError(f"{protocol.name} is not the protocol that was handed out.")
    strangers = list(package.strangers())
    if strangers:
        raise InputError(f"It holds {', '.join(strangers)}, which never was in it.")


def _reads(package: PackageFolder, progress: Progress) -> list[KeptRead]:
    found, unsigned = [], []
    for one in package.list.presentations:
        progress(one.code)
        package.refuse_damaged_loop(one)
        package.read(one)
        signed = package.signed(one)
        if signed is None:
            unsigned.append(one.code)
        else:
            found.append(_read(package, signed, package.read_bytes(one)))
    if unsigned:
        raise InputError(
            f"{len(unsigned)} of {len(package.list.presentations)} showings are not signed "
            f"({', '.join(unsigned[:3])}{', …' if len(unsigned) > 3 else ''}): the reader signs "
            "each one, measured or not readable."
        )
    return found


def _read(package: PackageFolder, signed: SignedFile, content: bytes) -> KeptRead:
    return KeptRead(
        code=signed.code,
        reader=signed.reader,
        package=package.list.package,
        readable=signed.readable,
        reason=signed.reason,
        signed_at=signed.at,
        sha256=signed.sha256,
        document=json.loads(content.decode("utf-8-sig")),
    )


def _fresh(study: Study, reads: list[KeptRead]) -> list[KeptRead]:
    """Return what was not collected before; what was must be what it was then."""
    query = Query(study=study.file.code, kind=READ_KIND, history=True)
    first: Mapping[str, KeptRead] = {
        event.record.key: kept_read(event)
        for event in study.store.read(query)
        if event.version == 1
    }
    for one in reads:
        before = first.get(one.code, one)
        answer = (one.sha256, one.readable, one.reason, one.signed_at)
        if answer != (before.sha256, before.readable, before.reason, before.signed_at):
            raise InputError(f"{one.code} was collected before with another signed content.")
    return [one for one in reads if one.code not in first]


def _kept(
    study: Study, package: PackageFolder, fresh: list[KeptRead], by: str, progress: Progress
) -> Changed:
    codes = {one.code for one in fresh}
    handed = {one.code: package.folder / one.file for one in package.list.presentations}

    def loop_file(code: str) -> Path:
        return handed[code] if code in codes else loop_path(study, code)

    # files first: the store never names a loop that the laboratory does not have
    _copy_loops(study, {code: handed[code] for code in codes})
    change = ReadsChange(
        study=study,
        reader=package.list.reader,
        reads=fresh,
        loop_file=loop_file,
        progress=progress,
    )
    return change.keep(Act(by=by))


def _copy_loops(study: Study, loops: Mapping[str, Path]) -> None:
    """Keep the blinded loops, from which readings are measured anew when a read is amended."""
    folder = study.folder / COLLECTED
    try:
        folder.mkdir(exist_ok=True)
        for code, path in loops.items():
            target = loop_path(study, code)
            made = target.with_suffix(".part")
            shutil.copyfile(path, made)
            made.replace(target)
    except OSError as fault:
        raise InputError(
            f"{fault.filename}: the package's loops cannot be kept: {fault.strerror}."
        ) from None
