"""Ask a third reader where two are too far apart: new blinded showings, told from nothing else."""

import secrets
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from annot.errors import InputError
from annot.reads.assignment import Presentation
from annot.reads.key_file import CODE_LETTERS, LETTERS
from annot.sizing.chart import SizeChart
from annot.store import Intent, Query, Record
from annot.tasks.reads_cases import (
    ADJUDICATION_KIND,
    Case,
    adjudications,
    cases_of,
    codes_asked,
)
from annot.tasks.reads_kept import reads_of
from annot.tasks.reads_study import (
    ASSIGNMENT_KEY,
    ASSIGNMENT_KIND,
    Study,
    open_study,
    write_mirror,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What was found and who was asked.

    Attributes
    ----------
    disputes : tuple of Case
        Cases whose readers are too far apart.
    showings : tuple of Presentation
        New ones of the third reader; empty where nobody was asked.
    """

    disputes: tuple[Case, ...]
    showings: tuple[Presentation, ...] = ()


def disputes_of(study: Study, chart: SizeChart | None = None) -> tuple[Case, ...]:
    """Return the cases whose readers are further apart than the protocol allows."""
    return tuple(one for one in cases_of(study, chart) if one.why)


def adjudicate(study: Study, *, third: str, by: str, chart: SizeChart | None = None) -> Asked:
    """Assign every disputed loop that nobody was asked about to a third reader.

    Where whoever was asked could not read the loop, somebody else may be. Each loop is shown once
    however many of its quantities are disputed, in an order drawn anew.

    Raises
    ------
    InputError
        If the third reader is one of those who are apart or was shown the loop before, the study
        is frozen, or somebody else was faster.
    """
    disputes = disputes_of(study, chart)
    known = {one.record.key: one for one in adjudications(study)}
    in_vain = {one.code for one in reads_of(study).values() if not one.readable}
    owed = [
        one for one in disputes if one.key not in known or codes_asked([known[one.key]]) & in_vain
    ]
    usable = codes_asked(known.values()) - in_vain
    _refuse_who_knows(study, owed, third, usable)
    asked = {one.loop: one.code for one in study.shown_to(third) if one.code in usable}
    fresh = _showings(study, owed, third, set(asked))
    if owed:
        codes = {**asked, **{one.loop: one.code for one in fresh}}
        versions = {key: one.version for key, one in known.items()}
        act = _Asking(study=study, by=by, third=third, codes=codes, versions=versions)
        study.store.append(*act.assigned(fresh), *(act.asked(one) for one in owed))
        write_mirror(open_study(study.folder))
    return Asked(disputes=disputes, showings=tuple(fresh))


def _refuse_who_knows(study: Study, disputes: Sequence[Case], third: str, usable: set[str]) -> None:
    """Refuse a third reader who knows the loop already."""
    for case in disputes:
        if third in {side.reader for side in case.sides}:
            raise InputError(
                f"{case.key}: {third} is one of the readers who are apart; ask somebody else."
            )
    loops = {case.loop for case in disputes}
    shown = [o for o in study.shown_to(third) if o.loop in loops and o.code not in usable]
    if shown:
        raise InputError(
            f"{third} was shown {study.loop(shown[0].loop).label} in this study already, so it "
            "would not be a fresh look; ask somebody else."
        )


def _showings(
    study: Study, disputes: Sequence[Case], third: str, asked: set[str]
) -> list[Presentation]:
    loops = sorted({one.loop for one in disputes} - asked)
    secrets.SystemRandom().shuffle(loops)
    taken = {one.code for one in study.presentations}
    last = max((one.order for one in study.shown_to(third)), default=0)
    found = []
    for order, loop in enumerate(loops, start=last + 1):
        code = _code(taken)
        taken.add(code)
        found.append(Presentation(code=code, reader=third, loop=loop, order=order))
    return found


def _code(taken: set[str]) -> str:
    while True:
        code = "".join(secrets.choice(LETTERS) for _ in range(CODE_LETTERS))
        if code not in taken:
            return code


@dataclass(frozen=True, slots=True, kw_only=True)
class _Asking:
    """One act of asking a third reader, as it is kept."""

    study: Study
    by: str
    third: str
    codes: Mapping[str, str]
    versions: Mapping[str, int]

    def assigned(self, fresh: Sequence[Presentation]) -> list[Intent]:
        """Return the assignment with new showings at its end; nothing if there are none."""
        if not fresh:
            return []
        query = Query(study=self.study.file.code, kind=ASSIGNMENT_KIND, key=ASSIGNMENT_KEY)
        body: Any = next(self.study.store.read(query)).record.body
        readers = [*body["readers"], *([] if self.third in body["readers"] else [self.third])]
        shown = [*body["presentations"], *(one.facts() for one in fresh)]
        content = {**body, "readers": readers, "presentations": shown}
        reason = f"{len(fresh)} loops go to a third reader, {self.third}"
        return [
            self.study.intent(ASSIGNMENT_KIND, ASSIGNMENT_KEY, content, by=self.by, reason=reason)
        ]

    def asked(self, case: Case) -> Intent:
        """Return what is kept of one case."""
        body: Any = {
            "code": self.codes[case.loop],
            "third": self.third,
            "why": case.why,
            "values": {side.reader: side.seen.value for side in case.sides},
            "unit": case.unit,
        }
        seen = self.versions.get(case.key, 0)
        code = self.study.file.code
        return Intent(
            record=Record(study=code, kind=ADJUDICATION_KIND, key=case.key, body=body),
            token=f"{ADJUDICATION_KIND}:{case.key}:{seen + 1}:{self.by}",
            actor=self.by,
            at=datetime.now(UTC),
            reason="whoever was asked before could not read the loop" if seen else "",
            seen_version=seen,
        )
