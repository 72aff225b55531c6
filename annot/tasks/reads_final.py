"""The value that holds for each case in the end, by the protocol's rule, with its uncertainty."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from annot.measurement.estimate import StatedValue
from annot.measurement.reader_consensus import Consensus, mean_of_readers, median_of_readers
from annot.sizing.chart import SizeChart
from annot.tasks.reads_cases import Case, Side, cases_of
from annot.tasks.reads_kept import Row
from annot.tasks.reads_study import Study

SEED = 20_260_301
NOT_IN = "how far readers are apart stands beside the interval, not in it"
# name, unit and meaning of each column of the final table
FINAL_TABLE = (
    ("study", "", "keyed pseudonym of the examination"),
    ("loop", "", "the loop's name in the study"),
    ("modality", "", "DICOM modality"),
    ("primary_deg", "deg", "positioner angle, LAO positive, where all rows agree"),
    ("secondary_deg", "deg", "positioner angle, cranial positive, where all rows agree"),
    ("view_deg", "deg", "direction in the plane of the cross-section, where all rows agree"),
    ("moment", "", "moment of the cycle, if stated"),
    ("quantity", "", "what is measured"),
    ("reader", "", "whose values it comes from, joined by +"),
    ("value", "unit", "the value that holds in the end"),
    ("unit", "", "mm, mm2 or deg; px or px2 where there is no scale"),
    ("u", "unit", "standard uncertainty, what readers share not averaged away"),
    ("low", "unit", "lower end of the interval"),
    ("high", "unit", "upper end of the interval"),
    ("coverage", "1", "probability of the interval"),
    ("rule", "", "one reader, mean, median or adjudicator"),
    ("readers", "", "how many readers' values it comes from"),
    ("reader_sd", "unit", "standard deviation of the readers' values, not part of u"),
    ("scale_id", "", "scale whose error it carries; of several the largest"),
    ("object_id", "", "reference object, likewise"),
    ("system_id", "", "imaging system, likewise"),
    ("depth_group", "", "depth, likewise"),
    ("speed_group", "", "speed of sound, likewise"),
    ("share_scale", "1", "part of the variance from that scale"),
    ("share_object", "1", "part from that object's size"),
    ("share_system", "1", "part from that system's error"),
    ("share_depth", "1", "part from that depth"),
    ("share_speed", "1", "part from that speed of sound"),
    ("presentations", "", "showings it comes from"),
    ("apart", "", "why a third reader was asked; empty where the readers agree"),
    ("warnings", "", "what a reader must know"),
    ("protocol", "", "name and version of the study's protocol"),
    ("protocol_hash", "", "fingerprint of the protocol and of the defaults in use"),
    ("software_version", "", "version of this program"),
)
FINAL_COLUMNS = tuple(name for name, _, _ in FINAL_TABLE)
_SHARES = (
    ("scale_id", "share_scale", "scale"),
    ("object_id", "share_object", "object"),
    ("system_id", "share_system", "system"),
    ("depth_group", "share_depth", "depth"),
    ("speed_group", "share_speed", "speed"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Final:
    """A case's last word.

    Attributes
    ----------
    case : Case
    sides : tuple of Side
        Whose values it comes from.
    rule : str
        How: one reader, mean, median, adjudicator.
    consensus : Consensus or None
        None while a third reader's value is missing.
    """

    case: Case
    sides: tuple[Side, ...]
    rule: str
    consensus: Consensus | None

    @property
    def open(self) -> bool:
        """Whether a third reader is still owed."""
        return self.consensus is None


def finals_of(study: Study, chart: SizeChart | None = None) -> list[Final]:
    """Return every case's final value; see `annot.tasks.reads_cases.cases_of` for refusals."""
    rng = np.random.default_rng(SEED)
    return [_final(one, study.protocol.adjudication.final, rng) for one in cases_of(study, chart)]


def _final(case: Case, rule: str, rng: np.random.Generator) -> Final:
    if not case.why:
        how = "mean" if len(case.sides) > 1 else "one reader"
        return _made(case, case.sides or _only(case.third), how, rng)
    if case.third is None:
        return Final(case=case, sides=case.sides, rule=rule, consensus=None)
    if rule == "adjudicator":
        return _made(case, (case.third,), rule, rng)
    return _made(case, (*case.sides, case.third), rule, rng)


def _only(side: Side | None) -> tuple[Side, ...]:
    return () if side is None else (side,)


def _made(case: Case, sides: Sequence[Side], rule: str, rng: np.random.Generator) -> Final:
    seen = [one.seen for one in sides]
    if rule == "median":
        found = median_of_readers(seen, unit=case.unit, rng=rng)
    else:
        found = mean_of_readers(seen, unit=case.unit)
    [row, *more] = [row for side in sides for row in side.rows]
    if not more and row.low is not None and row.high is not None:
        # one row keeps the interval that it was measured with
        own = StatedValue(value=row.value, u=row.u, low=row.low, high=row.high, unit=row.unit)
        found = Consensus(estimate=own, shared=found.shared, spread=None, readers=1)
    return Final(case=case, sides=tuple(sides), rule=rule, consensus=found)


def final_row(final: Final, study: Study, common: Mapping[str, object]) -> Row:
    """Return a final value as a row; what readers share stands in it as in the table."""
    found, rows = final.consensus, [row for side in final.sides for row in side.rows]
    assert found is not None
    spoken = dict.fromkeys(text for row in rows for text in row.warnings.split("; ") if text)
    notes = [NOT_IN] if found.readers > 1 else []
    return {
        **common,
        "study": study.loop(final.case.loop).case,
        "loop": final.case.label,
        "modality": rows[0].modality,
        **{name: _same(getattr(row, name) for row in rows) for name in _ANGLES},
        "moment": final.case.moment,
        "quantity": final.case.quantity,
        "reader": "+".join(side.reader for side in final.sides),
        "value": found.estimate.value,
        "unit": final.case.unit,
        "u": found.estimate.u,
        "low": found.estimate.low,
        "high": found.estimate.high,
        "coverage": 0.95,
        "rule": final.rule,
        "readers": found.readers,
        "reader_sd": found.spread,
        **_shared_cells(found),
        "presentations": " ".join(side.code for side in final.sides),
        "apart": final.case.why,
        "warnings": "; ".join((*spoken, *notes)),
    }


_ANGLES = ("primary_deg", "secondary_deg", "view_deg")


def _same(cells: Iterable[object]) -> object:
    found = set(cells)
    return found.pop() if len(found) == 1 else None


def _shared_cells(found: Consensus) -> dict[str, object]:
    """Return ids and shares of what is shared; of several of one kind the largest is named."""
    cells: dict[str, object] = {}
    variance = found.estimate.u**2
    for column, share, kind in _SHARES:
        parts = {
            name.removeprefix(f"{kind}:"): part
            for name, part in found.shared.items()
            if name.startswith(f"{kind}:")
        }
        largest = max(parts, key=lambda name: abs(parts[name]), default=None)
        cells[column] = largest
        cells[share] = parts[largest] ** 2 / variance if largest and variance else None
    return cells
