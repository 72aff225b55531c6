"""The true size of a reference object as a read file states it, with what nobody stated."""

from dataclasses import dataclass

from annot.calibration import KnownSize, french_to_mm
from annot.calibration.allowances import (
    CATHETER_TOLERANCE,
    LABEL_STEP,
    MARKER_SPACING_REL,
    PLATE_SPACING_REL,
    SEGMENT_TOLERANCE_REL,
    SHEATH_LABEL_STEP,
    SPHERE_TOLERANCE,
    Allowance,
)
from annot.reads.scale_parts import (
    CatheterPart,
    GridPart,
    MarkersPart,
    ObjectPart,
    SegmentPart,
    SpherePart,
    StepPart,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Plain:
    """A size that is one measured figure: its name, and its tolerance unless stated."""

    name: str
    default: Allowance

    def tolerance_mm(self, size_mm: float) -> float:
        """Return the default tolerance; one without a unit is a fraction of the size."""
        return self.default.value * (size_mm if self.default.unit == "1" else 1.0)


PLAIN = {
    "sphere": _Plain(name="sphere", default=SPHERE_TOLERANCE),
    "segment": _Plain(name="length", default=SEGMENT_TOLERANCE_REL),
    "markers": _Plain(name="marker spacing", default=MARKER_SPACING_REL),
    "grid": _Plain(name="grid spacing", default=PLATE_SPACING_REL),
    "step": _Plain(name="step spacing", default=PLATE_SPACING_REL),
}


def known_size(part: ObjectPart) -> KnownSize:
    """Return the size of an object's part."""
    match part:
        case CatheterPart():
            return _tube_size(part)
        case SpherePart():
            return _plain_size(part, part.diameter_mm)
        case SegmentPart():
            return _plain_size(part, part.length_mm)
        case MarkersPart() | GridPart() | StepPart():
            return _plain_size(part, part.spacing_mm)


def _plain_size(part: ObjectPart, size_mm: float) -> KnownSize:
    """Return a measured size; a tolerance that nobody stated is remembered as assumed."""
    plain = PLAIN[part.kind]
    return KnownSize(
        size_mm=size_mm,
        tolerance_mm=part.tolerance_mm or plain.tolerance_mm(size_mm),
        assumed="" if part.tolerance_mm else plain.default.source,
        source="measured",
        name=plain.name,
        object_name=part.object.strip(),
    )


def _tube_size(part: CatheterPart) -> KnownSize:
    """Return the size; a catheter's without a tolerance is its label's, and is rounded so."""
    size = part.size_mm if part.size_fr is None else french_to_mm(part.size_fr)
    assert size is not None  # the part's own check: one of the two is given
    name = part.device if part.surface == "outer" else f"{part.device} lumen"
    measured = part.tolerance_mm is not None or part.size_source == "measured"
    if part.size_source == "label" or not measured:
        sheath = part.device == "sheath"
        return KnownSize(
            size_mm=size,
            tolerance_mm=(SHEATH_LABEL_STEP if sheath else LABEL_STEP).value / 2,
            source="label",
            name=name,
            size_fr=part.size_fr,
            object_name=part.object.strip(),
            rounded="down" if sheath else "up",
        )
    return KnownSize(
        size_mm=size,
        tolerance_mm=part.tolerance_mm or CATHETER_TOLERANCE.value,
        assumed="" if part.tolerance_mm else CATHETER_TOLERANCE.source,
        source="measured",
        name=name,
        size_fr=part.size_fr,
        object_name=part.object.strip(),
    )
