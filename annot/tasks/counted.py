"""Say now and then how many went by, for work that is long enough to be watched."""

from collections.abc import Callable, Iterable, Iterator
from typing import TypeVar

EVERY = 500
Item = TypeVar("Item")
Count = Callable[[int], None]


def uncounted(_: int) -> None:
    """Count nothing: nobody watches."""


def counted(items: Iterable[Item], count: Count) -> Iterator[Item]:
    """Yield items as they are and report their number every 500."""
    for number, item in enumerate(items):
        if number % EVERY == 0:
            count(number)
        yield item
