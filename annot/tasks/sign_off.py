"""Sign the lines of a hand-over list, and say which are signed, changed since, or open."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Literal

from annot.errors import InputError
from annot.exports import JSON, write_whole
from annot.reads.sign_off import SignOff
from annot.reads.sign_off_file import dump_sign_offs, load_sign_offs, sign_off_path
from annot.tasks.hand_over_list import HandOver, Line

__all__ = ["SignedLine", "settled_of", "sign_lines", "sign_off_path", "signed_lines"]

State = Literal["open", "signed", "changed"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SignedLine:
    """A line of the list as it stands now, and who signed it.

    Attributes
    ----------
    line : Line
    state : {"open", "signed", "changed"}
        Changed: it was signed, and its words or the protocol are others since.
    last : SignOff or None
        The last signature under its topic.
    """

    line: Line
    state: State
    last: SignOff | None

    @property
    def words(self) -> str:
        """The line with its code and its signature, for people."""
        start = f"[{self.line.code}] {self.line.text}"
        if self.last is None:
            return start
        who = f"{self.last.by}, {self.last.at:%Y-%m-%d %H:%M} UTC: {self.last.word}"
        if self.state == "signed":
            return f"{start} — signed by {who}"
        return f"{start} — changed since it was signed by {who}; then: {self.last.text}"

    def facts(self) -> dict[str, object]:
        """Return it for machines."""
        last = self.last
        return {
            "code": self.line.code,
            "topic": self.line.topic,
            "text": self.line.text,
            "state": self.state,
            "signed": None
            if last is None
            else {"by": last.by, "at": last.at.isoformat(), "word": last.word, "text": last.text},
        }


def signed_lines(answer: HandOver, read: Path) -> tuple[SignedLine, ...]:
    """Return every line of a read's list with its signature.

    Raises
    ------
    InputError
        If the sign-off file beside the read is at fault.
    """
    return _against(answer.lines(), load_sign_offs(sign_off_path(read)))


def settled_of(answer: HandOver, read: Path) -> tuple[SignOff, ...]:
    """Return what was signed and stands in the list no more."""
    topics = {one.topic for one in answer.lines()}
    last = {one.topic: one for one in load_sign_offs(sign_off_path(read))}
    return tuple(one for topic, one in last.items() if topic not in topics)


def sign_lines(
    answer: HandOver,
    read: Path,
    codes: Iterable[str],
    *,
    by: str,
    word: str,
    at: datetime | None = None,
) -> tuple[SignedLine, ...]:
    """Sign lines of a read's list; what was signed before stays in the file.

    Parameters
    ----------
    answer : HandOver
        Measured just now: a code names a line with its words, so that nobody signs another one.
    read : Path
        The read file; the signatures are kept beside it.
    codes : iterable of str
    by, word : str
        The code that the person goes by, and what the signature means.
    at : datetime, optional
        When; now if left out.

    Raises
    ------
    InputError
        If a code is no line of the list as it stands, a text is empty, or the file is at fault;
        nothing is signed then.
    """
    lines = answer.lines()
    chosen = _chosen(lines, tuple(dict.fromkeys(codes)))
    if not by.strip() or not word.strip():
        raise InputError("A signature needs the code of who signs (--by) and a word (--word).")
    path, moment = sign_off_path(read), (at or datetime.now(UTC)).astimezone(UTC)
    before = load_sign_offs(path)
    after = (
        *before,
        *(
            SignOff(
                code=one.code,
                topic=one.topic,
                text=one.text,
                protocol=one.protocol,
                by=by.strip(),
                at=moment,
                word=word.strip(),
            )
            for one in chosen
        ),
    )
    write_whole(path, dump_sign_offs(after, read=read.name), replaces=JSON)
    return _against(lines, after)


def _chosen(lines: Sequence[Line], codes: Sequence[str]) -> tuple[Line, ...]:
    known = {one.code: one for one in lines}
    strange = [code for code in codes if code not in known]
    if strange:
        raise InputError(
            f"{', '.join(strange)} is no line of the list as it stands: a line that changed has "
            "another code, so look at the list again (annot protocol missing)."
        )
    if not codes:
        raise InputError("Name at least one line by its code (annot protocol missing lists them).")
    return tuple(known[code] for code in codes)


def _against(lines: Iterable[Line], signed: Sequence[SignOff]) -> tuple[SignedLine, ...]:
    last = {one.topic: one for one in signed}
    found = []
    for line in lines:
        one = last.get(line.topic)
        state: State = "open"
        if one is not None:
            state = "signed" if one.code == line.code else "changed"
        found.append(SignedLine(line=line, state=state, last=one))
    return tuple(found)
