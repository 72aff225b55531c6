"""Who reads which loop at which place: a seeded randomisation with hidden repeats.

Each reader sees every loop once, and some of them again. The orders come from one Latin square
whose rows also balance what comes before what (Williams 1949, from memory), under one random
renaming of the loops: among up to as many readers as loops no two meet a loop at the same place,
before the repeats are woven in, and for an even number of loops no two meet the same pair of
loops one after the other in the same order.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import cycle, islice

import numpy as np

from annot.errors import InputError

# A repeat comes at least this part of the list after its first showing, so that it is not
# recognised; common practice, no source. It never follows immediately.
LEAST_PART_APART = 4
LEAST_APART = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Presentation:
    """One showing of a loop to a reader.

    Attributes
    ----------
    code : str
        Names the showing in everything the reader sees.
    reader, loop : str
        The reader's code and the loop's fingerprint.
    order : int
        Place in the reader's list, from 1.
    repeat_of : str or None
        Code of the first showing, of a hidden repeat.
    """

    code: str
    reader: str
    loop: str
    order: int
    repeat_of: str | None = None

    def facts(self) -> dict[str, str | int | None]:
        """Return it as plain values."""
        return {
            "code": self.code,
            "reader": self.reader,
            "loop": self.loop,
            "order": self.order,
            "repeat_of": self.repeat_of,
        }


def repeats_wanted(loops: int, share: float) -> int:
    """Return how many of so many loops come back: the share's nearest whole number, at least 1."""
    return 0 if share == 0 else max(1, int(loops * share + 0.5))


def assign(
    loops: Sequence[str],
    readers: Sequence[str],
    *,
    share: float,
    rng: np.random.Generator,
    code_of: Callable[[str, str, int], str],
) -> tuple[Presentation, ...]:
    """Return every reader's list, readers in the order given.

    Parameters
    ----------
    loops : sequence of str
        Fingerprints.
    readers : sequence of str
    share : float
        Part of the loops that each reader sees a second time. Over readers every loop comes back
        equally often, give or take one.
    rng : numpy Generator
        Seeded; the same state gives the same lists.
    code_of : callable
        Names a showing by reader, loop and 1 or 2 for its first or second showing.

    Raises
    ------
    InputError
        If a loop or a reader stands twice, there is none, or repeats cannot be kept apart.
    """
    _refuse_twice(loops, "loop")
    _refuse_twice(readers, "reader")
    wanted = repeats_wanted(len(loops), share)
    if wanted and len(loops) < LEAST_APART:
        raise InputError(
            "A hidden repeat of the only loop would follow its first showing: add loops, or set "
            "hidden_repeat_share to 0 in the protocol."
        )
    orders = _balanced_orders(len(loops), len(readers), rng)
    again = cycle(rng.permutation(len(loops)).tolist())
    found: list[Presentation] = []
    for reader, order in zip(readers, orders, strict=True):
        woven = _with_repeats(order, list(islice(again, wanted)), rng)
        found += _presented([loops[place] for place in woven], reader, code_of)
    if len({one.code for one in found}) < len(found):
        raise InputError("Two showings got the same code, so nothing was assigned: try again.")
    return tuple(found)


def _refuse_twice(names: Sequence[str], what: str) -> None:
    if not names:
        raise InputError(f"There is no {what}, so nothing can be assigned.")
    twice = sorted({name for name in names if list(names).count(name) > 1})
    if twice:
        raise InputError(
            f"Each {what} stands once in an assignment, but {', '.join(twice)} repeat."
        )


def _balanced_orders(loops: int, readers: int, rng: np.random.Generator) -> list[list[int]]:
    """Return one order of the loops per reader, dealt to the readers at random."""
    zigzag = [(place + 1) // 2 * (1 if place % 2 else -1) for place in range(loops)]
    orders: list[list[int]] = []
    while len(orders) < readers:
        block = min(loops, readers - len(orders))
        names = rng.permutation(loops)
        shifts = [row * loops // block for row in range(block)]
        orders += [[int(names[(step + shift) % loops]) for step in zigzag] for shift in shifts]
    return [orders[place] for place in rng.permutation(readers)]


def _with_repeats(order: list[int], again: list[int], rng: np.random.Generator) -> list[int]:
    """Weave second showings in; putting in the next one only moves two showings further apart."""
    woven = list(order)
    for loop in again:
        apart = max(LEAST_APART, len(woven) // LEAST_PART_APART)
        first = woven.index(loop)
        places = [at for at in range(len(woven) + 1) if _apart(at, first) >= apart]
        woven.insert(places[int(rng.integers(len(places)))], loop)
    return woven


def _apart(at: int, first: int) -> int:
    """Return the places between two showings once the second is put in before place `at`."""
    return at - first if at > first else first + 1 - at


def _presented(
    woven: Sequence[str], reader: str, code_of: Callable[[str, str, int], str]
) -> list[Presentation]:
    seen: dict[str, str] = {}
    found = []
    for order, loop in enumerate(woven, start=1):
        first = seen.get(loop)
        code = code_of(reader, loop, 1 if first is None else 2)
        seen.setdefault(loop, code)
        found.append(
            Presentation(code=code, reader=reader, loop=loop, order=order, repeat_of=first)
        )
    return found
