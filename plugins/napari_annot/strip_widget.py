"""The strip on the screen: painted from its facts, and a place to click."""

from itertools import groupby

from qtpy.QtCore import QEvent, QPointF, QRectF, QSize, Qt, Signal
from qtpy.QtGui import (
    QColor,
    QFontMetricsF,
    QHelpEvent,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QPen,
    QPolygonF,
)
from qtpy.QtWidgets import QSizePolicy, QToolTip, QWidget

from napari_annot.strip import Mark, Strip, place_words
from napari_annot.tools import GREEN, SKY, WHITE

BEATS, CALIPERS, CONTRAST = "beats", "calipers", "contrast"
NONE_STORED, SUGGESTED = "no R waves stored", "suggested: best filled"
REACH_PX = 8.0
LEAST_POINTS = 10


class StripWidget(QWidget):
    """Three tracks over the loop's time; a click goes to a frame, on a mark to its caliper."""

    frame_chosen = Signal(int)
    caliper_chosen = Signal(str)

    def __init__(self) -> None:
        super().__init__()
        self._strip: Strip | None = None
        self._ink, self._paper = QColor(WHITE), QColor("#262930")
        self.setMouseTracking(True)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setAccessibleName("Strip: beats, calipers and contrast over the loop's time")
        font = self.font()
        font.setPointSizeF(max(font.pointSizeF(), LEAST_POINTS))
        self.setFont(font)

    def show_strip(self, strip: Strip | None) -> None:
        """Show other facts."""
        if strip != self._strip:
            self._strip = strip
            self.setFixedHeight(self.sizeHint().height())
            self.update()

    def set_colours(self, ink: str, paper: str) -> None:
        """Follow the theme."""
        self._ink, self._paper = QColor(ink), QColor(paper)
        self.update()

    def sizeHint(self) -> QSize:  # noqa: N802  # Qt's name
        """Ask for the tracks' height, which goes with the letters'."""
        tracks = 4 if self._strip is not None and self._strip.curve else 2
        return QSize(320, round(tracks * self._track() + 4))

    # ---- where things lie

    def x_of(self, share: float) -> float:
        """Return the pixel column of a part of the loop's duration."""
        left = self._gutter()
        return left + share * max(1.0, self.width() - left - 6)

    def frame_under(self, x: float) -> int:
        """Return the frame under a pixel column."""
        left = self._gutter()
        assert self._strip is not None
        return self._strip.frame_at((x - left) / max(1.0, self.width() - left - 6))

    def mark_under(self, x: float, y: float) -> Mark | None:
        """Return the caliper's mark under a place."""
        if self._strip is None or not self._track() <= y < 2 * self._track():
            return None
        near = [(abs(box.center().x() - x), mark) for mark, box in self._marks(self._strip)]
        found = min(near, default=None, key=lambda one: one[0])
        return found[1] if found is not None and found[0] <= REACH_PX else None

    def _marks(self, strip: Strip) -> list[tuple[Mark, QRectF]]:
        """Place the letters of each frame beside one another, in the middle of their frame."""
        wide, track = self._metrics().horizontalAdvance("M") + 3, self._track()
        placed = []
        for frame, group in groupby(strip.marks, key=lambda mark: mark.frame):
            here = list(group)
            left = self.x_of(strip.share_of(frame)) - wide * len(here) / 2
            for place, mark in enumerate(here):
                placed.append((mark, QRectF(left + place * wide, track, wide, track)))
        return placed

    def _metrics(self) -> QFontMetricsF:
        return QFontMetricsF(self.font())

    def _gutter(self) -> float:
        return self._metrics().horizontalAdvance(CONTRAST) + 14

    def _track(self) -> float:
        return self._metrics().height() + 4

    # ---- the mouse

    def mousePressEvent(self, event: QMouseEvent | None) -> None:  # noqa: N802  # Qt's name
        """Go to the caliper or the frame under the pointer."""
        if event is None or self._strip is None or event.button() != Qt.MouseButton.LeftButton:
            return
        place = event.position()
        mark = self.mark_under(place.x(), place.y())
        if mark is not None:
            self.caliper_chosen.emit(mark.key)
        elif place.x() >= self._gutter():
            self.frame_chosen.emit(self.frame_under(place.x()))

    def mouseMoveEvent(self, event: QMouseEvent | None) -> None:  # noqa: N802  # Qt's name
        """Drag through the loop."""
        if event is None or self._strip is None:
            return
        if event.buttons() & Qt.MouseButton.LeftButton:
            self.frame_chosen.emit(self.frame_under(event.position().x()))

    def event(self, event: QEvent) -> bool:
        """Say what lies under the pointer."""
        if isinstance(event, QHelpEvent) and self._strip is not None:
            frame = self.frame_under(event.pos().x())
            QToolTip.showText(event.globalPos(), place_words(self._strip, frame), self)
            return True
        return bool(super().event(event))

    # ---- the picture

    def paintEvent(self, event: QPaintEvent | None) -> None:  # noqa: N802  # Qt's name
        """Paint the tracks."""
        del event
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.fillRect(self.rect(), self._paper)
        if self._strip is not None:
            self._paint_span(painter, self._strip)
            self._paint_beats(painter, self._strip)
            self._paint_calipers(painter, self._strip)
            if self._strip.curve:
                self._paint_curve(painter, self._strip)
            self._paint_now(painter, self._strip)
        painter.end()

    def _name(self, painter: QPainter, track: int, words: str, *, tall: int = 1) -> None:
        painter.setPen(self._ink)
        box = QRectF(4, track * self._track(), self._gutter() - 6, tall * self._track())
        painter.drawText(box, Qt.AlignmentFlag.AlignVCenter | Qt.AlignmentFlag.AlignLeft, words)
        faint = QColor(self._ink)
        faint.setAlpha(70)
        painter.setPen(QPen(faint, 1))
        foot = (track + tall) * self._track()
        painter.drawLine(QPointF(self._gutter(), foot), QPointF(self.width() - 6, foot))

    def _paint_span(self, painter: QPainter, strip: Strip) -> None:
        if strip.span is None:
            return
        left, right = (
            self.x_of(at / strip.times.duration_ms)
            for at in (strip.span.start_ms, strip.span.end_ms)
        )
        shade = QColor(self._ink)
        shade.setAlpha(40)
        painter.fillRect(QRectF(left, 0, right - left, self.height()), shade)
        painter.setPen(QPen(self._ink, 1, Qt.PenStyle.DashLine))
        for x in (left, right):
            painter.drawLine(QPointF(x, 0), QPointF(x, self.height()))

    def _paint_beats(self, painter: QPainter, strip: Strip) -> None:
        self._name(painter, 0, BEATS)
        track = self._track()
        if not strip.r_waves_ms:
            box = QRectF(self._gutter() + 4, 0, self.width(), track)
            painter.setPen(self._ink)
            painter.drawText(box, Qt.AlignmentFlag.AlignVCenter, NONE_STORED)
            return
        for wave in strip.r_waves_ms:
            x = self.x_of(wave / strip.times.duration_ms)
            painter.setPen(QPen(self._readable(SKY), 2))
            painter.drawLine(QPointF(x, 1), QPointF(x, track))
            painter.drawText(QPointF(x + 4, self._metrics().ascent() + 2), "R")

    def _paint_calipers(self, painter: QPainter, strip: Strip) -> None:
        self._name(painter, 1, CALIPERS)
        for mark, box in self._marks(strip):
            if mark.selected:
                painter.setPen(QPen(self._ink, 1.5))
                painter.drawRoundedRect(box.adjusted(0.5, 1, -0.5, -1), 3, 3)
            painter.setPen(self._readable(mark.colour))
            painter.drawText(box, Qt.AlignmentFlag.AlignCenter, mark.letter)

    def _paint_curve(self, painter: QPainter, strip: Strip) -> None:
        self._name(painter, 2, CONTRAST, tall=2)
        top, track = 2 * self._track(), 2 * self._track()
        line = [
            QPointF(self.x_of(strip.share_of(frame)), top + track - 2 - share * (track - 5))
            for frame, share in enumerate(strip.curve)
        ]
        painter.setPen(QPen(self._readable(GREEN), 2))
        painter.drawPolyline(line)
        if strip.suggested is not None:
            x, y = line[strip.suggested].x(), line[strip.suggested].y()
            painter.setPen(QPen(self._ink, 1.5))
            words = self._metrics().horizontalAdvance(SUGGESTED)
            after = x + 9 if x + 9 + words < self.width() else x - 9 - words
            painter.drawText(QPointF(after, top + track - 4), SUGGESTED)
            painter.drawPolygon(
                QPolygonF(
                    [QPointF(x, y - 5), QPointF(x + 5, y), QPointF(x, y + 5), QPointF(x - 5, y)]
                )
            )

    def _paint_now(self, painter: QPainter, strip: Strip) -> None:
        x = self.x_of(strip.share_of(strip.frame))
        painter.setPen(QPen(self._ink, 1.5))
        painter.drawLine(QPointF(x, 0), QPointF(x, self.height()))

    def _readable(self, colour: str) -> QColor:
        """Return a colour dark enough on light paper; the letters tell what it means anyway."""
        found = QColor(colour)
        return found.darker(150) if self._paper.lightness() > 128 else found
