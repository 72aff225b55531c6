"""The screen: napari and Qt over `annot.tasks`; importing it loads neither."""

from napari_annot.launch import open_viewer

__all__ = ["open_viewer"]
