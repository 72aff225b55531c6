"""A loupe beside the pointer while an end is placed: the pixels under it, eight times as large."""

from typing import Any

import numpy as np
from numpy.typing import NDArray
from qtpy.QtCore import QPoint, Qt
from qtpy.QtGui import QColor, QCursor, QGuiApplication, QImage, QPainter, QPen, QPixmap
from qtpy.QtWidgets import QLabel, QWidget

from annot.geometry import PixelPoint
from napari_annot.desk import Desk
from napari_annot.pictures import Pictures

REACH_PX, TIMES = 12, 8
AWAY = QPoint(28, 28)
LINE = "#F0E442"


class Loupe(QLabel):
    """Follows the desk's unfinished line; the cross stands where its end stands.

    It is a window of its own that takes no click and no focus, so that it may lie over the
    picture without the viewer knowing.
    """

    def __init__(self, desk: Desk, pictures: Pictures, owner: QWidget) -> None:
        super().__init__(owner)
        self.setWindowFlags(
            Qt.WindowType.ToolTip
            | Qt.WindowType.FramelessWindowHint
            | Qt.WindowType.WindowTransparentForInput
        )
        self.setAttribute(Qt.WidgetAttribute.WA_ShowWithoutActivating)
        self.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)
        self.setFixedSize((2 * REACH_PX + 1) * TIMES, (2 * REACH_PX + 1) * TIMES)
        self._desk, self._pictures = desk, pictures
        desk.changed.connect(self.follow)

    def close_down(self) -> None:
        """Stop following."""
        self._desk.changed.disconnect(self.follow)
        self.hide()

    def follow(self) -> None:
        """Show the pixels about the end being placed, nothing while none is."""
        draft, layer = self._desk.draft, self._pictures.layer
        if draft is None or layer is None or draft.frame != self._desk.frame:
            self.hide()
            return
        self._show_around(draft.floating, layer, draft.frame)

    def _show_around(self, point: PixelPoint, layer: Any, frame: int) -> None:
        greys = greys_around(np.asarray(layer.data[frame]), point, layer)
        picture = QPixmap.fromImage(_image(greys)).scaled(self.size())
        painter = QPainter(picture)
        painter.setPen(QPen(QColor(LINE), 1))
        # the centre of a pixel is at whole numbers, and the loupe starts half a pixel before one
        middle = [
            round((REACH_PX + 0.5 + part - round(part)) * TIMES)
            for part in (point.row, point.column)
        ]
        painter.drawLine(0, middle[0], picture.width(), middle[0])
        painter.drawLine(middle[1], 0, middle[1], picture.height())
        painter.end()
        self.setPixmap(picture)
        self.move(self._place())
        self.show()

    def _place(self) -> QPoint:
        """Return a place beside the pointer, on the screen and not under it."""
        at = QCursor.pos()
        screen = QGuiApplication.screenAt(at) or QGuiApplication.primaryScreen()
        room = screen.availableGeometry()
        spot = at + AWAY
        if spot.x() + self.width() > room.right():
            spot.setX(at.x() - AWAY.x() - self.width())
        if spot.y() + self.height() > room.bottom():
            spot.setY(at.y() - AWAY.y() - self.height())
        return spot


def greys_around(frame: NDArray[Any], point: PixelPoint, layer: Any) -> NDArray[np.uint8]:
    """Return the pixels about a point as the viewer shows them, black beyond the picture.

    Parameters
    ----------
    frame : array, shape (rows, columns) or (rows, columns, 3)
    layer
        The image layer: its contrast and colour map turn values into greys.

    Returns
    -------
    array of uint8, shape (2 * REACH_PX + 1, 2 * REACH_PX + 1, 3)
    """
    side = 2 * REACH_PX + 1
    out = np.zeros((side, side, 3), dtype=np.uint8)
    top, left = round(point.row) - REACH_PX, round(point.column) - REACH_PX
    rows = slice(max(top, 0), max(min(top + side, frame.shape[0]), 0))
    columns = slice(max(left, 0), max(min(left + side, frame.shape[1]), 0))
    patch = frame[rows, columns]
    if not patch.size:
        return out
    place = (
        slice(rows.start - top, rows.start - top + patch.shape[0]),
        slice(columns.start - left, columns.start - left + patch.shape[1]),
    )
    if patch.ndim == 3:
        out[place] = patch[..., :3]
        return out
    low, high = layer.contrast_limits
    share = np.clip((patch.astype(float) - low) / max(high - low, 1e-9), 0, 1) ** layer.gamma
    out[place] = np.round(np.asarray(layer.colormap.map(share.ravel()))[:, :3] * 255).reshape(
        (*patch.shape, 3)
    )
    return out


def _image(greys: NDArray[np.uint8]) -> QImage:
    rows, columns, _ = greys.shape
    data = np.ascontiguousarray(greys).tobytes()
    return QImage(data, columns, rows, 3 * columns, QImage.Format.Format_RGB888).copy()
