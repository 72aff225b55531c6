"""What follows from a study's reads: readings, measured anew when what they rest on changed.

Readings are a function of the reads that hold now, of the reader's own repeats among them, and of
this program. So nothing is corrected by hand: a read is amended, and what follows is worked out.
"""

from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from annot.calibration import LoopScale
from annot.errors import AnnotError, InputError
from annot.exports import TableEntry, measurement_row
from annot.loops import Loop
from annot.measurement.repeats import RepeatEvidence
from annot.reads import Read
from annot.reads.assignment import Presentation
from annot.tasks.measure import Beams, entries_of, scales_of
from annot.tasks.open import open_loop
from annot.tasks.protocol import protocol_hash
from annot.tasks.reads_kept import KeptRead, KeptReading
from annot.tasks.reads_repeats import SHOWING_STEP, evidence_facts, pooled, showing_number
from annot.tasks.reads_study import Study
from annot.tasks.surroundings import drawn_by_hand

Progress = Callable[[str], None]
LoopFile = Callable[[str], Path]


@dataclass(frozen=True, slots=True, kw_only=True)
class Followed:
    """What one reader's reads come to.

    Attributes
    ----------
    codes : frozenset of str
        Showings that were looked at anew, unreadable ones among them.
    readings : dict
        By key, everything that was measured anew.
    repeats : dict
        What the reader's repeats say, as it is kept.
    repeats_version : int
        The version that it has or gets.
    """

    codes: frozenset[str]
    readings: dict[str, KeptReading]
    repeats: dict[str, Any]
    repeats_version: int


@dataclass(frozen=True, slots=True, kw_only=True)
class _Showing:
    """One showing with its loop open, named as the laboratory names it."""

    shown: Presentation
    kept: KeptRead
    read: Read
    loops: dict[str, Loop]
    scales: dict[str, LoopScale]


@dataclass(frozen=True, slots=True, kw_only=True)
class Workbench:
    """Where one reader's reads are measured.

    Attributes
    ----------
    study : Study
    loop_file : callable
        Gives the blinded loop of a showing's code.
    progress : callable
        Called with each showing's code.
    """

    study: Study
    loop_file: LoopFile
    progress: Progress = lambda _: None

    def follow(
        self,
        reads: Mapping[str, KeptRead],
        known: Mapping[str, KeptReading],
        repeats: tuple[dict[str, Any] | None, int],
    ) -> Followed:
        """Measure what changed reads call for.

        Parameters
        ----------
        reads : mapping
            Every read of one reader that holds, or is about to, by its showing's code.
        known : mapping
            The reader's readings as they are kept, by key.
        repeats : tuple
            What is kept of the reader's repeats, and its version.

        Raises
        ------
        AnnotError
            On the first read that cannot be measured, with its code.
        """
        self._refuse_other_defaults()
        reader = next(iter(reads.values())).reader
        shown = self.study.shown_to(reader)
        versions = {
            one.code: one.read_version
            for one in known.values()
            if not one.withdrawn and one.repeats_version == repeats[1]
        }
        held = {code: one for code, one in reads.items() if one.readable}
        stale = {code for code, one in reads.items() if versions.get(code) != one.version}
        ready = {code: self._opened(held[code]) for code in sorted(stale & set(held))}
        drawn = [one for one in known.values() if one.code not in stale]
        for showing in ready.values():
            drawn += self._as_drawn(showing).values()
        evidence = pooled(drawn, shown)
        facts, (kept, version) = evidence_facts(evidence), repeats
        if facts != kept:
            version += 1
            stale |= set(held)
        found: dict[str, KeptReading] = {}
        for code in sorted(stale & set(held)):
            showing = ready.get(code) or self._opened(held[code])
            found |= self._measured(showing, evidence, version)
        return Followed(
            codes=frozenset(stale), readings=found, repeats=facts, repeats_version=version
        )

    def _refuse_other_defaults(self) -> None:
        file, now = self.study.file.protocol, protocol_hash(self.study.protocol)
        if now != file.protocol_hash:
            raise InputError(
                f"Study {self.study.file.code} was made under the defaults {file.protocol_hash}, "
                f"and this version of the program has {now}: measure it with the version that "
                "made it."
            )

    def _opened(self, kept: KeptRead) -> _Showing:
        self.progress(kept.code)
        shown = next(one for one in self.study.presentations if one.code == kept.code)
        part = self.study.loop(shown.loop)
        loop = open_loop(self.loop_file(kept.code))
        # the copy bears this showing's own identifiers: errors that two showings of one loop
        # share, and those of one imaging system, are recognised by the laboratory's names
        loop.header = replace(
            loop.header,
            sop_instance_uid=part.fingerprint,
            study_instance_uid=part.case,
            system=part.system,
        )
        read = self._named(kept.read(), shown, part.label, part.case)
        try:
            scales = scales_of(read, {part.label: loop})
        except AnnotError as fault:
            raise InputError(f"{kept.code}: {fault.message}") from None
        return _Showing(shown=shown, kept=kept, read=read, loops={part.label: loop}, scales=scales)

    def _named(self, read: Read, shown: Presentation, label: str, case: str) -> Read:
        """Return the read of one loop under the laboratory's names and the whole protocol."""
        [one] = read.loops
        step = SHOWING_STEP * showing_number(shown)
        calipers = tuple(replace(each, repeat=each.repeat + step) for each in one.calipers)
        loop = replace(one, file=label, sop_instance_uid=None, calipers=calipers)
        return replace(read, loops=(loop,), study=case, rules=self.study.protocol)

    def _as_drawn(self, showing: _Showing) -> dict[str, KeptReading]:
        """Return what was drawn by hand, before anything is measured."""
        found = drawn_by_hand(showing.read, showing.loops, showing.scales)
        return {
            key: KeptReading(
                key=key,
                code=showing.kept.code,
                loop=showing.shown.loop,
                row={"drawn": True},
                drawn=asdict(one.reading),
                mm_per_px=one.mm_per_px,
                read_version=showing.kept.version,
                repeats_version=0,
            )
            for one in found
            for key in (_key(showing.kept.code, one.caliper, one.reading.outcome),)
        }

    def _measured(
        self, showing: _Showing, evidence: RepeatEvidence, version: int
    ) -> dict[str, KeptReading]:
        code, drawn = showing.kept.code, self._as_drawn(showing)
        self.progress(code)
        found: dict[str, KeptReading] = {}
        try:
            entries = entries_of(
                showing.read, showing.loops, showing.scales, beams=Beams(), evidence=evidence
            )
            rows = [_row_of(one, code) for one in entries]
        except AnnotError as fault:
            raise InputError(f"{code}: {fault.message}") from None
        for row in rows:
            key = _key(code, row["caliper_id"], row["quantity"])
            by_hand = drawn.get(key)
            found[key] = KeptReading(
                key=key,
                code=code,
                loop=showing.shown.loop,
                row=row,
                drawn=by_hand.drawn if by_hand else None,
                mm_per_px=by_hand.mm_per_px if by_hand else None,
                read_version=showing.kept.version,
                repeats_version=version,
            )
        return found


def _key(code: str, caliper: str, outcome: str) -> str:
    return f"{code}/{caliper}/{outcome}"


def _row_of(entry: TableEntry, code: str) -> dict[str, Any]:
    """Return a table's row whose cells JSON keeps: NumPy's floats become Python's."""
    row: dict[str, Any] = {
        name: float(cell) if isinstance(cell, float) else cell
        for name, cell in measurement_row(entry).items()
    }
    return {**row, "presentation": code}
