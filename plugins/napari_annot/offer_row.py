"""Objects of known size that the header names: offered to be filled in, no more."""

from qtpy.QtCore import Signal
from qtpy.QtWidgets import QHBoxLayout, QLabel, QPushButton, QWidget

from annot.calibration import DeviceOffer
from napari_annot.entry_fields import ChoiceField


class OfferRow(QWidget):
    """A choice of offers and a button; emits the one that a person wants filled in."""

    wanted = Signal(object)

    def __init__(self) -> None:
        super().__init__()
        self.choice, self.use = ChoiceField(), QPushButton("Fill in")
        self._offers: tuple[DeviceOffer, ...] = ()
        layout = QHBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addWidget(QLabel("Header names"))
        layout.addWidget(self.choice, 1)
        layout.addWidget(self.use)
        self.use.clicked.connect(self._fill_in)

    def show_offers(self, offers: tuple[DeviceOffer, ...]) -> None:
        """Show what the header names; nothing where it names nothing."""
        self._offers = offers
        words = [f"{one.kind}, {one.size_mm:g} mm" for one in offers]
        self.choice.offer([(str(index), text) for index, text in enumerate(words)])
        self.setToolTip("\n".join(one.words for one in offers))
        self.setVisible(bool(offers))

    def _fill_in(self) -> None:
        self.wanted.emit(self._offers[int(self.choice.chosen)])
