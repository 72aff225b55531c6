"""The picture on show: one loop's image at a time in the viewer, its slider on the desk's frame."""

from typing import Any

from qtpy.QtCore import Qt, QTimer
from qtpy.QtGui import QGuiApplication

from annot.tasks.open import Loop
from napari_annot.desk import Desk
from napari_annot.picture_layer import (
    LINES_KEY,
    choice_of_layer,
    loop_of_layer,
    picture_of,
    show_layer_as,
    shows_pixels,
)
from napari_annot.visible import SEATED

# of the canvas: less than a line of text is not worth moving the picture for
LEAST_CHANGE_PX = 12


class Pictures:
    """Keeps the viewer's image and the desk's loop and frame the same.

    Only the loop on show lies in the viewer: napari's slider spans every layer, so two loops of
    different length side by side would let a person stand on a frame that one of them lacks.
    """

    def __init__(self, viewer: Any, desk: Desk) -> None:
        self._viewer, self._desk = viewer, desk
        self._busy = False
        self._fitted: object = None
        self._fitted_in: tuple[int, int] = (0, 0)
        # last, so that napari's own listeners are done with a layer before it may be taken away
        viewer.layers.events.inserted.connect(self._on_inserted, position="last")
        viewer.layers.events.removed.connect(self._on_removed, position="last")
        viewer.dims.events.current_step.connect(self._on_step)
        viewer.canvas.events.size.connect(self._on_resized)
        desk.changed.connect(self._follow)
        desk.frame_wanted.connect(self._go_to)
        for layer in list(viewer.layers):
            self._take(layer)
        self._on_step()

    def close(self) -> None:
        """Stop following viewer and desk."""
        self._viewer.layers.events.inserted.disconnect(self._on_inserted)
        self._viewer.layers.events.removed.disconnect(self._on_removed)
        self._viewer.dims.events.current_step.disconnect(self._on_step)
        self._viewer.canvas.events.size.disconnect(self._on_resized)
        self._desk.changed.disconnect(self._follow)
        self._desk.frame_wanted.disconnect(self._go_to)

    @property
    def layer(self) -> Any:
        """The image of the loop on show, None if there is none."""
        shown = self._desk.loop
        return next((one for one in self._viewer.layers if loop_of_layer(one) is shown), None)

    def fault(self) -> str:
        """Say why nothing may be drawn: another world than pixels would falsify every length."""
        layer = self.layer
        if layer is None:
            return "Open a loop before drawing on it."
        undecoded = self._undecoded()
        if undecoded:
            return undecoded
        if self._viewer.dims.ndisplay != 2 or tuple(self._viewer.dims.displayed) != (1, 2):
            return (
                "Calipers are drawn on one frame seen from the front: leave 3-D and swapped axes."
            )
        world = self._viewer.layers.units
        foreign = world is None or {str(unit) for unit in world} != {"pixel"}
        ours = [one for one in self._viewer.layers if one == layer or LINES_KEY in one.metadata]
        if foreign or not all(shows_pixels(one) for one in ours):
            return (
                "A layer's scale or unit was changed, so places in the picture can no longer be "
                "told: remove that layer or set it back to pixels."
            )
        return ""

    def _on_inserted(self, event: Any) -> None:
        if not self._busy and self._take(event.value):
            # napari stands on the middle frame after adding a picture
            self._viewer.dims.set_current_step(0, 0)

    def _take(self, layer: Any) -> bool:
        """Put a loop that came with a layer on the desk and show it; False for other layers."""
        loop = loop_of_layer(layer)
        if loop is None:
            return False
        if self._desk.seat.case:
            layer.visible = False
            # napari is still adding it: it goes once that is done
            QTimer.singleShot(0, lambda: self._turn_away(layer))
            return False
        file = self._desk.add(loop)
        if self._desk.loops[file] is not loop:
            # the same file opened once more: the loop that lies on the desk stays
            self._change(lambda: self._viewer.layers.remove(layer))
        if file == self._desk.shown:
            self._desk.changed.emit()
        self._desk.show(file)
        return True

    def _turn_away(self, layer: Any) -> None:
        """Take a layer away that has no place in a blinded seat."""
        if layer in self._viewer.layers:
            self._change(lambda: self._viewer.layers.remove(layer))
        self._desk.say(SEATED, fault=True)
        self._desk.changed.emit()

    def _on_removed(self, event: Any) -> None:
        gone = loop_of_layer(event.value)
        if not self._busy and gone is not None and gone is self._desk.loop:
            self._desk.show(None)

    def _on_step(self) -> None:
        if self.layer is None:
            # a picture that is being taken away moves the slider too: following it would bring
            # the picture back, into a viewer that may be closing
            return
        if not self._busy and self._desk.shown is not None:
            self._desk.stand_on(int(self._viewer.dims.current_step[0]))
        fault = self._undecoded()
        if fault:
            self._desk.say(fault, fault=True)
            self._desk.changed.emit()

    def _undecoded(self) -> str:
        """Say why the frame on show is black instead of a picture, if it is."""
        faults: dict[int, str] = getattr(getattr(self.layer, "data", None), "faults", {})
        return faults.get(self._desk.frame, "")

    def _go_to(self, frame: int) -> None:
        self._viewer.dims.set_current_step(0, frame)

    def _follow(self) -> None:
        """Bring the loop on show into the viewer and take the others out of it."""
        shown = self._desk.loop
        held = [one for one in self._viewer.layers if loop_of_layer(one) is not None]
        others = [one for one in held if loop_of_layer(one) is not shown]
        missing = shown is not None and len(held) == len(others)
        if self._busy:
            return
        if others or missing:
            self._change(lambda: self._swap(shown if missing else None, others))
            if shown is not None:
                self._viewer.dims.set_current_step(0, self._desk.frame)
                self._fit()
                self._viewer.layers.selection.active = self.layer
        self._change(self._show_as_chosen)

    def _fit(self) -> None:
        """Show the whole picture."""
        self._viewer.reset_view(layers=[self.layer])
        self._fitted, self._fitted_in = self._seen(), self._viewer.canvas.size

    def _seen(self) -> object:
        camera = self._viewer.scene.camera
        return (tuple(camera.center), camera.zoom)

    def _on_resized(self) -> None:
        """Keep the whole picture in sight where nobody has zoomed or moved it.

        A line of text that comes or goes beside the picture is no reason to move what a hand is
        drawing on.
        """
        sides = zip(self._viewer.canvas.size, self._fitted_in, strict=True)
        slight = all(abs(now - then) < LEAST_CHANGE_PX for now, then in sides)
        pressed = QGuiApplication.mouseButtons() != Qt.MouseButton.NoButton
        if self.layer is None or slight or pressed:
            return
        if self._fitted is not None and self._fitted == self._seen():
            self._fit()

    def _show_as_chosen(self) -> None:
        """Show the loop as chosen on the desk; say so if its frame cannot be shown like that."""
        layer = self.layer
        if layer is not None and choice_of_layer(layer) != self._desk.display:
            show_layer_as(layer, self._desk.display)
            fault = self._undecoded()
            if fault:
                self._desk.say(fault, fault=True)

    def _swap(self, shown: Loop | None, others: list[Any]) -> None:
        if shown is not None:
            data, arguments, _ = picture_of(shown, self._desk.display)
            arguments["name"] = self._desk.seat.name_of(arguments["name"])
            self._viewer.add_image(data, **arguments)
            last = len(self._viewer.layers) - 1
            if last > 0:
                self._viewer.layers.move(last, 0)
        for one in others:
            self._viewer.layers.remove(one)

    def _change(self, change: Any) -> None:
        self._busy = True
        try:
            change()
        finally:
            self._busy = False
