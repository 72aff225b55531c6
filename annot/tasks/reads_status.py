"""How far a study has come: who owes what, where readers are apart, what was amended."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from annot.agreement import Statistic
from annot.agreement.disagreement import disagreement_chart
from annot.errors import InputError
from annot.sizing.chart import SizeChart
from annot.store import FREEZE, Query
from annot.tasks.reads_cases import Case, adjudications, cases_of, too_far, unpaired
from annot.tasks.reads_kept import reads_of
from annot.tasks.reads_study import PACKAGE_KIND, Study
from annot.vocabulary.protocol import Adjudication


@dataclass(frozen=True, slots=True, kw_only=True)
class ReaderStatus:
    """One reader: showings assigned, handed out, collected, not readable, amended.

    `overruled` is in how many of `judged` cases the third reader was too far from this one, and
    `disagreement` the reader disagreement index in percent with its exact interval; None before
    any case was adjudicated.
    """

    reader: str
    assigned: int
    handed_out: bool
    collected: int
    unreadable: int
    amended: int
    overruled: int = 0
    judged: int = 0
    disagreement: Statistic | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class StudyStatus:
    """A study.

    Attributes
    ----------
    study : str
    readers : tuple of ReaderStatus
    cases, unpaired, apart, adjudicated : int
        Quantities of loops; those that one reader alone measured, those whose readers are too far
        apart, and those of them that have a third reader's value. None where they cannot be told.
    why_unknown : str
        Why they cannot.
    frozen : str
        By whom and when; empty where the study is open.
    """

    study: str
    readers: tuple[ReaderStatus, ...]
    cases: int | None
    unpaired: int | None
    apart: int | None
    adjudicated: int | None
    asked: int
    why_unknown: str
    frozen: str

    def facts(self) -> dict[str, Any]:
        """Return it for machines."""
        return asdict(self)


def status_of(study: Study, chart: SizeChart | None = None) -> StudyStatus:
    """Return how far a study has come."""
    kept = reads_of(study)
    shown = Counter(one.reader for one in study.presentations)
    try:
        cases, why = cases_of(study, chart), ""
    except InputError as fault:
        cases, why = None, fault.message
    charted = _disagreement(cases or [], study.protocol.adjudication)
    readers = tuple(
        ReaderStatus(
            reader=reader,
            assigned=shown[reader],
            handed_out=(PACKAGE_KIND, reader) in study.versions,
            collected=len(own := [one for one in kept.values() if one.reader == reader]),
            unreadable=sum(not one.readable for one in own),
            amended=sum(one.version > 1 for one in own),
            **charted.get(reader, {}),
        )
        for reader in study.file.readers
    )
    frozen = next(study.store.read(Query(study=study.file.code, kind=FREEZE)), None)
    return StudyStatus(
        study=study.file.code,
        readers=readers,
        cases=None if cases is None else len(cases),
        unpaired=None if cases is None else len(unpaired(cases)),
        apart=None if cases is None else sum(bool(one.why) for one in cases),
        adjudicated=(None if cases is None else sum(bool(one.why and one.third) for one in cases)),
        asked=len(adjudications(study)),
        why_unknown=why,
        frozen=f"{frozen.actor}, {frozen.at:%Y-%m-%d %H:%M:%S} UTC" if frozen else "",
    )


def _disagreement(cases: Sequence[Case], limits: Adjudication) -> dict[str, dict[str, Any]]:
    """Return each reader's disagreement index: cases overruled over all cases read.

    A third reader overrules a reader who lies further off than the protocol allows two readers.
    """
    counts: dict[str, tuple[int, int]] = {}
    for case in cases:
        for side in case.sides:
            over, read = counts.get(side.reader, (0, 0))
            third = case.third if case.why else None
            off = third is not None and too_far(case, (side.seen.value, third.seen.value), limits)
            counts[side.reader] = (over + off, read + 1)
    if not any(case.why and case.third for case in cases):
        return {}
    return {
        one.reader: {
            "overruled": one.overruled,
            "judged": one.cases,
            "disagreement": one.index,
        }
        for one in disagreement_chart(counts)
    }
