"""Windows, gamma and zoom of the picture on show: for looking only, so no number hangs on them."""

from collections.abc import Generator
from dataclasses import dataclass, replace
from typing import Any

from annot.tasks.looking import WINDOW_NAMES, NamedWindow, frame_windows, turned_window
from annot.tasks.open import DisplayChoice, stored_range
from napari_annot.desk import Desk
from napari_annot.picture_layer import choice_of_layer, grey_arguments
from napari_annot.pictures import Pictures

AS_SHOWN = "as the file asks"
NAMES = (AS_SHOWN, *WINDOW_NAMES)
GAMMAS = (0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.2, 1.5, 2.0, 2.5)
ZOOM_STEP = 1.25
RIGHT_BUTTON = 2
IN_COLOUR = "The loop is in colour: there are no greys to spread."


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """How one loop is looked through: which values are black and white, and the gamma."""

    low: float
    high: float
    gamma: float = 1.0
    name: str = ""


class Looks:
    """Keeps a look for every loop and puts it on the picture.

    A drag with the right button widens the window or moves it; the wheel zooms, so nothing is
    lost by that.
    """

    def __init__(self, viewer: Any, desk: Desk, pictures: Pictures) -> None:
        self._viewer, self._desk, self._pictures = viewer, desk, pictures
        self._kept: dict[tuple[str, DisplayChoice], Look] = {}
        self._put_on: tuple[Any, DisplayChoice] | None = None
        viewer.mouse_drag_callbacks.append(self._on_drag)
        desk.changed.connect(self._follow)

    def close(self) -> None:
        """Let go of viewer and desk; the picture stays as it is looked at."""
        self._viewer.mouse_drag_callbacks.remove(self._on_drag)
        self._desk.changed.disconnect(self._follow)
        self._put_on = None

    @property
    def look(self) -> Look | None:
        """Of the loop on show; None for one in colour, or without a loop."""
        layer = self._grey_layer()
        if layer is None:
            return None
        low, high = (float(one) for one in layer.contrast_limits)
        kept = self._kept.get(self._key())
        name = AS_SHOWN if self._asked(layer) == (low, high) else ""
        if kept is not None and (kept.low, kept.high) == (low, high):
            name = kept.name
        return Look(low=low, high=high, gamma=float(layer.gamma), name=name)

    def windows(self) -> tuple[NamedWindow, ...]:
        """Return the windows that can be chosen by name for the frame on show."""
        layer = self._grey_layer()
        if layer is None:
            return ()
        low, high = self._asked(layer)
        asked = NamedWindow(name=AS_SHOWN, low=low, high=high)
        return (asked, *frame_windows(layer.data[self._desk.frame]))

    def words(self) -> str:
        """Say in words how the loop is looked through, with its values' meaning."""
        look, layer = self.look, self._grey_layer()
        if look is None or layer is None:
            return "in colour, as stored" if self._desk.loop is not None else ""
        loop, choice = self._desk.loop, choice_of_layer(layer)
        stored = loop is not None and stored_range(loop, choice or self._desk.display) is not None
        of = "stored values" if stored else "greys as the file makes them"
        return f"black {look.low:.4g}, white {look.high:.4g} ({of}), gamma {look.gamma:g}"

    def choose(self, name: str) -> None:
        """Look through a window by its name."""
        found = next((one for one in self.windows() if one.name == name), None)
        look = self.look
        if found is not None and look is not None:
            self._put(replace(look, low=found.low, high=found.high, name=name))

    def next_window(self, steps: int = 1) -> None:
        """Look through the next window of the list, or say why there is none."""
        look = self.look
        if look is None:
            self._say_why()
            return
        place = NAMES.index(look.name) if look.name in NAMES else (0 if steps < 0 else -1)
        self.choose(NAMES[(place + steps) % len(NAMES)])

    def turn_gamma(self, steps: int) -> None:
        """Make the middle greys brighter (down) or darker (up)."""
        look = self.look
        if look is None:
            self._say_why()
            return
        place = min(range(len(GAMMAS)), key=lambda one: abs(GAMMAS[one] - look.gamma))
        self._put(replace(look, gamma=GAMMAS[min(max(place + steps, 0), len(GAMMAS) - 1)]))

    def reset(self) -> None:
        """Look at the loop as its file asks: window, gamma, dark and light."""
        file = self._desk.shown
        if file is None:
            return
        self._kept = {key: look for key, look in self._kept.items() if key[0] != file}
        if self._desk.display != DisplayChoice():
            self._desk.show_as(DisplayChoice())
        layer = self._grey_layer()
        if layer is not None:
            low, high = self._asked(layer)
            self._put(Look(low=low, high=high, name=AS_SHOWN))

    def swap_greys(self) -> None:
        """Swap dark and light."""
        if self._grey_layer() is None:
            self._say_why()
            return
        shown = self._desk.display
        self._desk.show_as(replace(shown, inverted=not shown.inverted))

    def zoom(self, steps: int) -> None:
        """Come nearer or step back, the middle of the picture kept."""
        self._viewer.scene.camera.zoom *= ZOOM_STEP**steps

    def zoom_to_pixels(self) -> None:
        """Show a pixel of the loop as one of the screen."""
        self._viewer.scene.camera.zoom = 1.0

    def fit(self) -> None:
        """Show the whole picture."""
        layer = self._pictures.layer
        if layer is not None:
            self._viewer.reset_view(layers=[layer])

    # ---- how it is done

    def _on_drag(self, _: Any, event: Any) -> Generator[None, None, None]:
        look = self.look
        if event.button != RIGHT_BUTTON or event.modifiers or look is None:
            return
        event.handled = True  # the camera does not zoom
        began = event.pos
        yield
        while event.type == "mouse_move":
            event.handled = True
            right, down = (float(now - then) for now, then in zip(event.pos, began, strict=True))
            low, high = turned_window(look.low, look.high, right_px=right, down_px=down)
            self._put(replace(look, low=low, high=high, name=""))
            yield

    def _put(self, look: Look) -> None:
        layer = self._grey_layer()
        if layer is not None:
            self._kept[self._key()] = look
            layer.contrast_limits = (look.low, look.high)
            layer.gamma = look.gamma
            self._desk.changed.emit()

    def _follow(self) -> None:
        """Give a picture that has come anew the look that its loop had."""
        loops = self._desk.loops
        self._kept = {key: look for key, look in self._kept.items() if key[0] in loops}
        layer = self._grey_layer()
        if layer is None:
            self._put_on = None
            return
        now = (layer, self._desk.display)
        if self._put_on is None or self._put_on[0] is not layer or self._put_on[1] != now[1]:
            self._put_on = now
            kept = self._kept.get(self._key())
            if kept is not None:
                layer.contrast_limits, layer.gamma = (kept.low, kept.high), kept.gamma

    def _grey_layer(self) -> Any:
        loop = self._desk.loop
        return None if loop is None or loop.header.colour else self._pictures.layer

    def _asked(self, layer: Any) -> tuple[float, float]:
        loop, choice = self._desk.loop, choice_of_layer(layer)
        assert loop is not None
        limits = grey_arguments(loop, choice or self._desk.display)["contrast_limits"]
        return float(limits[0]), float(limits[1])

    def _key(self) -> tuple[str, DisplayChoice]:
        return self._desk.shown or "", self._desk.display

    def _say_why(self) -> None:
        if self._desk.loop is not None:
            self._desk.say(IN_COLOUR, fault=True)
            self._desk.changed.emit()
