"""The dock at the bottom: the table of what is measured, and plots of it."""

from typing import Any, get_args

from qtpy.QtCore import QSize, Qt
from qtpy.QtWidgets import QDockWidget, QMainWindow, QTabWidget, QVBoxLayout, QWidget

from annot.tasks.plots import PlotKind
from napari_annot.plots import PlotPane, Plotter
from napari_annot.screen_state import ScreenState
from napari_annot.table_panel import TablePanel

BENCH_TITLE = "Table and plots"
HEIGHT, LOWEST, HIGHEST, HIGH_SHARE = 210, 176, 320, 0.2
TITLES: dict[PlotKind, str] = {
    "over time": "Over time",
    "budget": "Budget",
    "ellipse": "Ellipse",
    "side by side": "Side by side",
}


class Bench(QWidget):
    """Table and plots, each behind its tab."""

    def __init__(self) -> None:
        super().__init__()
        self.table = TablePanel()
        self.panes = tuple(PlotPane(kind) for kind in get_args(PlotKind))
        self.tabs = QTabWidget()
        self.tabs.addTab(self.table, "Table")
        for pane in self.panes:
            self.tabs.addTab(pane, TITLES[pane.kind])
        # beside the tabs, where it takes no height from the rows
        self.tabs.setCornerWidget(self.table.search)
        self.tabs.currentChanged.connect(lambda at: self.table.search.setVisible(at == 0))
        layout = QVBoxLayout(self)
        layout.setContentsMargins(6, 2, 6, 4)
        layout.addWidget(self.tabs)

    def show_state(self, state: ScreenState) -> None:
        """Follow the desk."""
        self.table.show_state(state)

    def sizeHint(self) -> QSize:  # noqa: N802  # Qt's name
        """Ask for a few rows and leave the picture the rest."""
        return QSize(600, HEIGHT)


class BenchPlace:
    """Where the bench stands: below the picture, not below the reading dock."""

    def __init__(self, viewer: Any, bench: Bench, plotter: Plotter) -> None:
        self._viewer, self._bench, self._plotter = viewer, bench, plotter
        viewer.window.add_dock_widget(bench, name=BENCH_TITLE, area="bottom")
        viewer.events.theme.connect(self._follow_theme)
        self._follow_theme()

    def settle(self, window: QWidget) -> None:
        """Give the right side its full height."""
        if isinstance(window, QMainWindow):
            window.setCorner(Qt.Corner.BottomRightCorner, Qt.DockWidgetArea.RightDockWidgetArea)

    def ask_height(self, window: QMainWindow) -> None:
        """Take a fifth of a tall window, and of a low one no more than a row or two need."""
        try:
            frame = self._bench.parentWidget()
        except RuntimeError:  # the window took the bench with it before the docks had settled
            return
        if isinstance(frame, QDockWidget):
            high = max(LOWEST, min(round(HIGH_SHARE * window.height()), HIGHEST))
            window.resizeDocks([frame], [high], Qt.Orientation.Vertical)

    def close(self) -> None:
        """Take the bench away; whoever closes the window may have done so already."""
        self._viewer.events.theme.disconnect(self._follow_theme)
        self._plotter.close()
        try:
            self._viewer.window.remove_dock_widget(self._bench)
        except (LookupError, RuntimeError, AttributeError):
            return
        self._bench.deleteLater()

    def _follow_theme(self) -> None:
        from napari.utils.theme import get_theme

        ground = get_theme(self._viewer.theme).background.as_rgb_tuple()
        self._plotter.use_theme(dark=sum(ground[:3]) < 3 * 128)
