"""What is being worked on, shown on a terminal and nowhere else."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from rich.console import Console
from rich.status import Status
from rich.text import Text


@contextmanager
def working(what: str) -> Iterator[Callable[[str], None]]:
    """Show on a terminal what is being worked on; elsewhere show nothing.

    Yields
    ------
    callable
        Takes the name of what is looked at.
    """
    screen = Console(stderr=True)
    if not screen.is_terminal:
        yield lambda _: None
        return
    with Status(what, console=screen) as status:
        yield lambda name: status.update(Text(f"{what}: {name}"))


@contextmanager
def counting(what: str) -> Iterator[Callable[[int], None]]:
    """Show on a terminal how many there are so far; elsewhere show nothing.

    Yields
    ------
    callable
        Takes the number.
    """
    with working(what) as progress:
        yield lambda number: progress(f"{number:,}")
