"""What a reader's repeats say over all of the reader's showings, hidden repeats among them.

A loop that a reader scaled twice has two scales, and their difference is not the placing of a
caliper's ends: it stands in each scale's own share. So every showing of a loop is brought to the
scale of its first before repeats are set against each other.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, replace
from typing import Any

from annot.measurement.repeats import Reading, RepeatEvidence, Scatter, Subject, evidence_of
from annot.reads.assignment import Presentation
from annot.tasks.reads_kept import KeptReading

_DIMENSION = {"mm": 1, "mm2": 2}
# a second showing's repeats are counted on from the first's
SHOWING_STEP = 100


def showing_number(one: Presentation) -> int:
    """Return 0 for a first showing and 1 for a hidden repeat."""
    return 0 if one.repeat_of is None else 1


def pooled(readings: Iterable[KeptReading], shown: Sequence[Presentation]) -> RepeatEvidence:
    """Pool one reader's repeats.

    Parameters
    ----------
    readings : iterable of KeptReading
        All that the reader drew and that holds now.
    shown : sequence of Presentation
        The reader's list.
    """
    order = {one.code: (showing_number(one), one.order) for one in shown}
    found = [one for one in readings if not one.withdrawn and one.drawn is not None]
    found.sort(key=lambda one: (order[one.code], one.key))
    first_scale: dict[str, float] = {}
    drawn = []
    for one in found:
        reading = one.reading()
        assert reading is not None
        if one.mm_per_px is not None:
            common = first_scale.setdefault(one.loop, one.mm_per_px)
            dimension = _DIMENSION.get(reading.unit, 0)
            reading = replace(reading, value=reading.value * (common / one.mm_per_px) ** dimension)
        drawn.append(reading)
    return evidence_of(drawn)


def evidence_facts(evidence: RepeatEvidence) -> dict[str, Any]:
    """Return evidence as plain values, always in the same order."""
    return {
        "placing": _scatters(evidence.placing),
        "frame": _scatters(evidence.frame),
        "notes": [[*subject, evidence.notes[subject]] for subject in sorted(evidence.notes)],
    }


def _scatters(found: Mapping[Subject, Scatter]) -> list[list[Any]]:
    return [[*subject, asdict(found[subject])] for subject in sorted(found)]


__all__ = ["SHOWING_STEP", "Reading", "evidence_facts", "pooled", "showing_number"]
