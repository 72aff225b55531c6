"""Hand out a reader's package: blinded loops, the reader's empty reads, a list, no more."""

import secrets
from collections.abc import Callable
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

from annot.errors import InputError
from annot.exports import JSON, write_whole
from annot.exports.blinded_loop import BlindedLoop, BlindIdentity, Blinding, write_blinded
from annot.exports.lossless_frames import ENCODINGS, Encoding
from annot.reads import LoopRead, Read, ViewOverride, dump, file_of
from annot.reads.assignment import Presentation
from annot.reads.blinded_protocol import blinded_part, protocol_text
from annot.reads.key_file import KeyContent, ShownPart, keyed, keyed_uid
from annot.reads.package_file import (
    PACKAGE_FILE,
    BlindedProtocolPart,
    PackageFile,
    PresentationPart,
    dump_package,
)
from annot.reads.protocol_file import parse_protocol
from annot.reads.study_file import PROTOCOL_COPY
from annot.tasks.made_whole import made_whole
from annot.tasks.reads_key import KeyRing
from annot.tasks.reads_prepare import owed
from annot.tasks.reads_source import source_of
from annot.tasks.reads_study import PACKAGE_KIND, READ_KIND, Study, mask_of

__all__ = ["ENCODINGS", "Encoding", "Handing", "hand_out"]

Progress = Callable[[str], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Handing:
    """What is handed out to whom.

    Attributes
    ----------
    reader : str
    out : Path
        Folder to be made.
    by : str
        Who hands it out.
    reason : str
        Why once more, of a reader who has one already.
    encoding : str
        How the pixels are stored.
    """

    reader: str
    out: Path
    by: str
    reason: str = ""
    encoding: Encoding = "jpeg-ls"


def hand_out(
    study: Study, handing: Handing, ring: KeyRing, *, progress: Progress = lambda _: None
) -> PackageFile:
    """Write a reader's package, whole or not at all.

    What a code stands for is added to the sealed key; the store keeps the list with the digest of
    every file.

    Raises
    ------
    AnnotError
        If a loop is not prepared, gone or changed, its copy fails a check, or the folder is there.
    """
    shown = _list_of(study, handing)
    _refuse_unprepared(study, shown)
    if handing.out.exists():
        raise InputError(f"{handing.out} is there already; a package makes a folder of its own.")
    key = ring.opened(study.file.code)
    with made_whole(handing.out) as folder:
        protocol = _write_protocol(study, folder)
        parts, copies = [], []
        for one in shown:
            progress(f"{one.code} ({one.order} of {len(shown)})")
            copy = _write_loop(study, one, key, folder, handing)
            _write_read(study, one, copy, folder)
            parts.append(_part(one, copy))
            copies.append(_shown(one, copy))
        package = PackageFile(
            package=f"{study.file.code[:20]}-{secrets.token_hex(5)}",
            study=study.file.code,
            reader=handing.reader,
            protocol=protocol,
            presentations=tuple(parts),
        )
        write_whole(folder / PACKAGE_FILE, dump_package(package), replaces=JSON)
        # opened anew, for somebody else may have handed out a package meanwhile
        ring.sealed(_with_shown(ring.opened(study.file.code), copies))
        body = {**package.model_dump(mode="json"), "encoding": handing.encoding}
        study.note(PACKAGE_KIND, handing.reader, body, by=handing.by, reason=handing.reason)
    return package


def _list_of(study: Study, handing: Handing) -> tuple[Presentation, ...]:
    if not study.presentations:
        raise InputError(f"Study {study.file.code} is not assigned yet: annot reads assign.")
    shown = study.shown_to(handing.reader)
    if not shown:
        raise InputError(
            f"Study {study.file.code} has no reader {handing.reader}; it has "
            f"{', '.join(study.file.readers)}."
        )
    # what came back is closed: a further package holds what was assigned since
    shown = tuple(one for one in shown if (READ_KIND, one.code) not in study.versions)
    if not shown:
        raise InputError(f"Every showing of reader {handing.reader} came back already.")
    if (PACKAGE_KIND, handing.reader) in study.versions and not handing.reason.strip():
        raise InputError(
            f"Reader {handing.reader} has a package already; to hand it out once more give a "
            "reason, which is kept."
        )
    return shown


def _refuse_unprepared(study: Study, shown: tuple[Presentation, ...]) -> None:
    loops = {one.loop for one in shown}
    for loop in study.file.loops:
        wants = owed(loop) if loop.fingerprint in loops else ()
        if wants:
            raise InputError(
                f"{loop.label} is not ready to be handed out: it needs {' and '.join(wants)} "
                "(annot reads prepare)."
            )


def _write_protocol(study: Study, folder: Path) -> BlindedProtocolPart:
    text = protocol_text(blinded_part(study.protocol))
    protocol = parse_protocol(text, name=PROTOCOL_COPY)
    write_whole(folder / PROTOCOL_COPY, text, replaces=b"")
    return BlindedProtocolPart(
        label=protocol.label,
        fingerprint=protocol.fingerprint,
        hide=protocol.blinding.hide,
        sha256=sha256(text.encode()).hexdigest(),
    )


def _write_loop(
    study: Study, one: Presentation, key: KeyContent, folder: Path, handing: Handing
) -> BlindedLoop:
    loop = study.loop(one.loop)
    blinding = Blinding(
        identity=BlindIdentity(
            code=one.code, uid_of=lambda uid: keyed_uid(key.secret, one.code, uid)
        ),
        mask=mask_of(loop.mask),
        looked=loop.confirmed is not None,
        encoding=handing.encoding,
        padding=int.from_bytes(keyed(key.secret, "padding", one.code)[:2]),
    )
    return write_blinded(source_of(key, loop), folder / f"{one.code}.dcm", blinding=blinding)


def _write_read(study: Study, one: Presentation, copy: BlindedLoop, folder: Path) -> None:
    """Write the reader's empty read, with what stood only in the picture."""
    facts = study.loop(one.loop).facts
    read = Read(
        reader=one.reader,
        protocol=PROTOCOL_COPY,
        study=one.code,
        loops=(
            LoopRead(
                file=f"{one.code}.dcm",
                sop_instance_uid=copy.sop_instance_uid,
                view=ViewOverride(plane_deg=facts.plane_deg),
            ),
        ),
    )
    write_whole(folder / f"{one.code}.read.json", dump(file_of(read)), replaces=JSON)


def _part(one: Presentation, copy: BlindedLoop) -> PresentationPart:
    return PresentationPart(
        code=one.code,
        order=one.order,
        file=f"{one.code}.dcm",
        read=f"{one.code}.read.json",
        sha256=copy.sha256,
    )


def _shown(one: Presentation, copy: BlindedLoop) -> ShownPart:
    return ShownPart(
        code=one.code,
        reader=one.reader,
        fingerprint=one.loop,
        sop_instance_uid=copy.sop_instance_uid,
    )


def _with_shown(key: KeyContent, copies: list[ShownPart]) -> KeyContent:
    fresh = {one.code: one for one in (*key.shown, *copies)}
    return key.model_copy(update={"shown": tuple(fresh.values())})
