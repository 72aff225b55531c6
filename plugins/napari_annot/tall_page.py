"""A page that keeps its fields whole: where the window is too low for it, it scrolls."""

from qtpy.QtCore import QEvent, QObject, QSize, Qt
from qtpy.QtWidgets import QScrollArea, QWidget

LEAST_HEIGHT = 120


class TallPage(QScrollArea):
    """Asks for the height of its content, takes less, and never squeezes the content."""

    def __init__(self, content: QWidget) -> None:
        super().__init__()
        self.setWidgetResizable(True)
        self.setFrameShape(QScrollArea.Shape.NoFrame)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self._content = content
        self.setWidget(content)

    def sizeHint(self) -> QSize:  # noqa: N802  # Qt's name
        """Ask for the content's height and no more than its least width."""
        return QSize(self.minimumSizeHint().width(), self._content.sizeHint().height())

    def minimumSizeHint(self) -> QSize:  # noqa: N802  # Qt's name
        """Take less."""
        bar = self.verticalScrollBar().sizeHint().width()
        width = self._content.minimumSizeHint().width() + bar
        return QSize(width, min(LEAST_HEIGHT, self._content.sizeHint().height()))

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:  # noqa: N802  # Qt's name
        """Ask anew when fields come or go."""
        if event.type() == QEvent.Type.LayoutRequest:
            self.updateGeometry()
        return super().eventFilter(watched, event)
