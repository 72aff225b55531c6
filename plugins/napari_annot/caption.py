"""The caption on the picture: loop, frame in both counts, scale with its uncertainty."""

from typing import Any

from napari_annot.desk import Desk

KEY = "annot_caption"


class Caption:
    """A text overlay that follows the desk."""

    def __init__(self, viewer: Any, desk: Desk) -> None:
        from napari.components.overlays import TextOverlay

        self._desk, self._viewer = desk, viewer
        self._overlay = TextOverlay(
            text="",
            position="top_left",
            visible=False,
            font_size=8,
            color="white",
            box=True,
            box_color=(0.07, 0.07, 0.09, 0.85),
        )
        viewer.canvas.overlays[KEY] = self._overlay
        self._held = False
        desk.changed.connect(self.refresh)
        self.refresh()

    def close(self) -> None:
        """Stop following the desk and hide."""
        self._desk.changed.disconnect(self.refresh)
        self._overlay.visible = False

    @property
    def text(self) -> str:
        """What stands on the picture."""
        return str(self._overlay.text)

    def hold(self, *, on: bool) -> None:
        """Leave the text alone while frames run by: drawing it anew costs more than the picture.

        Nobody reads a number that changes many times a second; the strip keeps count.
        """
        self._held = on
        self.refresh()

    def refresh(self) -> None:
        """Show where the desk stands."""
        words = f"{self._name()}  playing" if self._held else self._desk.state().caption
        if words != self._overlay.text:
            self._overlay.text = words
            self._overlay.visible = bool(words)

    def _name(self) -> str:
        loop = self._desk.loop
        return "" if loop is None else self._desk.seat.name_of(loop.header.path.name)
