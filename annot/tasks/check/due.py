"""What is due: rooms to be checked again, reference objects to be calibrated again."""

from dataclasses import dataclass
from datetime import date, timedelta

from annot.tasks.check.register import Check, Register


@dataclass(frozen=True, slots=True, kw_only=True)
class Due:
    """One line of the table of due dates.

    Attributes
    ----------
    what : str
        `room` or `object`.
    name : str
    last : date or None
        Of the last check; for an object, not known.
    due : date or None
        None where nothing is ever due.
    days_left : int or None
        Negative where it is overdue.
    state : str
        In words: the last check's verdict, or the certificate.
    """

    what: str
    name: str
    last: date | None
    due: date | None
    days_left: int | None
    state: str

    def facts(self) -> dict[str, object]:
        """Return it for machines."""
        return {
            "what": self.what,
            "name": self.name,
            "last": self.last.isoformat() if self.last else None,
            "due": self.due.isoformat() if self.due else None,
            "days_left": self.days_left,
            "state": self.state,
        }


def due_dates(register: Register, *, today: date) -> tuple[Due, ...]:
    """Return rooms and objects, the most overdue first; what is never due comes last.

    A room that was left failing, or undecided, is due at once, whatever its interval says.
    """
    found = [
        _of_room(register.checks(room.name), room.name, room.every_days, today)
        for room in register.rooms().values()
    ]
    for one in register.references().values():
        left = (one.due - today).days if one.due else None
        found.append(
            Due(
                what="object",
                name=one.name,
                last=None,
                due=one.due,
                days_left=left,
                state=one.certificate or "no certificate named",
            )
        )
    return tuple(
        sorted(found, key=lambda one: (one.days_left is None, one.days_left or 0, one.name))
    )


def _of_room(checks: tuple[Check, ...], name: str, every_days: int, today: date) -> Due:
    if not checks:
        return Due(what="room", name=name, last=None, due=today, days_left=0, state="never checked")
    last = checks[-1]
    due = last.taken + timedelta(days=every_days)
    if last.left != "pass":
        due = min(due, last.taken)
    return Due(
        what="room",
        name=name,
        last=last.taken,
        due=due,
        days_left=(due - today).days,
        state=f"last check: {last.left}",
    )
