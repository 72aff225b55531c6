"""The measurement table: one list of columns, used by every writer and by the documentation."""

import hashlib
import json
from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass
from importlib.metadata import version

from annot.calibration import PixelScale, all_allowances, all_depth_presets
from annot.loops import LoopHeader
from annot.measurement import Measurement
from annot.measurement.placement import all_placement_allowances
from annot.measurement.rule_deviation import RuleDeviation
from annot.reads import LoopRead, Read
from annot.vocabulary.protocol import Protocol

Cell = str | int | float | bool | None
SHARES = ("scale", "object", "system", "ends", "depth", "speed", "tilt", "other")


@dataclass(frozen=True, slots=True, kw_only=True)
class TableEntry:
    """A measurement with all that a row must be walked back to.

    `study` is what stands in the row: the read's own name for it, or a pseudonym; `off_rule` how
    far a drawn width lies from its protocol's rule, where landmarks tell.
    """

    measurement: Measurement
    header: LoopHeader
    read: Read
    loop: LoopRead
    study: str
    off_rule: tuple[RuleDeviation, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """A column's name, unit, meaning, and where its cell comes from."""

    name: str
    unit: str
    meaning: str
    cell: Callable[[TableEntry], Cell]


def protocol_hash(protocol: Protocol | None = None) -> str:
    """Return twelve hexadecimal digits over a protocol and the defaults that numbers rest on."""
    defaults = {**all_allowances(), **all_placement_allowances()}
    facts = {name: asdict(one) for name, one in defaults.items()}
    facts["depth_presets"] = {name: asdict(one) for name, one in all_depth_presets().items()}
    if protocol is not None:
        facts["protocol"] = {"fingerprint": protocol.fingerprint}
    text = json.dumps(facts, sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()[:12]


def _frame(entry: TableEntry) -> int:
    return entry.header.frame_of(entry.measurement.caliper.frame)


def _scale(entry: TableEntry) -> PixelScale | None:
    scale = entry.measurement.scale
    return scale if isinstance(scale, PixelScale) else None


def _angle(entry: TableEntry, which: int) -> float | None:
    own = (entry.loop.view.primary_deg, entry.loop.view.secondary_deg)[which]
    if own is not None or entry.header.xray is None:
        return own
    return entry.header.xray.angles_at(_frame(entry))[which]


def _time(entry: TableEntry) -> float | None:
    times = entry.header.frame_times.times_ms
    # a nanosecond is finer than any header states
    return None if times is None else round(times[_frame(entry)], 6)


def _view(entry: TableEntry) -> float | None:
    """Take the caliper's own direction, else, for an echo width, the plane the read states."""
    stated = entry.measurement.caliper.view_deg
    if stated is not None or entry.header.modality != "US":
        return stated
    return entry.loop.view.plane_deg


def _share(component: str) -> Callable[[TableEntry], Cell]:
    def cell(entry: TableEntry) -> Cell:
        shares = entry.measurement.result.shares()
        if component != "other":
            return shares.get(component, 0.0)
        return sum((part for name, part in shares.items() if name not in SHARES[:-1]), 0.0)

    return cell


def _speed_group(entry: TableEntry) -> str | None:
    """Name whose speed of sound acts here; several can only mean a defect."""
    lines = entry.measurement.result.lines
    keys = {line.input.key for line in lines if line.input.component == "speed"}
    return keys.pop() if len(keys) == 1 else None


def _warnings(entry: TableEntry) -> str:
    return "; ".join(entry.measurement.warnings)


def _protocol(entry: TableEntry) -> str:
    rules = entry.read.rules
    return entry.read.protocol if rules is None else rules.label


def _column(name: str, unit: str, meaning: str, cell: Callable[[TableEntry], Cell]) -> Column:
    return Column(name=name, unit=unit, meaning=meaning, cell=cell)


COLUMNS: tuple[Column, ...] = (
    _column("study", "", "the read's name for the study, or a keyed pseudonym", lambda e: e.study),
    _column("loop", "", "file of the loop, as named in the read", lambda e: e.loop.file),
    _column(
        "sop_instance_uid",
        "",
        "the stored object's own identity",
        lambda e: e.measurement.caliper.frame.sop_instance_uid,
    ),
    _column("modality", "", "DICOM modality", lambda e: e.header.modality),
    _column("primary_deg", "deg", "positioner angle, LAO positive", lambda e: _angle(e, 0)),
    _column("secondary_deg", "deg", "positioner angle, cranial positive", lambda e: _angle(e, 1)),
    _column("frame", "", "frame from 0", _frame),
    _column(
        "dicom_frame",
        "",
        "frame from 1, as DICOM counts",
        lambda e: e.measurement.caliper.frame.dicom_frame,
    ),
    _column("time_ms", "ms", "time of the frame from the first one", _time),
    _column("beat", "", "beat from 0, if stated", lambda e: e.measurement.caliper.beat),
    _column("moment", "", "moment of the cycle, if stated", lambda e: e.measurement.caliper.moment),
    _column("quantity", "", "what is measured", lambda e: e.measurement.outcome.name),
    _column("view_deg", "deg", "direction in the plane of the cross-section", _view),
    _column("reader", "", "who drew it", lambda e: e.read.reader),
    _column(
        "repeat", "", "which reading of the same thing", lambda e: e.measurement.caliper.repeat
    ),
    _column("value", "unit", "best estimate", lambda e: e.measurement.estimate.value),
    _column(
        "unit",
        "",
        "mm, mm2 or deg; px or px2 where there is no scale",
        lambda e: e.measurement.result.unit,
    ),
    _column("u", "unit", "standard uncertainty", lambda e: e.measurement.estimate.u),
    _column("low", "unit", "lower end of the interval", lambda e: e.measurement.interval.low),
    _column("high", "unit", "upper end of the interval", lambda e: e.measurement.interval.high),
    _column(
        "coverage", "1", "probability of the interval", lambda e: e.measurement.interval.probability
    ),
    _column(
        "method",
        "",
        "first order, or monte carlo where that fails: then value is the mean of the draws",
        lambda e: e.measurement.estimate.method,
    ),
    _column(
        "raw_value",
        "unit",
        "of the straight lines as drawn, before tilt",
        lambda e: e.measurement.raw_value,
    ),
    _column(
        "mm_per_px_row",
        "mm/px",
        "scale down the rows",
        lambda e: s.row.value if (s := _scale(e)) else None,
    ),
    _column(
        "mm_per_px_column",
        "mm/px",
        "scale along the columns",
        lambda e: s.column.value if (s := _scale(e)) else None,
    ),
    _column(
        "scale_kind",
        "",
        "what the scale rests on",
        lambda e: s.kind if (s := _scale(e)) else "none",
    ),
    _column(
        "scale_id",
        "",
        "rows with the same one share its error",
        lambda e: s.key if (s := _scale(e)) else None,
    ),
    _column(
        "object_id",
        "",
        "rows with the same one share the object's size",
        lambda e: s.object_id if (s := _scale(e)) else None,
    ),
    _column(
        "system_id",
        "",
        "rows with the same one share the imaging system's own error",
        lambda e: s.system_id if (s := _scale(e)) else None,
    ),
    _column(
        "depth_group",
        "",
        "rows with the same one share the depth",
        lambda e: s.depth_group if (s := _scale(e)) else None,
    ),
    _column(
        "speed_group",
        "",
        "echo rows with the same one share the error of the speed of sound",
        _speed_group,
    ),
    _column(
        "u_scale_rel",
        "1",
        "relative standard uncertainty of the scale, its depth term included",
        lambda e: s.u_rel if (s := _scale(e)) else None,
    ),
    *(
        _column(f"share_{name}", "1", f"part of the variance from {words}", _share(name))
        for name, words in (
            ("scale", "reading the scale, without the object's size and the system's error"),
            ("object", "the reference object's true size"),
            ("system", "the error that an imaging system's header scales share"),
            ("ends", "placing the ends"),
            ("depth", "unknown depth"),
            ("speed", "the speed of sound along an echo's beam"),
            ("tilt", "unknown tilt"),
            ("other", "everything else"),
        )
    ),
    _column(
        "conditions",
        "",
        "loading, rhythm, filling, moment and atrial pressure as stated",
        lambda e: e.loop.conditions.words,
    ),
    _column("origin", "", "drawn, tracked or refined", lambda e: e.measurement.caliper.origin),
    _column(
        "confirmed", "", "a person stands behind it", lambda e: e.measurement.caliper.confirmed
    ),
    _column(
        "overruled",
        "",
        "reason for using a scale that would be refused",
        lambda e: s.overruled if (s := _scale(e)) else "",
    ),
    _column("warnings", "", "what a reader must know", _warnings),
    _column("protocol", "", "name and version of the read's protocol", _protocol),
    _column(
        "protocol_hash",
        "",
        "fingerprint of the protocol and of the defaults in use",
        lambda e: protocol_hash(e.read.rules),
    ),
    _column("caliper_id", "", "the caliper in the read file", lambda e: e.measurement.caliper.key),
    _column("software_version", "", "version of this program", lambda _: version("annot")),
)


def measurement_row(entry: TableEntry) -> dict[str, Cell]:
    """Return one row, every column present, cells as Python values."""
    return {column.name: column.cell(entry) for column in COLUMNS}


def rows_of(entries: Iterable[TableEntry]) -> list[dict[str, Cell]]:
    """Return the rows of a table."""
    return [measurement_row(entry) for entry in entries]
