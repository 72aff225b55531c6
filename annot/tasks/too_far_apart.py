"""Repeats of one quantity in one view that lie further apart than a protocol allows."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import combinations

from annot.measurement import Measurement
from annot.reads.completeness import Reading
from annot.sizing import SizeChart, region_of
from annot.vocabulary.protocol import Protocol, View

SIZED = "landing_zone_width"
NO_CHART = (
    f"{SIZED}: the protocol minds different rows of a size chart, and no chart was given: name it "
    "by --chart"
)
Pair = tuple[Reading, Measurement]


@dataclass(frozen=True, slots=True, kw_only=True)
class Apart:
    """What was found: a sentence for each pair, and which limits could not be looked at."""

    sentences: tuple[str, ...]
    unlooked: tuple[str, ...]


def over_limit(protocol: Protocol, taken: Iterable[Pair], chart: SizeChart | None) -> Apart:
    """Compare every two repeats in mm against the protocol's limits.

    Parameters
    ----------
    protocol : Protocol
    taken : iterable of (Reading, Measurement)
    chart : SizeChart or None
        The laboratory's own; widths of the landing zone in different rows of it are too far apart
        where the protocol says so.
    """
    groups = list(_groups(protocol, taken))
    unlooked = (
        protocol.adjudication.another_size_row
        and chart is None
        and any(name == SIZED and len(group) > 1 for name, _, group in groups)
    )
    return Apart(
        sentences=tuple(
            text
            for name, view, group in groups
            for first, second in combinations(group, 2)
            for text in _words(protocol, chart, (name, view), (first, second))
        ),
        unlooked=(NO_CHART,) if unlooked else (),
    )


def _groups(
    protocol: Protocol, taken: Iterable[Pair]
) -> Iterator[tuple[str, View, list[Measurement]]]:
    rules = protocol.rules()
    groups: dict[tuple[str, View], list[Measurement]] = {}
    for reading, measurement in taken:
        rule = rules.get(reading.quantity)
        for view in rule.views if rule else ():
            if reading.shows(view) and measurement.result.unit == "mm":
                groups.setdefault((reading.quantity, view), []).append(measurement)
    return ((quantity, view, group) for (quantity, view), group in groups.items())


def _words(
    protocol: Protocol,
    chart: SizeChart | None,
    where: tuple[str, View],
    pair: tuple[Measurement, Measurement],
) -> Iterator[str]:
    first, second = pair
    if first.caliper.repeat == second.caliper.repeat:
        return
    values = [one.estimate.value for one in pair]
    name, view = where
    rows = (
        [region_of(chart, value) for value in values]
        if chart is not None and name == SIZED
        else ["", ""]
    )
    differ = rows[0] != rows[1]
    if not protocol.adjudication.asks_for_a_third(*values, rows_differ=differ):
        return
    about = f"{name}, {view.title}: {first.caliper.key} and {second.caliper.key}"
    if protocol.adjudication.asks_for_a_third(*values):
        yield f"{about} are {abs(values[0] - values[1]):.1f} mm apart"
    if differ and protocol.adjudication.another_size_row:
        yield f"{about} lie in different rows of the chart: {rows[0]}; {rows[1]}"
