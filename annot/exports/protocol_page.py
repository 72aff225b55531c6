"""A protocol as one page: each quantity with its definition, source and a sketch of its points.

One HTML file that asks the network for nothing.
"""

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import TYPE_CHECKING

from annot.exports.definition_scheme import (
    CONTOURS,
    CROSSING,
    LEAFLET,
    VESSELS,
    Place,
    device_outline,
    sketched_points,
)
from annot.vocabulary import CAUTION
from annot.vocabulary.device_measurands import DEVICE_MEASURANDS, FOLLOWING
from annot.vocabulary.gap_schemes import GAP_SCHEMES
from annot.vocabulary.landmarks import DERIVED, LANDMARKS, QUANTITIES
from annot.vocabulary.measurand import Measurand
from annot.vocabulary.protocol import Protocol, QuantityRule

if TYPE_CHECKING:
    from jinja2 import Template

ARC_MM = 4.5
PX_PER_MM, LEFT_MM, TOP_MM, WIDE_MM, HIGH_MM = 5.0, -30.0, -30.0, 60.0, 68.0
# own drawing: from the atrium's wall round the appendage to the ridge and into the vein
WALL_PATH = (
    "M -29,-13 C -24,-9 -14,-4 -12,0 C -11.2,4 -10,6.5 -10,10 C -10,14 -12,16 -12.5,19 "
    "C -13,23 -8.5,24.5 -6.5,22.5 C -4,26 1,31.5 7,32 C 12,32.4 14.5,30 13.8,26 "
    "C 13,20 10,15 10,10 C 10,6.5 11.2,3 12,0 C 12.5,-1.8 14.8,-1.8 15.4,0 C 16.2,3 16.6,6 16.7,9"
)
VEIN_PATH = "M 29,-13 C 26,-9 24.2,-3 23.9,9"


@dataclass(frozen=True, slots=True, kw_only=True)
class Sketch:
    """What is drawn over the sketch of an appendage, in pixels.

    Attributes
    ----------
    lines, helpers : tuple of str
        Points of polylines: what is measured, and what it is measured against.
    points : tuple of (x, y, number)
        In the order in which a reader puts them down.
    device, face_on, crossing : bool
        Whether device, a section square to the neck, or the sheath's way are shown.
    """

    lines: tuple[str, ...]
    helpers: tuple[str, ...]
    points: tuple[tuple[float, float, int], ...]
    device: bool
    face_on: bool
    crossing: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class QuantityEntry:
    """One quantity on the page."""

    title: str
    name: str
    unit: str
    definition: str
    source: str
    facts: tuple[tuple[str, str], ...]
    sketch: Sketch


def protocol_html(protocol: Protocol, *, table_hash: str) -> str:
    """Return the page; everything that a person wrote is escaped.

    Parameters
    ----------
    protocol : Protocol
    table_hash : str
        What a table made under it carries.
    """
    return _template().render(
        protocol=protocol,
        table_hash=table_hash,
        entries=[_entry(rule) for rule in protocol.quantities],
        rules=tuple(_rules(protocol)),
        landmarks=tuple((one.title, one.name, one.meaning) for one in LANDMARKS.values()),
        caution=CAUTION,
        paths=(WALL_PATH, VEIN_PATH),
        device=_line((*device_outline(), device_outline()[0])),
        vessels=[(*_px(centre), radius * PX_PER_MM) for centre, radius in VESSELS.values()],
        leaflet=_line(LEAFLET),
        crossing=_px(CROSSING),
        scale=PX_PER_MM,
        shift=(-LEFT_MM, -TOP_MM),
        size=(WIDE_MM * PX_PER_MM, HIGH_MM * PX_PER_MM),
    )


def sketch_of(measurand: Measurand) -> Sketch:
    """Return what is drawn for a quantity: its points in order, and the lines between them."""
    places = sketched_points(measurand.name)
    numbered = tuple((*_px(place), index + 1) for index, place in enumerate(places))
    lines, helpers = _strokes(measurand, places)
    return Sketch(
        lines=tuple(_line(one) for one in lines),
        helpers=tuple(_line(one) for one in helpers),
        points=numbered[:: 4 if measurand.kind == "contour" else 1],
        device=measurand in DEVICE_MEASURANDS or measurand.name in FOLLOWING,
        face_on=measurand.name in CONTOURS,
        crossing=measurand.name.startswith("crossing"),
    )


Strokes = list[tuple[Place, ...]]


def _strokes(measurand: Measurand, places: tuple[Place, ...]) -> tuple[Strokes, Strokes]:
    """Return what is measured and what it is measured against."""
    form = measurand.outcomes[0].form
    if form == "angle":
        return [_arc(places)], [places]
    if form == "offset":
        return [(places[3], _foot(places[3], places[:2]))], [places[:2]]
    if form == "between":
        return [places[2:]], [places[:2]]
    if form == "cover":
        feet = tuple(_foot(one, places[:2]) for one in places[2:])
        against = [places[:2], *zip(places[2:], feet, strict=True)]
        return [feet], against
    return [(*places, places[0]) if measurand.kind == "contour" else places], []


def _arc(places: tuple[Place, ...]) -> tuple[Place, ...]:
    """Return an arc round the corner in the middle, from the first leg to the last."""
    (x0, y0), (x1, y1), (x2, y2) = places
    start, end = (math.atan2(y - y1, x - x1) for x, y in ((x0, y0), (x2, y2)))
    turn = math.remainder(end - start, 2 * math.pi)
    steps = [start + turn * step / 12 for step in range(13)]
    return tuple((x1 + ARC_MM * math.cos(at), y1 + ARC_MM * math.sin(at)) for at in steps)


def _foot(place: Place, line: tuple[Place, ...]) -> Place:
    (x0, y0), (x1, y1) = line
    across, down = x1 - x0, y1 - y0
    share = ((place[0] - x0) * across + (place[1] - y0) * down) / (across**2 + down**2)
    return x0 + share * across, y0 + share * down


def _entry(rule: QuantityRule) -> QuantityEntry:
    measurand = QUANTITIES[rule.quantity]
    how = "follows from landmarks" if rule.quantity in DERIVED else "drawn"
    if rule.quantity in FOLLOWING:
        how = "follows from what is drawn"
    return QuantityEntry(
        title=measurand.title,
        name=rule.quantity,
        unit=measurand.outcomes[0].unit,
        definition=rule.definition,
        source=rule.source,
        facts=(
            ("How", how),
            ("Points", measurand.meaning),
            ("Views", "; ".join(view.title for view in rule.views)),
            ("Repeats × beats", f"{rule.repeats} × {rule.beats}"),
            ("Moment", rule.moment.replace("_", " ")),
            ("Required", "yes" if rule.required else "no"),
        ),
        sketch=sketch_of(measurand),
    )


def _rules(protocol: Protocol) -> Iterator[tuple[str, str]]:
    limits = protocol.adjudication
    yield "Size by", protocol.size_by.replace("_", " ")
    if protocol.landing_zone_inside_mm is not None:
        yield "Landing zone", f"{protocol.landing_zone_inside_mm:g} mm inside the ostium"
    if protocol.gap_scheme is not None:
        scheme = GAP_SCHEMES[protocol.gap_scheme]
        yield "Classes of a gap", f"{scheme.name}: {scheme.rule} ({scheme.source})"
    yield "Asked for with every loop", ", ".join(protocol.conditions) or "nothing"
    apart = [
        *([f"{limits.apart_mm:g} mm"] if limits.apart_mm is not None else []),
        *([f"{limits.apart_percent:g} %"] if limits.apart_percent is not None else []),
        *(["another row of a size chart"] if limits.another_size_row else []),
    ]
    yield (
        "A third reader beyond",
        f"{', '.join(apart) or 'no limit'} ({limits.limits} of mm and %); in the end: "
        f"{limits.final}",
    )
    hidden = ", ".join(protocol.blinding.hide).replace("_", " ")
    yield "Hidden from a blinded reader", hidden or "nothing"


def _px(place: Place) -> tuple[float, float]:
    return (
        round((place[0] - LEFT_MM) * PX_PER_MM, 1),
        round((place[1] - TOP_MM) * PX_PER_MM, 1),
    )


def _line(places: Iterable[Place]) -> str:
    return " ".join(f"{x:g},{y:g}" for x, y in map(_px, places))


@lru_cache(maxsize=1)
def _template() -> "Template":
    from jinja2 import Environment, StrictUndefined

    text = (files("annot.exports") / "protocol.html.jinja").read_text(encoding="utf-8")
    made = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True)
    return made.from_string(text)
