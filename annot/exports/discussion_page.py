"""A page to discuss one study by: every view, reader and modality side by side, no advice.

One HTML file that asks the network for nothing: its style and its figures (SVG) are in it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import TYPE_CHECKING

from annot.measurement.measured_row import MeasuredRow
from annot.uncertainty import decimals_for
from annot.vocabulary import CAUTION, SCOPE_OF_INTERVAL

if TYPE_CHECKING:
    from jinja2 import Template

HTML = b"<!DOCTYPE html>"
WIDTH, ROW_HEIGHT, LEFT = 460, 22, 10
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """One row of a figure: interval and best estimate in pixels of the figure."""

    y: float
    low: float
    value: float
    high: float
    open_end: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class QuantityPart:
    """One quantity on the page: its rows as text, and its figure.

    Attributes
    ----------
    title, unit : str
    heads : tuple of str
    rows : tuple of tuple of str
    bars : tuple of Bar
        One a row, in the same order.
    ticks : tuple of (pixels, text)
    spread : str
        How far the rows are apart, in words.
    """

    title: str
    unit: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    bars: tuple[Bar, ...]
    ticks: tuple[tuple[float, str], ...]
    spread: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SizePart:
    """One cross-section against the user's own chart: rows as text, what tips it."""

    title: str
    rows: tuple[tuple[str, ...], ...]
    tips: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class StudyPart:
    """One study's part of the page."""

    study: str
    quantities: tuple[QuantityPart, ...]
    comparisons: tuple[str, ...]
    sizes: tuple[SizePart, ...]
    changes: tuple[str, ...]
    conditions: tuple[str, ...]
    warnings: tuple[str, ...]


HEADS = (
    "modality",
    "view",
    "reader",
    "repeat",
    "value ± u",
    "95 % interval",
    "scale rests on",
    "largest part of the variance",
    "caliper, loop, frame",
)


def quantity_part(quantity: str, rows: Sequence[MeasuredRow]) -> QuantityPart:
    """Return one quantity's rows, all in one unit, as the page shows them."""
    low = min(_low(one) for one in rows)
    high = max(_high(one) for one in rows)
    span = (high - low) or 1.0

    def across(value: float) -> float:
        return round(LEFT + (WIDTH - 2 * LEFT) * (value - low) / span, 1)

    values = [one.value for one in rows]
    unit = rows[0].unit
    apart = (
        f"best estimates from {min(values):.2f} to {max(values):.2f} {unit}, "
        f"{max(values) - min(values):.2f} {unit} apart"
    )
    return QuantityPart(
        title=quantity.replace("_", " "),
        unit=unit,
        heads=HEADS,
        rows=tuple(_cells(one) for one in rows),
        bars=tuple(
            Bar(
                y=ROW_HEIGHT * (index + 0.5),
                low=across(_low(one)),
                value=across(one.value),
                high=across(_high(one)),
                open_end=one.modality == "US",
            )
            for index, one in enumerate(rows)
        ),
        ticks=tuple(
            (across(low + span * part), f"{low + span * part:.2f}") for part in (0, 0.5, 1)
        ),
        spread=apart if len(rows) > 1 else "one measurement only",
    )


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


def _low(row: MeasuredRow) -> float:
    return row.value - 2 * row.u if row.low is None else row.low


def _high(row: MeasuredRow) -> float:
    return row.value + 2 * row.u if row.high is None else row.high


def _cells(row: MeasuredRow) -> tuple[str, ...]:
    places = decimals_for(row.u)
    return (
        row.modality,
        _view(row),
        row.reader,
        "" if row.repeat is None else str(row.repeat),
        f"{row.value:.{places}f} ± {row.u:.{places}f}",
        f"{_low(row):.{places}f} … {_high(row):.{places}f}",
        row.scale_kind or "not stated",
        _largest_part(row),
        f"{row.caliper_id}, {row.loop}, {'–' if row.frame is None else row.frame}",
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
