"""Prepare a study's loops for blinding: facts that stand only in the picture, masks, a look."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime

from annot.errors import InputError
from annot.exports import PNG, write_whole
from annot.exports.mask_picture import mask_picture
from annot.loops import open_loop
from annot.reads.blinding import Box, PictureMask
from annot.reads.study_file import (
    ConfirmedPart,
    FactsPart,
    MaskPart,
    StudyLoopPart,
    filled,
    loop_of,
)
from annot.tasks.reads_key import KeyRing
from annot.tasks.reads_new import MASKS
from annot.tasks.reads_source import source_of
from annot.tasks.reads_study import LOOP_KIND, Study, mask_of, write_mirror

UNKNOWN_PLANE = "plane angle"


@dataclass(frozen=True, slots=True, kw_only=True)
class Preparation:
    """What a person states of loops before they are masked; None and empty change nothing.

    Attributes
    ----------
    plane_deg : float or None
        Of ultrasound: the multiplane angle that stands in the picture.
    plane_unknown : bool
        The picture does not tell the angle.
    notes : dict
        Anything else that stands only in the picture; it stays in the laboratory.
    shown, hidden : tuple of boxes
        A new mask; either replaces what it names.
    confirm : bool
        Whether the masked picture was looked at and identifies nobody.
    """

    plane_deg: float | None = None
    plane_unknown: bool = False
    notes: tuple[tuple[str, str], ...] = ()
    shown: tuple[Box, ...] = ()
    hidden: tuple[Box, ...] = ()
    confirm: bool = False

    @property
    def changes_mask(self) -> bool:
        """Whether a new mask is stated."""
        return bool(self.shown or self.hidden)


def prepare(
    study: Study,
    labels: Sequence[str],
    stated: Preparation,
    *,
    by: str,
    reason: str = "prepared for blinding",
    ring: KeyRing | None = None,
) -> Study:
    """Keep what was stated of loops, and draw the picture of each changed mask anew.

    Parameters
    ----------
    study : Study
    labels : sequence of str
        Which loops.
    stated : Preparation
    by, reason : str
        Who states it and why; every version is kept.
    ring : KeyRing, optional
        Needed for a new mask alone, to find the loop and draw its picture.

    Raises
    ------
    InputError
        If a loop is not known, a statement does not fit it, or a mask that was not looked at
        since it changed is confirmed; nothing is kept then.
    """
    if study.presentations and stated.changes_mask and _handed_out(study):
        raise InputError("Packages were handed out already, so masks stay as they are.")
    parts = [_stated(loop_of(study.file, label), stated, by) for label in dict.fromkeys(labels)]
    pictures = _pictures(study, parts, ring) if stated.changes_mask else {}
    study.store.append(
        *(
            study.intent(LOOP_KIND, one.label, one.model_dump(mode="json"), by=by, reason=reason)
            for one in parts
        )
    )
    for label, picture in pictures.items():
        write_whole(study.folder / MASKS / f"{label}.png", picture, replaces=PNG)
    changed = {one.label: one for one in parts}
    loops = tuple(changed.get(one.label, one) for one in study.file.loops)
    versions = {
        **study.versions,
        **{(LOOP_KIND, label): study.versions.get((LOOP_KIND, label), 0) + 1 for label in changed},
    }
    result = replace(study, file=study.file.model_copy(update={"loops": loops}), versions=versions)
    write_mirror(result)
    return result


def _handed_out(study: Study) -> bool:
    return any(kind == "package" for kind, _ in study.versions)


def _stated(loop: StudyLoopPart, stated: Preparation, by: str) -> StudyLoopPart:
    if stated.plane_deg is not None and loop.modality != "US":
        raise InputError(f"{loop.label} is {loop.modality}; only an ultrasound loop has a plane.")
    if stated.changes_mask and stated.confirm:
        raise InputError("Look at the picture of the new mask first, then confirm it by itself.")
    notes = {**loop.facts.notes, **dict(stated.notes)}
    plane = loop.facts.plane_deg if stated.plane_deg is None else stated.plane_deg
    if stated.plane_unknown:
        plane, notes[UNKNOWN_PLANE] = None, "not told by the picture"
    elif stated.plane_deg is not None:
        notes.pop(UNKNOWN_PLANE, None)
    boxes = {
        "shown": stated.shown or loop.mask.shown,
        "hidden": stated.hidden or loop.mask.hidden,
    }
    mask = filled(MaskPart, boxes, name=f"{loop.label}, mask")
    mask_of(mask).visible(loop.rows, loop.columns)
    result = loop.model_copy(
        update={
            "facts": filled(
                FactsPart, {"plane_deg": plane, "notes": notes}, name=f"{loop.label}, facts"
            ),
            "mask": mask,
            "confirmed": None if stated.changes_mask else loop.confirmed,
        }
    )
    return _confirmed(result, by) if stated.confirm else result


def _confirmed(loop: StudyLoopPart, by: str) -> StudyLoopPart:
    mask = mask_of(loop.mask)
    if not mask.visible(loop.rows, loop.columns).any():
        raise InputError(
            f"{loop.label} would be black all over, for its file names no region to show: state "
            "with --show what a reader may see."
        )
    moment = datetime.now(UTC).isoformat(timespec="seconds")
    confirmed = ConfirmedPart(by=by, at=moment, mask=mask.digest)
    return loop.model_copy(update={"confirmed": confirmed})


def _pictures(
    study: Study, parts: Sequence[StudyLoopPart], ring: KeyRing | None
) -> dict[str, bytes]:
    if ring is None:
        raise InputError("A new mask needs the key, to find the loop and draw its picture anew.")
    key = ring.opened(study.file.code)
    return {
        one.label: mask_picture(open_loop(source_of(key, one)), mask_of(one.mask)) for one in parts
    }


def owed(loop: StudyLoopPart) -> tuple[str, ...]:
    """Return what a loop still needs before it may be handed out blinded, in words."""
    wants = []
    told = loop.facts.plane_deg is not None or UNKNOWN_PLANE in loop.facts.notes
    if loop.modality == "US" and not told:
        wants.append("the plane angle, or that the picture does not tell it")
    confirmed = loop.confirmed
    looked = confirmed is not None and confirmed.mask == mask_of(loop.mask).digest
    if loop.needs_look and not looked:
        wants.append("a look at its masked picture")
    return tuple(wants)


__all__ = ["Box", "PictureMask", "Preparation", "owed", "prepare"]
