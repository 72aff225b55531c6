"""The screen: napari and Qt over `annot.tasks`."""
