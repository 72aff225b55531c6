"""Start the viewer with the dock and some loops open."""

from collections.abc import Sequence
from pathlib import Path

DOCK_TITLE = "Scale and calipers"


def open_viewer(paths: Sequence[Path]) -> None:
    """Start napari with the dock, open the loops below the paths, and stay until it is closed.

    Parameters
    ----------
    paths : sequence of Path
        Files and folders; none opens an empty viewer. What cannot be opened is told in the dock.
    """
    import napari

    from napari_annot.dock import MeasureDock

    viewer = napari.Viewer(title="annot")
    dock = MeasureDock(viewer)
    viewer.window.add_dock_widget(dock, name=DOCK_TITLE, area="right")
    if paths:
        dock.open_paths(list(paths))
    napari.run()
    dock.teardown()
