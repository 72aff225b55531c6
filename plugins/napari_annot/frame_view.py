"""One frame painted with its lines and labels: a picture without a second GL canvas."""

from collections import OrderedDict
from collections.abc import Sequence

import numpy as np
from qtpy.QtCore import QPointF, QRectF, QSize, Qt, Signal
from qtpy.QtGui import QColor, QFontMetricsF, QImage, QMouseEvent, QPainter, QPaintEvent, QPen
from qtpy.QtWidgets import QWidget

from annot.errors import LoopError
from annot.geometry import PixelPoint
from annot.tasks.open import DisplayChoice, Loop, ShownLoop
from napari_annot.label_places import Box, place_label
from napari_annot.screen_state import DrawnLine
from napari_annot.second_loop import SecondLoop
from napari_annot.shapes import crossbars

CROSSBAR_PX, LEAST_POINTS = 12.0, 10
KEPT_FRAMES = 24
BACK, LABEL_GROUND = QColor(0, 0, 0), QColor(18, 18, 23, 217)


class FrameView(QWidget):
    """The second loop's frame, as large as fits; a double click takes the loop in hand."""

    taken = Signal()

    def __init__(self) -> None:
        super().__init__()
        self._second: SecondLoop | None = None
        self._shown: tuple[Loop, DisplayChoice, ShownLoop] | None = None
        self._frames: OrderedDict[int, QImage] = OrderedDict()
        self._image, self.fault = QImage(), ""
        font = self.font()
        font.setPointSizeF(max(font.pointSizeF(), LEAST_POINTS))
        self.setFont(font)
        self.setMinimumSize(240, 200)
        self.setToolTip("Double click: take this loop in hand, to draw on it.")

    def show_second(self, second: SecondLoop | None, choice: DisplayChoice) -> None:
        """Show another frame, or none."""
        if second == self._second and self._shown is not None and self._shown[1] == choice:
            return
        self._second = second
        if second is None:
            self._shown, self._image = None, QImage()
            self._frames.clear()
        else:
            self._image = self._frame_of(second, choice)
        self.update()

    def sizeHint(self) -> QSize:  # noqa: N802  # Qt's name
        """Ask for as much as the picture on show has, about."""
        return QSize(520, 520)

    def mouseDoubleClickEvent(self, event: QMouseEvent | None) -> None:  # noqa: N802  # Qt's name
        """Take the loop in hand."""
        del event
        if self._second is not None:
            self.taken.emit()

    # ---- the frame

    def _frame_of(self, second: SecondLoop, choice: DisplayChoice) -> QImage:
        if self._shown is None or self._shown[0] is not second.loop or self._shown[1] != choice:
            self._shown = (second.loop, choice, ShownLoop(second.loop, choice))
            self._frames.clear()
        kept = self._frames.get(second.frame)
        if kept is not None:
            self._frames.move_to_end(second.frame)
            return kept
        self.fault = ""
        try:
            image = image_of(self._shown[2].frame(second.frame))
        except LoopError as fault:
            self.fault = fault.message
            return QImage()
        self._frames[second.frame] = image
        while len(self._frames) > KEPT_FRAMES:
            self._frames.popitem(last=False)
        return image

    # ---- the picture

    def frame_box(self) -> QRectF:
        """Return where the frame lies in the widget."""
        if self._second is None:
            return QRectF(self.rect())
        rows, columns = self._second.loop.header.rows, self._second.loop.header.columns
        scale = min(self.width() / columns, self.height() / rows)
        width, height = columns * scale, rows * scale
        return QRectF((self.width() - width) / 2, (self.height() - height) / 2, width, height)

    def paintEvent(self, event: QPaintEvent | None) -> None:  # noqa: N802  # Qt's name
        """Paint frame, lines, labels."""
        del event
        painter = QPainter(self)
        painter.fillRect(self.rect(), BACK)
        painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        second, box = self._second, self.frame_box()
        if second is not None and not self._image.isNull():
            painter.drawImage(box, self._image)
            self._paint_lines(painter, second, box)
        words = self.fault or (second.caption if second else "")
        if words:
            self._paint_words(painter, words, QPointF(4, 4), QColor("white"))
        painter.end()

    def _paint_lines(self, painter: QPainter, second: SecondLoop, box: QRectF) -> None:
        """Paint every line, then the labels where they hide least."""
        scale = box.width() / second.loop.header.columns
        # in pixels of the screen; a pixel's centre lies at whole numbers, its corner half before
        lines = [
            [
                PixelPoint(
                    box.top() + (one.row + 0.5) * scale, box.left() + (one.column + 0.5) * scale
                )
                for one in line.points
            ]
            for line in second.lines
        ]
        for line, points in zip(second.lines, lines, strict=True):
            _paint_line(painter, line, points)
        metrics, taken = QFontMetricsF(self.font()), list[Box]()
        for line, points in zip(second.lines, lines, strict=True):
            if line.label:
                size = _words_size(metrics, line.label)
                image = (self.height(), self.width())
                place = place_label(points, size, taken, lines, image=image, gap_px=8.0)
                taken.append(place)
                at = QPointF(place[1], place[0])
                self._paint_words(painter, line.label, at, QColor(line.colour))

    def _paint_words(self, painter: QPainter, words: str, at: QPointF, colour: QColor) -> None:
        metrics = QFontMetricsF(self.font())
        height, width = _words_size(metrics, words)
        box = QRectF(at.x(), at.y(), width, height)
        painter.fillRect(box, LABEL_GROUND)
        painter.setPen(QPen(colour, 1))
        painter.drawRect(box)
        painter.setPen(QColor("white"))
        painter.drawText(box, Qt.AlignmentFlag.AlignCenter, words)


def image_of(frame: np.ndarray) -> QImage:
    """Return an 8-bit frame, grey or RGB, as Qt draws it; the pixels are copied."""
    pixels = np.ascontiguousarray(frame, dtype=np.uint8)
    rows, columns = pixels.shape[:2]
    form = QImage.Format.Format_RGB888 if pixels.ndim == 3 else QImage.Format.Format_Grayscale8
    return QImage(pixels.data, columns, rows, pixels.strides[0], form).copy()


def _words_size(metrics: QFontMetricsF, words: str) -> tuple[float, float]:
    """Return height and width of a box of words."""
    lines = words.split("\n")
    width = max(metrics.horizontalAdvance(one) for one in lines) + 10
    return metrics.lineSpacing() * len(lines) + 6, width


def _paint_line(painter: QPainter, line: DrawnLine, points: Sequence[PixelPoint]) -> None:
    """Paint a line with its crossbars, or a ring at each point of one that is a mark."""
    bars = crossbars(tuple(points), CROSSBAR_PX) if line.ends and not line.mark else []
    for colour, width in ((QColor("black"), 4.0), (QColor(line.colour), 2.0)):
        painter.setPen(QPen(colour, width))
        if line.mark:
            for one in points:
                painter.drawEllipse(QPointF(one.column, one.row), CROSSBAR_PX / 2, CROSSBAR_PX / 2)
            continue
        for path in (points, *bars):
            painter.drawPolyline([QPointF(one.column, one.row) for one in path])
