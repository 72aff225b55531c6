"""Amend a collected read, with a reason; all that follows is worked out anew."""

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from hashlib import sha256
from pathlib import Path

from annot.errors import InputError
from annot.reads import load, read_of
from annot.tasks.reads_change import Act, Changed, ReadsChange
from annot.tasks.reads_kept import KeptRead, loop_path, reads_of
from annot.tasks.reads_measured import Progress
from annot.tasks.reads_study import Study


@dataclass(frozen=True, slots=True, kw_only=True)
class Amendment:
    """What replaces a signed read.

    Attributes
    ----------
    code : str
        The showing.
    read : Path or None
        The corrected read file; None where the loop turns out not to be readable.
    unreadable : str
        Why it is not.
    """

    code: str
    read: Path | None = None
    unreadable: str = ""


def amend(
    study: Study,
    amendment: Amendment,
    *,
    by: str,
    reason: str,
    progress: Progress = lambda _: None,
) -> Changed:
    """Supersede a read: another scale, other calipers; the signed one stays beside it.

    Raises
    ------
    AnnotError
        If no reason is given, the showing was not collected, the file is another showing's or
        says nothing new, or it cannot be measured; then nothing is kept.
    """
    if not reason.strip():
        raise InputError("An amendment needs a reason, which is kept.")
    kept = reads_of(study).get(amendment.code)
    if kept is None:
        raise InputError(
            f"{amendment.code} was not collected, so there is nothing to amend in study "
            f"{study.file.code}."
        )
    if (amendment.read is None) == (not amendment.unreadable.strip()):
        raise InputError("Give a corrected read file, or say why the loop is not readable.")
    change = ReadsChange(
        study=study,
        reader=kept.reader,
        reads=[_amended(kept, amendment)],
        loop_file=lambda code: loop_path(study, code),
        progress=progress,
    )
    return change.keep(Act(by=by, reason=reason.strip()))


def remeasure(
    study: Study, *, by: str, reason: str, progress: Progress = lambda _: None
) -> dict[str, Changed]:
    """Work out anew what does not rest on what holds now; return what changed by reader.

    Raises
    ------
    AnnotError
        If no reason is given, or a read cannot be measured.
    """
    if not reason.strip():
        raise InputError("Measuring anew needs a reason, which is kept.")
    found = {}
    for reader in sorted({one.reader for one in reads_of(study).values()}):
        change = ReadsChange(
            study=study,
            reader=reader,
            reads=(),
            loop_file=lambda code: loop_path(study, code),
            progress=progress,
        )
        found[reader] = change.keep(Act(by=by, reason=reason.strip()))
    return found


def _amended(kept: KeptRead, amendment: Amendment) -> KeptRead:
    if amendment.read is None:
        why = amendment.unreadable.strip()
        return replace(kept, version=kept.version + 1, readable=False, reason=why)
    path = amendment.read
    read = read_of(load(path), name=path.name)
    files = [one.file for one in read.loops]
    ours = (kept.reader, kept.code, [f"{kept.code}.dcm"])
    if (read.reader, read.study, files) != ours:
        raise InputError(
            f"{path.name} is not a read of {kept.code}: it is reader {read.reader}'s of "
            f"{', '.join(files) or 'no loop'} in {read.study}, and reader {kept.reader}'s of "
            f"{kept.code}.dcm in {kept.code} is meant."
        )
    content = path.read_bytes()
    document = json.loads(content.decode("utf-8-sig"))
    if document == kept.document and kept.readable:
        raise InputError(f"{path.name} says what is kept of {kept.code} already.")
    return replace(
        kept,
        version=kept.version + 1,
        readable=True,
        reason="",
        sha256=sha256(content).hexdigest(),
        document=document,
    )


__all__: Sequence[str] = ("Amendment", "Changed", "amend", "remeasure")
