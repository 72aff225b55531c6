"""How far anatomy and object lie apart along the beam: a half-range, a range, or a usual place."""

from qtpy.QtWidgets import QVBoxLayout, QWidget

from napari_annot.entry_fields import ALL, ChoiceField, NumberField, side_by_side
from napari_annot.scale_entry import DEPTH_TITLES, OFFSET, RANGE, ScaleEntry

TIP = (
    "How many mm nearer to the source than the object the anatomy lies; below 0 it is farther from "
    "it. A range to one side corrects the scale to its middle and says so."
)


class DepthField(QWidget):
    """Fields for the one way in which the difference in depth is stated."""

    def __init__(self) -> None:
        super().__init__()
        self.by = ChoiceField(list(DEPTH_TITLES.items()))
        self.offset_mm = NumberField("Depth apart", "not stated: ±20 mm", highest=200, zero=True)
        self.low_mm = NumberField("Depth from", "from", highest=500, signed=True)
        self.high_mm = NumberField("Depth to", "to", highest=500, signed=True)
        self._range = side_by_side(self.low_mm, self.high_mm, stretch=ALL)
        self.setToolTip(TIP)
        for index, words in enumerate(DEPTH_TITLES.values()):
            self.by.setItemData(index, words, 3)  # Qt.ToolTipRole
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(3)
        layout.addWidget(side_by_side(self.by, self.offset_mm, self._range, stretch=ALL))
        self.by.currentIndexChanged.connect(self._show_way)
        self._show_way()

    def fill(self, entry: ScaleEntry) -> None:
        """Show an entry."""
        self.by.choose(entry.depth_by)
        self.offset_mm.state(entry.depth_offset_mm)
        self.low_mm.state(entry.depth_low_mm)
        self.high_mm.state(entry.depth_high_mm)
        self._show_way()

    def _show_way(self) -> None:
        self.offset_mm.setVisible(self.by.chosen == OFFSET)
        self._range.setVisible(self.by.chosen == RANGE)
