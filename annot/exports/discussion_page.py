"""A page to discuss one study by: every view, reader and modality side by side, no advice.

One HTML file that asks the network for nothing: its style and its figures (SVG) are in it. Every
row of a table carries its own bar, all bars of a quantity on one axis, so that nobody has to count
rows.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from itertools import combinations
from typing import TYPE_CHECKING

from annot.exports.axis import Axis
from annot.measurement.measured_row import MeasuredRow
from annot.uncertainty import decimals_for
from annot.vocabulary import CAUTION, OUTCOMES, SCOPE_OF_INTERVAL
from annot.vocabulary.landmarks import QUANTITIES

if TYPE_CHECKING:
    from jinja2 import Template

HTML = b"<!DOCTYPE html>"
WIDTH, ROW_HEIGHT = 380, 26
PARTS = {
    "share_scale": "reading the scale",
    "share_object": "the reference object's size",
    "share_system": "the imaging system's own scale",
    "share_ends": "placing the ends",
    "share_depth": "unknown depth",
    "share_tilt": "unknown tilt",
    "share_speed": "the speed of sound",
    "share_other": "everything else",
}
UNITS = {"mm2": "mm²", "px2": "px²", "deg": "°", "1": "no unit"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """One row's interval and best estimate in pixels of the figure."""

    low: float
    value: float
    high: float
    open_end: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class QuantityRow:
    """One measurement: what it is, its number, its bar, and what is worth knowing of it."""

    view: str
    reader: str
    number: str
    interval: str
    bar: Bar
    scale: str
    part: str
    place: str


@dataclass(frozen=True, slots=True, kw_only=True)
class QuantityPart:
    """One quantity on the page.

    Attributes
    ----------
    title, unit, meaning : str
    rows : tuple of QuantityRow
    ticks : tuple of (pixels, text)
    spread : str
        How far the rows are apart, in words.
    apart : str
        How many pairs of intervals have nothing in common, in words.
    scaled : bool
        Whether it is in a unit of the patient, not in pixels.
    """

    title: str
    unit: str
    meaning: str
    rows: tuple[QuantityRow, ...]
    ticks: tuple[tuple[float, str], ...]
    spread: str
    apart: str
    scaled: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class ChartBar:
    """One row of a size chart: its range, and what the measurement says of it."""

    label: str
    low: float | None
    high: float | None
    probability: str
    compression: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SizePart:
    """One cross-section against the user's own chart.

    Attributes
    ----------
    title, width : str
        Whose cross-section, and its width with its interval, in words.
    rows : tuple of ChartBar
    band : (low, value, high)
        The measured width in pixels of the figure.
    ticks : tuple of (pixels, text)
    tips : tuple of str
        What would change the picture.
    """

    title: str
    width: str
    rows: tuple[ChartBar, ...]
    band: tuple[float, float, float]
    ticks: tuple[tuple[float, str], ...]
    tips: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangePart:
    """What changed in one quantity and view; bars of one unit share an axis, zero in its middle."""

    quantity: str
    view: str
    number: str
    bar: Bar
    ticks: tuple[tuple[float, str], ...]
    notes: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StudyPart:
    """One study's part of the page.

    Attributes
    ----------
    conditions, warnings : tuple of (text, whom it is for)
    changes : tuple of ChangePart
    """

    study: str
    quantities: tuple[QuantityPart, ...]
    comparisons: tuple[str, ...]
    sizes: tuple[SizePart, ...]
    changes: tuple[ChangePart, ...]
    conditions: tuple[tuple[str, str], ...]
    warnings: tuple[tuple[str, str], ...]


def quantity_part(quantity: str, rows: Sequence[MeasuredRow]) -> QuantityPart:
    """Return one quantity's rows, all in one unit, as the page shows them."""
    axis = axis_of(rows)
    values = [one.value for one in rows]
    unit, places = rows[0].unit, decimals_for(min(one.u for one in rows) or 1.0)
    spread = (
        f"best estimates from {min(values):.{places}f} to {max(values):.{places}f} {unit}, "
        f"{max(values) - min(values):.{places}f} {unit} apart"
    )
    return QuantityPart(
        title=title_of(quantity),
        unit=UNITS.get(unit, unit),
        meaning=QUANTITIES[quantity].meaning if quantity in QUANTITIES else "",
        rows=tuple(_row(one, axis) for one in rows),
        ticks=axis.ticks(),
        spread=spread if len(rows) > 1 else "one measurement only",
        apart=_apart(rows),
        scaled=not unit.startswith("px"),
    )


def title_of(quantity: str) -> str:
    """Return a quantity's title; of one that is not known, its name in words."""
    known = OUTCOMES.get(quantity) or QUANTITIES.get(quantity)
    return known.title if known is not None else quantity.replace("_", " ")


def axis_of(rows: Sequence[MeasuredRow]) -> Axis:
    """Return the axis on which every interval of some rows finds room."""
    return Axis(low=min(map(low_of, rows)), high=max(map(high_of, rows)), wide_px=WIDTH)


def discussion_html(studies: Sequence[StudyPart]) -> str:
    """Return the page; everything that a person wrote is escaped."""
    return _template().render(
        studies=studies,
        cautions=(CAUTION, SCOPE_OF_INTERVAL),
        width=WIDTH,
        row_height=ROW_HEIGHT,
    )


@lru_cache(maxsize=1)
def _template() -> "Template":
    from jinja2 import Environment, StrictUndefined

    text = (files("annot.exports") / "discussion.html.jinja").read_text(encoding="utf-8")
    made = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True)
    return made.from_string(text)


def low_of(row: MeasuredRow) -> float:
    """Return the lower end of a row's interval; 2 u below where the table states none."""
    return row.value - 2 * row.u if row.low is None else row.low


def high_of(row: MeasuredRow) -> float:
    """Return the upper end of a row's interval; 2 u above where the table states none."""
    return row.value + 2 * row.u if row.high is None else row.high


def _apart(rows: Sequence[MeasuredRow]) -> str:
    pairs = list(combinations(rows, 2))
    if not pairs:
        return ""
    count = sum(low_of(a) > high_of(b) or low_of(b) > high_of(a) for a, b in pairs)
    if len(pairs) == 1:
        return f"the two intervals have {'nothing' if count else 'a part'} in common"
    return f"{count} of {len(pairs)} pairs of intervals have nothing in common"


def _row(row: MeasuredRow, axis: Axis) -> QuantityRow:
    places = decimals_for(row.u)
    again = "" if row.repeat in (None, 1) else f", repeat {row.repeat}"
    caliper = "from landmarks" if row.origin == "derived" else row.caliper_id
    where = [part for part in (caliper, row.loop) if part]
    if row.frame is not None:
        where.append(f"frame {row.frame}")
    return QuantityRow(
        view=f"{'echo' if row.modality == 'US' else 'X-ray'} {_view(row)}",
        reader=f"{row.reader}{again}",
        number=f"{row.value:.{places}f} ± {row.u:.{places}f}",
        interval=f"{low_of(row):.{places}f} … {high_of(row):.{places}f}",
        bar=Bar(
            low=axis.at(low_of(row)),
            value=axis.at(row.value),
            high=axis.at(high_of(row)),
            open_end=row.modality == "US",
        ),
        scale=row.scale_kind or "not stated",
        part=_largest_part(row),
        place=", ".join(where),
    )


def _view(row: MeasuredRow) -> str:
    if row.modality == "US":
        return "not stated" if row.view_deg is None else f"{row.view_deg:g}°"
    if row.primary_deg is None or row.secondary_deg is None:
        return "not stated"
    side = "RAO" if row.primary_deg < 0 else "LAO"
    tip = "cranial" if row.secondary_deg > 0 else "caudal"
    return f"{side} {abs(row.primary_deg):g}° {tip} {abs(row.secondary_deg):g}°"


def _largest_part(row: MeasuredRow) -> str:
    known = {words: getattr(row, name) for name, words in PARTS.items()}
    stated = {words: share for words, share in known.items() if share is not None}
    if not stated:
        return "not stated"
    words, share = max(stated.items(), key=lambda one: one[1])
    return f"{words}, {share:.0%}"
