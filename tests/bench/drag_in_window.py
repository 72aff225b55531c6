"""What a step of dragging costs with 200 calipers on the loop.

Run it: `python -m tests.bench.drag_in_window`; it needs a screen (xvfb-run will do). Printed are
arithmetic and model per step (the pen moves, the desk's state is worked out, nobody draws), and a
redraw of the window after such a step beside the bare viewer's after one line of its own Shapes
layer has moved, 200 lines in either, in one run and in turn.
"""

import statistics
import tempfile
import time
from typing import Any

import numpy as np

from annot.geometry import PixelPoint

CALIPERS, STEPS, ON_FRAME = 200, 60, 3


def spin(seconds: float) -> None:
    """Let the window handle what it has to."""
    from qtpy.QtWidgets import QApplication

    end = time.perf_counter() + seconds
    while time.perf_counter() < end:
        QApplication.processEvents()


def redrawn() -> None:
    """Let the window draw until nothing is left to be drawn."""
    from qtpy.QtWidgets import QApplication

    for _ in range(3):
        QApplication.processEvents()


def lines(count: int, frames: int) -> list[tuple[int, tuple[float, float], tuple[float, float]]]:
    """Spread lines over a loop's frames, a few of them on each."""
    return [(n % frames, (40.0 + n, 60.0 + n), (60.0 + n, 160.0 + n)) for n in range(count)]


def bare_viewer(path: Any) -> Any:
    """Open the bare viewer with the loop and a Shapes layer of as many lines."""
    import napari

    from annot.loops import LoopArray, open_loop

    loop = open_loop(path)
    viewer = napari.Viewer(show=True)
    viewer.window.resize(1440, 900)
    viewer.add_image(LoopArray(loop))
    drawn = [
        np.array([[frame, *start], [frame, *end]])
        for frame, start, end in lines(CALIPERS, loop.frames)
    ]
    layer = viewer.add_shapes(drawn, shape_type="line", edge_width=2, ndim=3)
    viewer.dims.set_current_step(0, ON_FRAME)
    spin(0.5)
    return viewer, layer


def our_window(path: Any) -> Any:
    """Open the window with as many calipers on the loop."""
    from napari_annot.drawing import Draft
    from napari_annot.picture import Scene
    from napari_annot.tools import CALIPER_TOOLS

    scene = Scene()
    scene.open([path])
    desk = scene.dock.desk
    tool = CALIPER_TOOLS[0]
    for frame, start, end in lines(CALIPERS, desk.loop.frames):
        desk.draft = Draft(
            tool=tool,
            file=desk.shown,
            frame=frame,
            fixed=(PixelPoint(*start),),
            floating=PixelPoint(*end),
        )
        desk.finish()
    scene.viewer.dims.set_current_step(0, ON_FRAME)
    spin(1.5)
    return scene, tool


def ms(act: Any) -> float:
    """Return how long something took."""
    began = time.perf_counter()
    act()
    return 1000.0 * (time.perf_counter() - began)


def main() -> None:
    """Measure and print."""
    from synthetic_dicom import write_case

    with tempfile.TemporaryDirectory() as folder:
        path = write_case("xa_clean", folder, frames=40).path
        scene, tool = our_window(path)
        bare, layer = bare_viewer(path)
        figures = measured(scene, tool, layer)
        scene.close()
        bare.close()
    model, ours, theirs = (statistics.median(one) for one in figures)
    ratio = statistics.median(own / other for own, other in zip(*figures[1:], strict=True))
    print(  # noqa: T201  # a bench prints
        f"arithmetic and model {model:.1f} ms a step; redraw {ours:.0f} ms, bare viewer's move of "
        f"one line {theirs:.0f} ms, median ratio {ratio:.2f}"
    )


def measured(scene: Any, tool: Any, layer: Any) -> tuple[list[float], list[float], list[float]]:
    """Move one end in both windows in turn, step by step."""
    from napari_annot.pen import Pen

    desk = scene.dock.desk
    model: list[float] = []
    ours: list[float] = []
    theirs: list[float] = []
    desk.arm(tool)
    pen = Pen(desk)
    start = PixelPoint(300.0, 300.0)
    pen.press(start, reach_px=5)
    shape = [one.copy() for one in layer.data]
    moved = next(place for place, one in enumerate(shape) if one[0][0] == ON_FRAME)
    for step in range(STEPS):
        point = PixelPoint(300.0 + step, 420.0)

        def move(point: PixelPoint = point) -> None:
            pen.drag(start, point)

        desk.changed.block()
        model.append(ms(lambda: (move(), desk.state())))
        desk.changed.unblock()
        redrawn()
        ours.append(ms(lambda: (desk.changed.emit(), redrawn())))
        shape[moved] = shape[moved] + [0, 0.5, 0.5]

        def move_theirs(vertices: np.ndarray = shape[moved]) -> None:
            # what the viewer's own mouse does with a line in hand
            layer._data_view.edit(moved, vertices)
            layer.refresh()
            redrawn()

        theirs.append(ms(move_theirs))
    desk.arm(None)
    return model, ours, theirs


if __name__ == "__main__":
    main()
