"""Ask a third reader where two are too far apart: new blinded showings, told from nothing else."""

import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from annot.errors import InputError
from annot.reads.assignment import Presentation
from annot.reads.key_file import CODE_LETTERS, LETTERS
from annot.sizing.chart import SizeChart
from annot.store import Intent, Query, Record
from annot.tasks.reads_cases import ADJUDICATION_KIND, Case, adjudications, cases_of
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

    Each loop is shown once however many of its quantities are disputed, in an order drawn anew.

    Raises
    ------
    InputError
        If the third reader is one of those who are apart or was shown the loop before, the study
        is frozen, or somebody else was faster.
    """
    disputes, known = disputes_of(study, chart), adjudications(study)
    open_ones = [one for one in disputes if one.key not in known]
    _refuse_partial(study, open_ones, third)
    asked = {one.loop: one for one in study.shown_to(third) if one.code in _codes(known.values())}
    fresh = _showings(study, open_ones, third, set(asked))
    if open_ones:
        codes = {one.loop: one.code for one in (*asked.values(), *fresh)}
        study.store.append(*_intents(study, open_ones, fresh, codes, _Who(by=by, third=third)))
        write_mirror(open_study(study.folder))
    return Asked(disputes=disputes, showings=tuple(fresh))


def _codes(bodies: Any) -> set[str]:
    return {str(body["code"]) for body in bodies}


def _refuse_partial(study: Study, disputes: Sequence[Case], third: str) -> None:
    """Refuse a third reader who knows the loop already."""
    for case in disputes:
        if third in {side.reader for side in case.sides}:
            raise InputError(
                f"{case.key}: {third} is one of the readers who are apart; ask somebody else."
            )
    asked = _codes(adjudications(study).values())
    loops = {case.loop for case in disputes}
    shown = [o for o in study.shown_to(third) if o.loop in loops and o.code not in asked]
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
class _Who:
    by: str
    third: str


def _intents(
    study: Study,
    disputes: Sequence[Case],
    fresh: Sequence[Presentation],
    codes: dict[str, str],
    who: _Who,
) -> list[Intent]:
    found = []
    if fresh:
        reason = f"{len(fresh)} loops go to a third reader, {who.third}"
        body = _assignment(study, fresh, who.third)
        found.append(study.intent(ASSIGNMENT_KIND, ASSIGNMENT_KEY, body, by=who.by, reason=reason))
    at = datetime.now(UTC)
    for case in disputes:
        body = {
            "code": codes[case.loop],
            "third": who.third,
            "why": case.why,
            "values": {side.reader: side.seen.value for side in case.sides},
            "unit": case.unit,
        }
        found.append(
            Intent(
                record=Record(
                    study=study.file.code, kind=ADJUDICATION_KIND, key=case.key, body=body
                ),
                token=f"{ADJUDICATION_KIND}:{case.key}:{who.by}",
                actor=who.by,
                at=at,
            )
        )
    return found


def _assignment(study: Study, fresh: Sequence[Presentation], third: str) -> dict[str, Any]:
    """Return the assignment as it is kept, with the new showings at its end."""
    query = Query(study=study.file.code, kind=ASSIGNMENT_KIND, key=ASSIGNMENT_KEY)
    body: Any = next(study.store.read(query)).record.body
    readers = [*body["readers"], *([] if third in body["readers"] else [third])]
    shown = [*body["presentations"], *(one.facts() for one in fresh)]
    return {**body, "readers": readers, "presentations": shown}
