"""What binds a dock to its viewer, cut once."""

from napari_annot.desk import Desk
from napari_annot.stage import Stage
from napari_annot.workers import ScaleFitter


class Ties:
    """What must be cut once, whoever goes first: the dock or the viewer."""

    def __init__(self, desk: Desk, stage: Stage, fitter: ScaleFitter) -> None:
        self._desk, self._stage, self._fitter = desk, stage, fitter
        self._cut = False

    def cut(self) -> None:
        """Let go of viewer, desk and threads."""
        if self._cut:
            return
        self._cut = True
        self._stage.close()
        self._fitter.close()
        self._desk.changed.disconnect()
