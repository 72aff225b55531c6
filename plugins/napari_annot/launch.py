"""Start the viewer with the dock and some loops open."""

from collections.abc import Sequence
from pathlib import Path

PLUGIN, DOCK_TITLE = "annot", "Scale and calipers"


def open_viewer(paths: Sequence[Path]) -> None:
    """Start napari with the dock, open the loops below the paths, and stay until it is closed.

    Parameters
    ----------
    paths : sequence of Path
        Files and folders; none opens an empty viewer. What cannot be opened is told in the dock.
    """
    import napari

    from napari_annot.viewer_lists import hide_lists

    viewer = napari.Viewer(title="annot")
    # as a plugin's dock, so that napari's menu finds this one and does not open a second
    _, dock = viewer.window.add_plugin_dock_widget(PLUGIN, DOCK_TITLE)
    hide_lists(dock)
    if paths:
        dock.open_paths(list(paths))
    napari.run()
    dock.teardown()
