"""A loop as a napari image: decoded frame by frame, in pixels, shown as the file asks."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from annot.errors import LoopError
from annot.tasks.open import Loop, LoopArray

LOOP_KEY, LINES_KEY = "annot_loop", "annot_lines"


class PictureArray(LoopArray):
    """A loop's frames for the viewer; one that cannot be decoded is black and remembered.

    napari asks for a frame in the middle of its own work, where an error would end in a traceback
    instead of a sentence. `faults` has the sentence for each such frame.
    """

    def __init__(self, loop: Loop) -> None:
        super().__init__(loop)
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


def picture_of(loop: Loop) -> tuple[PictureArray, dict[str, Any], str]:
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
    }
    if not header.colour:
        arguments["contrast_limits"] = contrast_limits(loop)
        arguments["colormap"] = "gray"
    return PictureArray(loop), arguments, "image"


def contrast_limits(loop: Loop) -> tuple[float, float]:
    """Return the file's window (PS3.3 C.11.2.1.2), else all values that a pixel can store."""
    header = loop.header
    if header.window is not None:
        centre, width = header.window
        if width > 1:
            return centre - width / 2, centre + width / 2
    signed = np.issubdtype(loop.dtype, np.signedinteger)
    span = 2.0**header.bits_stored
    return (-span / 2, span / 2 - 1) if signed else (0.0, span - 1)


def loop_of_layer(layer: Any) -> Loop | None:
    """Return the loop that an image layer shows, None for any other layer."""
    found = getattr(layer, "metadata", {}).get(LOOP_KEY)
    return found if isinstance(found, Loop) else None


def shows_pixels(layer: Any) -> bool:
    """Tell whether a layer's data coordinates are the world's: not scaled, moved or turned."""
    places = np.vstack([np.zeros(3), np.eye(3)])
    world = np.array([layer.data_to_world(place) for place in places], dtype=float)
    return bool(np.allclose(world, places)) and {str(unit) for unit in layer.units} == {"pixel"}
