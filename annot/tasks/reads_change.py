"""One change of a study's reads with everything that follows from it, kept whole or not at all."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any

from annot.store import Intent, Query, Record
from annot.tasks.reads_kept import (
    READING_KIND,
    REPEATS_KIND,
    KeptRead,
    KeptReading,
    readings_of,
    reads_of,
)
from annot.tasks.reads_measured import Followed, LoopFile, Progress, Workbench
from annot.tasks.reads_study import READ_KIND, Study


@dataclass(frozen=True, slots=True, kw_only=True)
class Act:
    """Who changes something and why; `reason` may be empty for what is new."""

    by: str
    reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Changed:
    """What a change came to: readings that are new, that changed, and that are gone."""

    entered: int = 0
    superseded: int = 0
    withdrawn: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadsChange:
    """Reads of one reader that are about to be kept, and where their loops lie.

    Without any, what is kept of the reader is looked at anew.
    """

    study: Study
    reader: str
    reads: Sequence[KeptRead]
    loop_file: LoopFile
    progress: Progress = lambda _: None

    def keep(self, act: Act) -> Changed:
        """Measure what follows and keep all of it in one transaction.

        Raises
        ------
        AnnotError
            If a read cannot be measured, the study is frozen, or somebody else was faster; then
            nothing is kept.
        """
        reader = self.reader
        kept = {code: one for code, one in reads_of(self.study).items() if one.reader == reader}
        held = {**kept, **{one.code: one for one in self.reads}}
        known = {key: one for key, one in readings_of(self.study).items() if one.code in held}
        repeats, version = _repeats(self.study, reader)
        bench = Workbench(study=self.study, loop_file=self.loop_file, progress=self.progress)
        followed = bench.follow(held, known, (repeats, version))
        at = _Moment(study=self.study.file.code, act=act, at=datetime.now(UTC))
        after = replace(at, act=replace(act, reason=_after(self.reads, act)))
        intents = [
            at.intent(READ_KIND, one.code, one.body(), one.version - 1) for one in self.reads
        ]
        if followed.repeats_version > version:
            intents.append(after.intent(REPEATS_KIND, reader, followed.repeats, version))
        fresh = list(_fresh(followed, known))
        intents += [after.intent(READING_KIND, one.key, one.body(), one.version) for one in fresh]
        self.study.store.append(*intents)
        gone = sum(one.withdrawn for one in fresh)
        first = sum(one.version == 0 for one in fresh)
        return Changed(entered=first, superseded=len(fresh) - first - gone, withdrawn=gone)


def _after(reads: Sequence[KeptRead], act: Act) -> str:
    """Return why readings change that follow from these reads."""
    if not reads:
        return act.reason
    if not act.reason:
        return f"{len(reads)} more reads of reader {reads[0].reader} were collected"
    return f"follows from {', '.join(one.code for one in reads)}: {act.reason}"


def _repeats(study: Study, reader: str) -> tuple[dict[str, Any] | None, int]:
    query = Query(study=study.file.code, kind=REPEATS_KIND, key=reader)
    for event in study.store.read(query):
        body: Any = event.record.body
        return body, event.version
    return None, 0


def _fresh(followed: Followed, known: Mapping[str, KeptReading]) -> Iterator[KeptReading]:
    """Yield what has to be kept, each with the version that it supersedes."""
    for key, one in followed.readings.items():
        before = known.get(key)
        if before is None or before.body() != one.body():
            yield replace(one, version=before.version if before else 0)
    for key, one in known.items():
        if one.code in followed.codes and key not in followed.readings and not one.withdrawn:
            yield replace(one, row={}, drawn=None, mm_per_px=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Moment:
    """One act at one moment, of which many records are kept."""

    study: str
    act: Act
    at: datetime

    def intent(self, kind: str, key: str, body: Any, seen: int) -> Intent:
        return Intent(
            record=Record(study=self.study, kind=kind, key=key, body=body),
            # somebody else's act is another one, and is then refused by the version it saw
            token=f"{kind}:{key}:{seen + 1}:{self.act.by}",
            actor=self.act.by,
            at=self.at,
            reason=self.act.reason if seen else "",
            seen_version=seen,
        )
