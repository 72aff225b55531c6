"""Start the viewer with the dock and some loops open, or with a reader's package."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from annot.errors import AnnotError
from annot.tasks.package_folder import holds_package

if TYPE_CHECKING:
    from napari_annot.dock import MeasureDock

PLUGIN, DOCK_TITLE = "annot", "Scale and calipers"


def open_viewer(paths: Sequence[Path]) -> None:
    """Start napari with the dock, open the loops below the paths, and stay until it is closed.

    A reader's package opens as a blinded seat, once its reader has said who they are.

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
    if len(paths) == 1 and holds_package(paths[0]):
        if not sit_down(dock, paths[0]):
            dock.teardown()
            viewer.close()
            return
    elif paths:
        dock.open_paths(list(paths))
    napari.run()
    dock.teardown()


def sit_down(dock: "MeasureDock", package: Path) -> bool:
    """Ask who reads until it is the package's reader; False where nobody sits down."""
    from napari_annot import dialogs
    from napari_annot.seat_place import take_seat

    fault = ""
    while True:
        reader = dialogs.ask_seat(dock, fault)
        if reader is None:
            return False
        try:
            take_seat(dock, package, reader)
        except AnnotError as refusal:
            fault = refusal.message
        else:
            return True
