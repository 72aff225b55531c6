"""Make a study out of loops and a protocol: its folder, its store, its sealed key, its masks."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from annot.errors import InputError
from annot.exports import PNG, write_whole
from annot.exports.mask_picture import mask_picture
from annot.loops import LoopHeader, open_loop
from annot.reads.blinding import default_mask, needs_look
from annot.reads.key_file import SourcePart, keyed
from annot.reads.protocol_file import load_protocol, shipped_protocols, shipped_text
from annot.reads.study_file import (
    PROTOCOL_COPY,
    STORE_FILE,
    MaskPart,
    ProtocolPart,
    StudyFile,
    StudyLoopPart,
    filled,
)
from annot.store import connect
from annot.tasks.made_whole import made_whole
from annot.tasks.open import list_loops
from annot.tasks.protocol import protocol_hash
from annot.tasks.reads_key import KeyRing, new_key, new_secret
from annot.tasks.reads_study import LOOP_KIND, STUDY_KIND, Study, file_digest, write_mirror
from annot.vocabulary.protocol import Protocol

MASKS = "masks"
Progress = Callable[[str], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class StudyPlan:
    """What a study is to be made of.

    Attributes
    ----------
    folder : Path
        To be made; it must not be there.
    code : str
        The study's name in everything that is kept.
    protocol : str
        A shipped protocol's name or a file.
    store : str
        The store's file in the folder, or the URL of a database.
    by : str
        Who makes it.
    """

    folder: Path
    code: str
    protocol: str
    by: str
    store: str = STORE_FILE


@dataclass(frozen=True, slots=True, kw_only=True)
class _Found:
    path: Path
    header: LoopHeader
    digest: str


def new_study(
    plan: StudyPlan, paths: Sequence[Path], ring: KeyRing, *, progress: Progress = lambda _: None
) -> tuple[Study, dict[str, Path]]:
    """Make a study.

    Parameters
    ----------
    plan : StudyPlan
    paths : sequence of Path
        Loops, or folders searched for loops.
    ring : KeyRing
        Where the key is written, which must not be there, and under which passphrase.
    progress : callable
        Called with each file's name.

    Returns
    -------
    tuple
        The study, and each loop's file by its label, for the laboratory's eyes.

    Raises
    ------
    AnnotError
        If a loop, the protocol or a name is at fault; then nothing is made.
    """
    protocol = load_protocol(plan.protocol)
    _refuse_there(plan, ring)
    secret = new_secret()
    found = _found(paths, progress)
    loops = [_part(one, f"L{number:03d}", secret) for number, one in enumerate(found, start=1)]
    file = _file(plan, protocol, loops)
    sources = [_source(one, part) for one, part in zip(found, loops, strict=True)]
    with made_whole(plan.folder) as folder:
        write_whole(folder / PROTOCOL_COPY, _protocol_text(plan.protocol), replaces=b"")
        _write_masks(folder, found, loops, progress)
        store = connect(plan.store if "://" in plan.store else str(folder / plan.store))
        study = Study(folder=folder, file=file, protocol=protocol, store=store, versions={})
        ring.sealed(new_key(plan.code, sources, secret))
        try:
            write_mirror(study)
            _note(study, plan.by)
        except BaseException:
            ring.path.unlink(missing_ok=True)
            raise
        finally:
            store.close()
    files = {part.label: one.path for one, part in zip(found, loops, strict=True)}
    return replace(study, folder=plan.folder), files


def _file(plan: StudyPlan, protocol: Protocol, loops: Sequence[StudyLoopPart]) -> StudyFile:
    said = ProtocolPart(
        label=protocol.label,
        fingerprint=protocol.fingerprint,
        protocol_hash=protocol_hash(protocol),
    )
    content = {
        "code": plan.code,
        "protocol": said,
        "store": plan.store,
        "loops": tuple(loops),
    }
    return filled(StudyFile, content, name="the study")


def _refuse_there(plan: StudyPlan, ring: KeyRing) -> None:
    if plan.folder.exists():
        raise InputError(f"{plan.folder} is there already; a study makes a folder of its own.")
    if ring.path.exists():
        raise InputError(
            f"{ring.path} is there already; a key is never written over: name another."
        )
    if plan.folder.resolve() in ring.path.resolve().parents:
        raise InputError(f"{ring.path} lies in the study's folder; keep the key somewhere else.")
    if "://" in plan.store and "@" in plan.store and ":" in plan.store.split("@")[0].split("//")[1]:
        raise InputError(
            "The store's URL holds a password, which would be written into the study file; leave "
            "it out and let the database's own password file hold it."
        )


def _protocol_text(name_or_file: str) -> str:
    if name_or_file in shipped_protocols():
        return shipped_text(name_or_file)
    return Path(name_or_file).read_text(encoding="utf-8-sig")  # loaded before, so it is readable


def _found(paths: Sequence[Path], progress: Progress) -> list[_Found]:
    """Return every loop below the paths, each once; the first at fault refuses them all."""
    found: dict[str, _Found] = {}
    uids: dict[str, str] = {}
    for listed in list_loops(paths):
        progress(listed.path.name)
        if listed.header is None:
            raise InputError(f"{listed.fault} No study was made.")
        if listed.files > 1 or not listed.path.is_file():
            raise InputError(
                f"{listed.path} is a folder or lies in an archive; a blinded study takes loops "
                "that are one file each, so unpack or export them as such."
            )
        digest = file_digest(listed.path)
        uid = listed.header.sop_instance_uid
        before = uids.setdefault(uid, listed.path.name)
        if digest in found or before != listed.path.name:
            raise InputError(
                f"{listed.path} is the same loop as {before}: a study has each loop once; the "
                "protocol's hidden repeats show one twice."
            )
        found[digest] = _Found(path=listed.path, header=listed.header, digest=digest)
    if not found:
        raise InputError(f"No loop lies in {', '.join(str(path) for path in paths)}.")
    return list(found.values())


def _part(one: _Found, label: str, secret: str) -> StudyLoopPart:
    header, mask = one.header, default_mask(one.header)
    examination = header.study_instance_uid or one.digest
    return StudyLoopPart(
        label=label,
        fingerprint=one.digest,
        case=f"case-{keyed(secret, 'case', examination).hex()[:10]}",
        system=header.system,
        modality=header.modality,
        rows=header.rows,
        columns=header.columns,
        frames=header.frames,
        burned_in=header.burned_in,
        needs_look=needs_look(header),
        mask=MaskPart(shown=mask.shown, hidden=mask.hidden),
    )


def _source(one: _Found, part: StudyLoopPart) -> SourcePart:
    return SourcePart(
        label=part.label,
        fingerprint=part.fingerprint,
        file=str(one.path.resolve()),
        study_instance_uid=one.header.study_instance_uid,
        sop_instance_uid=one.header.sop_instance_uid,
    )


def _write_masks(
    folder: Path, found: Sequence[_Found], loops: Sequence[StudyLoopPart], progress: Progress
) -> None:
    (folder / MASKS).mkdir()
    for one, part in zip(found, loops, strict=True):
        progress(f"{part.label} {one.path.name}")
        picture = mask_picture(open_loop(one.path), default_mask(one.header))
        write_whole(folder / MASKS / f"{part.label}.png", picture, replaces=PNG)


def _note(study: Study, by: str) -> None:
    """Keep the study and each of its loops as the first events of its chain."""
    body = study.file.model_dump(mode="json", exclude={"loops", "seed", "readers"})
    loops = (
        study.intent(LOOP_KIND, one.label, one.model_dump(mode="json"), by=by)
        for one in study.file.loops
    )
    study.store.append(study.intent(STUDY_KIND, study.file.code, body, by=by), *loops)
