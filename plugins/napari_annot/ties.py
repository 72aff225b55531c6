"""What binds a dock to its viewer, cut once."""

from collections.abc import Sequence
from typing import Protocol

from napari_annot.desk import Desk
from napari_annot.stage import Stage


class Worker(Protocol):
    """Something with a thread of its own."""

    def close(self) -> None:
        """Give up what has not begun and wait for what has."""


class Ties:
    """What must be cut once, whoever goes first: the dock or the viewer."""

    def __init__(self, desk: Desk, stage: Stage, workers: Sequence[Worker]) -> None:
        self._desk, self._stage, self._workers = desk, stage, workers
        self._cut = False

    def cut(self) -> None:
        """Let go of viewer, desk and threads."""
        if self._cut:
            return
        self._cut = True
        self._stage.close()
        for worker in self._workers:
            worker.close()
        self._desk.changed.disconnect()
