"""Make the picture of the viewer: `python -m napari_annot.picture OUT.png`.

A synthetic X-ray loop is scaled on its catheter, four echo loops by their headers, and all are
measured at their true ends, in a real window; run it under a display (xvfb-run will do).
"""

import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from annot.calibration import HeaderRequest
from annot.geometry import PixelPoint
from napari_annot.dock import MeasureDock
from napari_annot.pen import Pen
from napari_annot.tools import CALIPER_TOOLS, OBJECT_TOOLS, Tool

SIZE = (1440, 900)
FRAME = 12
PLANES = {0: "us_000", 45: "us_045", 90: "us_090", 135: "us_135"}
CATHETER = {
    "size_mm_or_fr": "2",
    "tolerance_mm": "0.03",
    "other_mm": "1.4",
}


class Scene:
    """A window with the dock, and a pen in it."""

    def __init__(self) -> None:
        import napari

        self.viewer: Any = napari.Viewer(title="annot", show=True)
        self._hide_lists()
        self.viewer.window.resize(*SIZE)
        self.dock = MeasureDock(self.viewer)
        self.viewer.window.add_dock_widget(self.dock, name="Reading desk", area="right")
        self._wait(0.3)

    def _hide_lists(self) -> None:
        """Hide the viewer's own lists, as the launcher does, by public names of Qt."""
        from qtpy.QtWidgets import QApplication, QDockWidget

        for top in QApplication.topLevelWidgets():
            for dock in top.findChildren(QDockWidget):
                dock.hide()

    def open(self, paths: list[Path]) -> None:
        """Open loops."""
        self.dock.open_paths(paths)
        self._wait(0.3)

    def draw(self, tool: Tool, points: tuple[tuple[float, float], ...]) -> None:
        """Draw with a tool from the first point to the last."""
        pen, desk = Pen(self.dock.desk), self.dock.desk
        start, end = PixelPoint(*points[0]), PixelPoint(*points[-1])
        desk.arm(tool)
        pen.press(start, reach_px=5)
        pen.drag(start, end)
        pen.release(end, travelled=True)

    def scale_on_catheter(self, axis: tuple[tuple[float, float], ...]) -> None:
        """Trace the catheter and wait for its fit."""
        for name, text in CATHETER.items():
            getattr(self.dock.scale, name).setText(text)
        self.dock.scale.apart.offset_mm.setText("10")
        self.draw(OBJECT_TOOLS["catheter"], axis)
        end = time.monotonic() + 30
        while self.dock.desk.state().scale.state == "fitting" and time.monotonic() < end:
            self._wait(0.05)

    def turn_to(self, path: Path) -> None:
        """Turn to a loop."""
        self.dock.desk.show(str(path.resolve()))
        self._wait(0.2)

    def rest(self) -> None:
        """Wait until what follows from the read has been worked out."""
        end = time.monotonic() + 60
        self._wait(0.5)
        dock = self.dock
        while time.monotonic() < end and (dock.finder.busy or not dock.desk.findings_current):
            self._wait(0.1)

    def shoot(self, path: Path) -> None:
        """Write the window as a PNG with a palette, which keeps it small."""
        from PIL import Image

        self._wait(0.5)
        shot = self.viewer.window.screenshot(flash=False, canvas_only=False)[..., :3]
        palette = Image.new("P", (1, 1))
        palette.putpalette(_palette(shot))
        picture = Image.fromarray(shot).quantize(palette=palette, dither=Image.Dither.NONE)
        picture.save(path, optimize=True)

    def close(self) -> None:
        """Close the window."""
        self.dock.autosave.drop()
        self.dock.teardown()
        self.viewer.close()

    def _wait(self, seconds: float) -> None:
        from qtpy.QtWidgets import QApplication

        end = time.monotonic() + seconds
        while time.monotonic() < end:
            QApplication.processEvents()
            time.sleep(0.01)


def _palette(shot: Any) -> list[int]:
    """Return 128 greys for the loop and the window's 128 most frequent colours.

    A palette made from the whole picture would spend itself on greys and blur the colours that
    tell the calipers apart.
    """
    import numpy as np

    greys = [value for grey in range(0, 256, 2) for value in (grey, grey, grey)]
    flat = shot.reshape(-1, 3)
    coloured = flat[np.ptp(flat.astype(int), axis=1) > 8]
    colours, counts = np.unique(coloured // 4 * 4, axis=0, return_counts=True)
    frequent = colours[np.argsort(-counts, kind="stable")[:128]]
    return greys + [int(value) for value in frequent.ravel()]


def _shifted(tube: Any, frame: int) -> tuple[tuple[float, float], ...]:
    """Return the true axis of an object on a frame."""
    shift = tube.shift_px[frame] if tube.shift_px else (0.0, 0.0)
    return tuple((row + shift[0], column + shift[1]) for row, column in tube.axis_px)


def main(out: Path) -> None:
    """Write the picture of an X-ray loop, scaled and measured, with an echo loop beside it."""
    from synthetic_dicom import write_case

    with tempfile.TemporaryDirectory() as folder:
        xray = write_case("xa_clean", folder, frames=24)
        echoes = {plane: write_case(case, folder, frames=2) for plane, case in PLANES.items()}
        scene = Scene()
        scene.open([xray.path, *(one.path for one in echoes.values())])
        scene.viewer.dims.set_current_step(0, FRAME)
        scene.scale_on_catheter(_shifted(xray.truth.objects[0], FRAME))
        for plane, echo in echoes.items():
            scene.turn_to(echo.path)
            scene.dock.desk.ask_scale(HeaderRequest())
            scene.dock.desk.state_plane(plane)
            for tool in CALIPER_TOOLS[:3]:
                scene.draw(tool, echo.truth.caliper(tool.name, 0).points_px)
        scene.turn_to(xray.path)
        scene.viewer.dims.set_current_step(0, FRAME)
        for tool in CALIPER_TOOLS[:3]:
            scene.draw(tool, xray.truth.caliper(tool.name, FRAME).points_px)
        scene.dock.desk.state_reader("R7", "S01")
        scene.dock.turn_to(scene.dock.sheet)
        scene.rest()
        scene.shoot(out)
        scene.close()


if __name__ == "__main__":
    main(Path(sys.argv[1] if len(sys.argv) > 1 else "viewer.png"))
