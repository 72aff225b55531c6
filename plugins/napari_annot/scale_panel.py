"""The scale of the loop on show: which object, how large, traced where."""

from typing import cast

from qtpy.QtCore import Qt, Signal
from qtpy.QtWidgets import (
    QFormLayout,
    QLabel,
    QLineEdit,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

from annot.calibration import DeviceOffer, ScaleRequest
from napari_annot.depth_field import DepthField
from napari_annot.entry_fields import ChoiceField, NumberField, side_by_side
from napari_annot.offer_row import OfferRow
from napari_annot.scale_entry import (
    FIELDS,
    KIND_TITLES,
    ScaleEntry,
    ScaleKind,
    entry_of,
    entry_of_offer,
)
from napari_annot.screen_state import ScreenState
from napari_annot.tall_page import TallPage
from napari_annot.tools import OBJECT_TOOLS
from napari_annot.wording import joined

SIZE_TITLES = {
    "catheter": "Diameter",
    "markers": "Spacing mm",
    "sphere": "Diameter mm",
    "grid": "Spacing mm",
    "step": "Spacing mm",
    "segment": "Length mm",
}
COUNT_TITLES = {"markers": "Bands counted", "step": "Edges counted"}
UNSTATED_TOLERANCE = {
    "catheter": "labelled: rounded up to 0.1 mm",
    "markers": "not stated: ±1 %",
    "sphere": "not stated: ±0.02 mm",
    "grid": "not stated: ±0.5 %",
    "step": "not stated: ±0.5 %",
    "segment": "not stated: ±1 %",
}
UNSTATED_TILT = {
    "markers": "not stated: ±20°",
    "grid": "not stated: ±5°",
    "step": "not stated: ±5°",
}


class ScalePanel(QWidget):
    """Entries for a scale; emits what a person asks for."""

    trace_wanted = Signal(str)
    traces_dropped = Signal()
    scale_wanted = Signal()
    scale_removed = Signal()
    prefilled = Signal(str)
    refused = Signal(str)

    def __init__(self) -> None:
        super().__init__()
        self.kind = ChoiceField([(kind, title) for kind, title in KIND_TITLES.items()])
        self.size_mm_or_fr = NumberField("Size", "state it", highest=300)
        self.unit = ChoiceField([("mm", "mm"), ("fr", "Fr")], letters=3)
        self.tolerance_mm = NumberField("Tolerance", "", highest=20)
        self.device = ChoiceField([("catheter", "catheter"), ("sheath", "sheath")])
        self.surface = ChoiceField([("outer", "outer diameter"), ("inner", "inner diameter")])
        self.other_mm = NumberField("Other diameter", "not known", highest=50)
        self.filling = ChoiceField(
            [("unknown", "not known"), ("empty", "empty"), ("contrast", "filled with contrast")]
        )
        self.filling_percent = NumberField("Filling's effect", "not stated: 1 %", highest=50)
        self.u_end_px = NumberField("u of an end", "not stated: 1 px", highest=50)
        self.tilt_deg = NumberField("Tilt", "not stated", highest=60, zero=True)
        self.count = NumberField("Count", "not counted", highest=200)
        self.named, self.material = _line("same size, same object"), _line("not stated")
        self.apart = DepthField()
        self.mm_per_px = NumberField("Scale", "state it", highest=10)
        self.u_percent = NumberField("Relative u", "not stated", highest=100)
        self.lender = ChoiceField()
        self.offers = OfferRow()
        self.overrule = _line("the reason, if you must")
        self.trace, self.traced = QPushButton("Trace on this frame"), QLabel()
        self.drop = QPushButton("Clear")
        self.details = QLabel()
        self.make, self.remove = QPushButton("Make scale"), QPushButton("Remove scale")
        self._request: ScaleRequest | None = None
        self._file: str | None = None
        self._ultrasound = self._protected = False
        self._lay_out()
        self._connect()
        self._show_kind()

    def entry(self) -> ScaleEntry:
        """Return what is entered."""
        return ScaleEntry(
            kind=cast(ScaleKind, self.kind.chosen),
            size=self.size_mm_or_fr.stated,
            french=self.unit.chosen == "fr" and self.kind.chosen == "catheter",
            tolerance_mm=self.tolerance_mm.stated,
            device=self.device.chosen,
            surface=self.surface.chosen,
            other_mm=self.other_mm.stated,
            filling=self.filling.chosen,
            filling_percent=self.filling_percent.stated,
            u_end_px=self.u_end_px.stated,
            depth_by=self.apart.by.chosen,
            depth_offset_mm=self.apart.offset_mm.stated,
            depth_low_mm=self.apart.low_mm.stated,
            depth_high_mm=self.apart.high_mm.stated,
            tilt_deg=self.tilt_deg.stated,
            count=self.count.stated,
            named=self.named.text(),
            material=self.material.text(),
            mm_per_px=self.mm_per_px.stated,
            u_percent=self.u_percent.stated,
            lender=self.lender.chosen,
            overrule=self.overrule.text(),
        )

    def fill(self, entry: ScaleEntry) -> None:
        """Show an entry."""
        self.kind.choose(entry.kind)
        self.unit.choose("fr" if entry.french else "mm")
        self.device.choose(entry.device)
        self.surface.choose(entry.surface)
        self.filling.choose(entry.filling)
        self.lender.choose(entry.lender)
        self.overrule.setText(entry.overrule)
        self.named.setText(entry.named)
        self.material.setText(entry.material)
        self.size_mm_or_fr.state(entry.size)
        for name in (
            "tolerance_mm",
            "other_mm",
            "filling_percent",
            "u_end_px",
            "tilt_deg",
            "count",
            "mm_per_px",
            "u_percent",
        ):
            getattr(self, name).state(getattr(entry, name))
        self.apart.fill(entry)
        self._show_kind()

    def show_state(self, state: ScreenState) -> None:
        """Follow the loop on show; entries change only with the loop or its scale's request."""
        self.lender.offer(
            [(line.file, line.name) for line in state.loops if line.file != state.shown]
        )
        self._ultrasound = state.modality == "US"
        if state.scale.protected != self._protected:
            self._protected = state.scale.protected
            self._show_kind()
        self.offers.show_offers(state.scale.offers)
        if state.shown != self._file or state.request != self._request:
            if state.request is not None:
                self.fill(entry_of(state.request))
            elif state.shown != self._file:
                self.fill(ScaleEntry(kind="header" if state.modality == "US" else "catheter"))
            self._show_kind()
            self._file, self._request = state.shown, state.request
        same_kind = state.trace is not None and state.trace.kind == self.kind.chosen
        frames = [str(frame) for frame, _ in state.trace.looks] if state.trace else []
        self.traced.setText(f"frame {', '.join(frames)}" if same_kind and frames else "not yet")
        self.drop.setEnabled(bool(same_kind and frames))
        self.remove.setEnabled(state.request is not None)
        others = joined(state.scale.others)
        beside = f"Other scales of this loop:\n{others}" if others else ""
        remarks = joined(state.scale.warnings)
        texts = (state.scale.details, beside, remarks)
        self.details.setText("\n".join(text for text in texts if text))
        self.setEnabled(state.shown is not None)

    def _prefill(self, offer: DeviceOffer) -> None:
        """Fill the form with what the header names; a person still states, traces and makes it."""
        self.fill(entry_of_offer(offer))
        self.prefilled.emit(offer.words)

    def _lay_out(self) -> None:
        self.form = QFormLayout()
        self.form.setContentsMargins(0, 0, 0, 0)
        self.form.setVerticalSpacing(3)
        self.form.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.AllNonFixedFieldsGrow)
        rows: list[tuple[str, str, QWidget]] = [
            ("size", "Diameter", side_by_side(self.size_mm_or_fr, self.unit)),
            ("tolerance_mm", "Tolerance ± mm", self.tolerance_mm),
            ("device", "Which is a", self.device),
            ("surface", "This is the", self.surface),
            ("other_mm", "Other diameter mm", self.other_mm),
            ("filling", "Lumen", self.filling),
            ("filling_percent", "Its effect ± %", self.filling_percent),
            ("u_end_px", "u of an end px", self.u_end_px),
            ("tilt_deg", "Tilt within ± °", self.tilt_deg),
            ("count", "Count", self.count),
            ("named", "Which object", self.named),
            ("material", "Made of", self.material),
            ("mm_per_px", "mm per px", self.mm_per_px),
            ("u_percent", "Relative u %", self.u_percent),
            ("depth", "Depth apart", self.apart),
            ("lender", "Loop", self.lender),
            ("overrule", "Overrule because", self.overrule),
        ]
        self.form.addRow("Scale from", self.kind)
        self._rows: dict[str, tuple[QLabel, QWidget]] = {}
        for name, title, field in rows:
            label = QLabel(title)
            self.form.addRow(label, field)
            self._rows[name] = (label, field)
        self._trace_row = side_by_side(self.trace, self.traced, self.drop)
        entries = QWidget()
        inner = QVBoxLayout(entries)
        inner.setContentsMargins(0, 0, 0, 0)
        inner.setSpacing(6)
        inner.addWidget(self.offers)
        inner.addLayout(self.form)
        inner.addWidget(_wrapped(self.details))
        inner.addStretch(1)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(8, 6, 8, 6)
        layout.setSpacing(6)
        # what is entered scrolls in a low window; the buttons that act on it never do
        layout.addWidget(TallPage(entries), 1)
        layout.addWidget(self._trace_row)
        layout.addWidget(side_by_side(self.make, self.remove))

    def _connect(self) -> None:
        self.kind.currentIndexChanged.connect(self._show_kind)
        self.trace.clicked.connect(lambda: self.trace_wanted.emit(self.kind.chosen))
        self.drop.clicked.connect(self.traces_dropped)
        self.offers.wanted.connect(self._prefill)
        self.make.clicked.connect(self.scale_wanted)
        for field in self.findChildren(NumberField):
            field.refused.connect(self.refused)
        self.remove.clicked.connect(self.scale_removed)

    def _show_kind(self) -> None:
        """Show only what the kind asks for."""
        kind = cast(ScaleKind, self.kind.chosen)
        for name, (_, field) in self._rows.items():
            hidden = (name == "depth" and self._ultrasound) or (
                name == "overrule" and not self._may_overrule(kind)
            )
            self.form.setRowVisible(field, name in FIELDS[kind] and not hidden)
        self._rows["size"][0].setText(SIZE_TITLES.get(kind, "Size"))
        self._rows["count"][0].setText(COUNT_TITLES.get(kind, "Count"))
        self.unit.setVisible(kind == "catheter")
        self.tolerance_mm.setPlaceholderText(UNSTATED_TOLERANCE.get(kind, "not stated"))
        self.tilt_deg.setPlaceholderText(UNSTATED_TILT.get(kind, "not stated"))
        self._trace_row.setVisible(kind in OBJECT_TOOLS)

    def _may_overrule(self, kind: str) -> bool:
        """Whether there is a refusal that a reason could overrule, or there may be one."""
        return kind == "borrowed" or self._protected or bool(self.overrule.text())


def _line(hint: str) -> QLineEdit:
    """Return a field for words, with a hint while it is empty."""
    line = QLineEdit()
    line.setPlaceholderText(hint)
    return line


def _wrapped(label: QLabel) -> QLabel:
    """Return a label whose text may be long."""
    label.setWordWrap(True)
    label.setAlignment(Qt.AlignmentFlag.AlignTop)
    return label
