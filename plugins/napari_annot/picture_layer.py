"""A loop as a napari image: decoded frame by frame, in pixels, shown as the file asks."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from annot.errors import LoopError
from annot.tasks.open import DisplayChoice, Loop, LoopArray, ShownLoop, stored_range
from napari_annot.display_state import AS_THE_FILE_ASKS

LOOP_KEY, LINES_KEY = "annot_loop", "annot_lines"
GREY, SWAPPED_GREY = "gray", "gray_r"


class PictureArray(LoopArray):
    """A loop's frames for the viewer; one that cannot be decoded is black and remembered.

    napari asks for a frame in the middle of its own work, where an error would end in a traceback
    instead of a sentence. `faults` has the sentence for each such frame.

    Parameters
    ----------
    loop
        The loop.
    choice
        How it is shown: as stored values where their range says it all, which leaves the viewer's
        own contrast free, else as ready greys.
    """

    def __init__(self, loop: Loop, choice: DisplayChoice = AS_THE_FILE_ASKS) -> None:
        hidden = choice.shuttered and loop.display.shutter is not None
        as_stored = stored_range(loop, choice) is not None or (loop.header.colour and not hidden)
        super().__init__(loop if as_stored else ShownLoop(loop, choice))
        self.choice = choice
        self.faults: dict[int, str] = {}

    def __getitem__(self, key: Any) -> NDArray[Any]:
        try:
            return super().__getitem__(key)
        except LoopError as fault:
            asked = key[0] if isinstance(key, tuple) else key
            for frame in np.atleast_1d(np.arange(len(self))[asked]):
                self.faults[int(frame)] = fault.message
            black = np.broadcast_to(np.zeros((), dtype=self.dtype), self.shape)
            return np.array(black[key])


def picture_of(
    loop: Loop, choice: DisplayChoice = AS_THE_FILE_ASKS
) -> tuple[PictureArray, dict[str, Any], str]:
    """Return the layer data of a loop: array, arguments of the image, layer type.

    The scale stays 1 and the unit pixel, so that napari's world is the picture's own; millimetres
    live on the desk. `projection_mode` is none because an average of frames is no frame.
    """
    header = loop.header
    arguments: dict[str, Any] = {
        "name": header.path.name,
        "rgb": header.colour,
        "multiscale": False,
        "scale": (1.0, 1.0, 1.0),
        "axis_labels": ("frame", "row", "column"),
        "projection_mode": "none",
        "metadata": {LOOP_KEY: loop},
        **grey_arguments(loop, choice),
    }
    return PictureArray(loop, choice), arguments, "image"


def grey_arguments(loop: Loop, choice: DisplayChoice) -> dict[str, Any]:
    """Return which values are black and white and which way round; nothing for colour."""
    if loop.header.colour:
        return {}
    stored = stored_range(loop, choice)
    if stored is None:  # the greys are ready
        return {"contrast_limits": (0.0, 255.0), "colormap": GREY}
    colormap = SWAPPED_GREY if stored.inverted else GREY
    return {"contrast_limits": (stored.low, stored.high), "colormap": colormap}


def show_layer_as(layer: Any, choice: DisplayChoice) -> None:
    """Show the loop of a layer otherwise, in the layer's place."""
    loop = loop_of_layer(layer)
    if loop is None or choice_of_layer(layer) == choice:
        return
    layer.data = PictureArray(loop, choice)
    greys = grey_arguments(loop, choice)
    if greys:
        layer.contrast_limits_range = layer.contrast_limits = greys["contrast_limits"]
        layer.colormap = greys["colormap"]


def choice_of_layer(layer: Any) -> DisplayChoice | None:
    """Return how an image layer shows its loop, None for any other layer."""
    return layer.data.choice if isinstance(layer.data, PictureArray) else None


def loop_of_layer(layer: Any) -> Loop | None:
    """Return the loop that an image layer shows, None for any other layer."""
    found = getattr(layer, "metadata", {}).get(LOOP_KEY)
    return found if isinstance(found, Loop) else None


def shows_pixels(layer: Any) -> bool:
    """Tell whether a layer's data coordinates are the world's: not scaled, moved or turned."""
    places = np.vstack([np.zeros(3), np.eye(3)])
    world = np.array([layer.data_to_world(place) for place in places], dtype=float)
    return bool(np.allclose(world, places)) and {str(unit) for unit in layer.units} == {"pixel"}
