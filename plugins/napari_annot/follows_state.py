"""What follows from the grid, in words: cross-sections, chart rows, what is owed. No Qt."""

from dataclasses import dataclass

from annot.tasks.findings import Findings
from annot.tasks.section import CrossSection, StatedValue
from annot.tasks.sizes import SizeAnswer, shown_share
from annot.uncertainty import decimals_for
from annot.vocabulary import MEASURANDS

DIAMETERS = {
    "largest": "largest",
    "smallest": "smallest",
    "area_diameter": "by area",
    "perimeter_diameter": "by perimeter",
}
MODALITIES = {"US": "echo", "XA": "X-ray"}
LEAST_SHARE = 0.005
NO_ADVICE = (
    "No recommendation: how well the measurements support each row of your chart. Whether it "
    "applies is for its owner and the treating physician."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """A value with its standard uncertainty, and below it its interval."""

    value: str = "–"
    interval: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SectionLine:
    """One cross-section: its diameters, or why they cannot be known."""

    title: str
    diameters: tuple[Pair, ...] = ()
    why_not: str = ""
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class SizeLine:
    """One row of the chart: how probable, how much it would be compressed, depth to spare."""

    label: str
    probability: str
    compression: Pair
    depth: Pair
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class SizeBlock:
    """One cross-section against the chart."""

    title: str
    lines: tuple[SizeLine, ...]
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Follows:
    """Everything below the grid."""

    sections: tuple[SectionLine, ...] = ()
    sizes: tuple[SizeBlock, ...] = ()
    why_no_sizes: str = ""
    owed: tuple[str, ...] = ()
    current: bool = True


def follows_of(findings: Findings | None, *, current: bool) -> Follows:
    """Return what is shown below the grid; `current` is whether it follows from what stands now."""
    if findings is None:
        return Follows(current=current)
    return Follows(
        sections=tuple(_section_line(one) for one in findings.sections),
        sizes=tuple(_size_block(one) for one in findings.sizes),
        why_no_sizes=findings.why_no_sizes,
        owed=findings.hand_over.sentences(),
        current=current,
    )


def section_title(section: CrossSection) -> str:
    """Return for instance 'Ostium width, echo'."""
    name = section.name
    modality = MODALITIES.get(name.modality, name.modality)
    moment = f", {name.moment}" if name.moment else ""
    return f"{MEASURANDS[name.quantity].title}, {modality}{moment}"


def _section_line(section: CrossSection) -> SectionLine:
    title = section_title(section)
    if section.fit is None:
        *others, why = section.warnings
        return SectionLine(title=title, why_not=why, warnings=tuple(others))
    found = tuple(_pair(section.estimates.get(name)) for name in DIAMETERS)
    return SectionLine(title=title, diameters=found, warnings=section.warnings)


def _size_block(answer: SizeAnswer) -> SizeBlock:
    basis = answer.basis
    width = _pair(basis.width)
    return SizeBlock(
        title=(
            f"{section_title(basis.section)}, {basis.basis} diameter {width.value} mm "
            f"({width.interval})"
        ),
        lines=tuple(
            SizeLine(
                label=one.label,
                probability=shown_share(one.probability),
                compression=_pair(one.compression_percent),
                depth=_pair(one.depth_margin_mm),
                warnings=one.warnings,
            )
            for one in answer.matches
            if not one.outside or one.probability >= LEAST_SHARE
        ),
        warnings=(*basis.section.warnings, *basis.warnings),
    )


def _pair(found: StatedValue | None) -> Pair:
    if found is None:
        return Pair()
    places = decimals_for(found.u)
    return Pair(
        value=f"{found.value:.{places}f} ± {found.u:.{places}f}",
        interval=f"{found.low:.{places}f} to {found.high:.{places}f}",
    )
