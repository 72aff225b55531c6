"""What is wrong with the scale and the timing that a header states, each with its reason."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

from annot.calibration.allowances import REFERENCE_OFF_ISOCENTRE_MM, SOURCE_TO_ISOCENTRE_MM
from annot.calibration.projection_geometry import RefusedSpacing, StoredSpacing, spacing_variants
from annot.loops import UltrasoundRegion, XrayView
from annot.loops.attributes import PIXEL_SIDE_MM, is_pixel_side
from annot.loops.header_glance import HeaderGlance, Pair
from annot.loops.timing import StatedTiming, frame_times

NO_SCALE, CONTRADICTION, IMPLAUSIBLE = "no scale", "contradiction", "implausible"
TIMING, UNREADABLE = "timing", "unreadable"
KINDS = (NO_SCALE, CONTRADICTION, IMPLAUSIBLE, TIMING, UNREADABLE)

# usual ranges of angiography and echo: common practice, no source
SOURCE_TO_DETECTOR_MM = (700.0, 1500.0)
SOURCE_TO_PATIENT_MM = (400.0, 1000.0)
XRAY_MM_PER_PX = (0.05, 0.7)
ULTRASOUND_MM_PER_PX = (0.02, 1.0)
# a fiducial's spacing is true at that object's depth, the others' at the isocentre
FIDUCIAL_DEPTH_REL = REFERENCE_OFF_ISOCENTRE_MM.value / SOURCE_TO_ISOCENTRE_MM.value
OBLONG = 1.25  # a pixel this much longer than wide is rather a mistake
SAME_MAGNIFICATION = 0.02  # as the reading of a single header has it
CALIBRATED = frozenset({"GEOMETRY", "FIDUCIAL"})
RATE_ROUNDED = 0.5  # CineRate is a whole number
RATE_REL = 0.02


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that is wrong with a header: its kind and the reason, in words."""

    kind: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class HeaderVerdict:
    """The scale that a header gives by default (row, mm per pixel) and what is wrong with it."""

    mm_per_px: float | None
    findings: tuple[Finding, ...]


def verdict_of(seen: HeaderGlance) -> HeaderVerdict:
    """Judge a header by what a glance at it shows."""
    findings = [Finding(IMPLAUSIBLE, f"{name} is not what belongs there") for name in seen.odd]
    scale: float | None = None
    if seen.modality in {"XA", "RF"}:
        view, faults = _view(seen)
        scale, more = _of_projection(view)
        findings += [*faults, *more]
    elif seen.modality == "US":
        scale, more = _of_regions(seen)
        findings += more
    else:
        words = f"a {seen.modality or 'nameless'} picture's header gives no size in the patient"
        findings.append(Finding(NO_SCALE, words))
    if seen.frames > 1:
        findings += _of_timing(seen.timing)
    return HeaderVerdict(mm_per_px=scale, findings=tuple(findings))


def _view(seen: HeaderGlance) -> tuple[XrayView, list[Finding]]:
    """Return the view that the usable attributes make, and those that are not usable."""
    faults: list[Finding] = []
    view = XrayView(
        imager_pixel_spacing_mm=_side("ImagerPixelSpacing", seen.imager_spacing_mm, faults),
        pixel_spacing_mm=_side("PixelSpacing", seen.spacing_mm, faults),
        calibration_type=seen.calibration_type if seen.calibration_type in CALIBRATED else None,
        source_to_detector_mm=_distance(
            "DistanceSourceToDetector", seen.source_to_detector_mm, SOURCE_TO_DETECTOR_MM, faults
        ),
        source_to_patient_mm=_distance(
            "DistanceSourceToPatient", seen.source_to_patient_mm, SOURCE_TO_PATIENT_MM, faults
        ),
        magnification_factor=seen.magnification if (seen.magnification or 0) > 0 else None,
    )
    return view, faults


def _side(name: str, pair: Pair | None, faults: list[Finding]) -> Pair | None:
    if pair is None:
        return None
    if not all(map(is_pixel_side, pair)):
        least, most = PIXEL_SIDE_MM
        words = f"{name} is {pair[0]:g}\\{pair[1]:g}, no pixel of {least:g} to {most:g} mm"
        faults.append(Finding(IMPLAUSIBLE, words))
        return None
    if max(pair) > OBLONG * min(pair):
        words = f"{name} is {pair[0]:g}\\{pair[1]:g}: pixels are rarely so far from square"
        faults.append(Finding(IMPLAUSIBLE, words))
    return pair


def _distance(name: str, value: float | None, usual: Pair, faults: list[Finding]) -> float | None:
    if value is None:
        return None
    if usual[0] <= value <= usual[1]:
        return value
    words = f"{name} is {value:g} mm, outside the usual {usual[0]:g} to {usual[1]:g} mm"
    for factor, unit in ((10, "cm"), (1000, "m")):
        if usual[0] <= value * factor <= usual[1]:
            words += f" (it would fit as {unit})"
    faults.append(Finding(IMPLAUSIBLE, words))
    return value if value > 0 else None


def _of_projection(view: XrayView) -> tuple[float | None, list[Finding]]:
    found = list(_distance_contradictions(view))
    variants = spacing_variants(view)
    spacings = [one for one in variants if isinstance(one, StoredSpacing)]
    for first, second in combinations(spacings, 2):
        if {first.name, second.name} == {"isocentre", "magnification"}:
            continue  # told by the distances already
        apart = abs(first.mm_per_px[0] / second.mm_per_px[0] - 1)
        # half-widths of what either may be wrong by, added: the most that both allow together
        allowed = first.allowance.value + second.allowance.value
        if "fiducial" in {first.name, second.name}:
            allowed += FIDUCIAL_DEPTH_REL
        if apart > allowed:
            words = (
                f"{first.mm_per_px[0]:.4g} mm/px ({first.basis}) against "
                f"{second.mm_per_px[0]:.4g} ({second.basis}), {100 * apart:.0f} % apart"
            )
            found.append(Finding(CONTRADICTION, words))
    if not spacings:
        refused = [one for one in variants if isinstance(one, RefusedSpacing)]
        # what the file states itself explains more than what could have been computed
        first_reason = min(refused, key=lambda one: one.stated_mm is None).reason
        return None, [*found, Finding(NO_SCALE, first_reason)]
    best = spacings[0].mm_per_px[0]
    if not XRAY_MM_PER_PX[0] <= best <= XRAY_MM_PER_PX[1]:
        found.append(_unlikely(best, XRAY_MM_PER_PX, spacings[0].basis))
    return best, found


def _unlikely(size: float, usual: Pair, basis: str) -> Finding:
    words = f"{size:.4g} mm/px ({basis}) is outside the usual {usual[0]:g} to {usual[1]:g}"
    return Finding(IMPLAUSIBLE, words)


def _distance_contradictions(view: XrayView) -> Iterator[Finding]:
    far, near = view.source_to_detector_mm, view.source_to_patient_mm
    if far is None or near is None:
        return
    if near >= far:
        words = f"the patient at {near:g} mm would lie behind the detector at {far:g} mm"
        yield Finding(CONTRADICTION, words)
        return
    stated = view.magnification_factor
    if stated is not None and abs(stated * near / far - 1) > SAME_MAGNIFICATION:
        yield Finding(
            CONTRADICTION,
            f"the stored magnification {stated:g} is not that of the distances, {far / near:.4g}",
        )


def _of_regions(seen: HeaderGlance) -> tuple[float | None, list[Finding]]:
    if seen.regions is None:
        return None, [Finding(UNREADABLE, "the ultrasound regions cannot be read")]
    if not seen.regions:
        return None, [Finding(NO_SCALE, "the file has no ultrasound regions")]
    found: list[Finding] = []
    lengths = []
    for number, region in enumerate(seen.regions, start=1):
        place = f"region {number}"
        if not region.inside(seen.rows, seen.columns):
            words = f"{place} leaves the image of {seen.columns} × {seen.rows}"
            found.append(Finding(CONTRADICTION, words))
        if region.is_2d_length:
            lengths.append(region)
            found += _of_region(place, region)
    found += _overlaps(lengths)
    if not lengths:
        return None, [*found, Finding(NO_SCALE, "no ultrasound region gives lengths in two ways")]
    return lengths[0].mm_per_px[0], found


def _of_region(place: str, region: UltrasoundRegion) -> Iterator[Finding]:
    row, column = region.mm_per_px
    least, most = ULTRASOUND_MM_PER_PX
    for size in dict.fromkeys((row, column)):
        if not least <= size <= most:
            yield _unlikely(size, ULTRASOUND_MM_PER_PX, place)
    if max(row, column) > OBLONG * min(row, column):
        words = f"{place}'s pixels are {row:.4g} × {column:.4g} mm, far from square"
        yield Finding(IMPLAUSIBLE, words)


def _overlaps(regions: list[UltrasoundRegion]) -> Iterator[Finding]:
    for one, two in combinations(regions, 2):
        apart = (
            one.max_x1 < two.min_x0
            or two.max_x1 < one.min_x0
            or one.max_y1 < two.min_y0
            or two.max_y1 < one.min_y0
        )
        if not apart and any(
            abs(a / b - 1) > 0.001 for a, b in zip(one.mm_per_px, two.mm_per_px, strict=True)
        ):
            yield Finding(CONTRADICTION, "two regions overlap and give different pixel sizes")


def _of_timing(stated: StatedTiming) -> Iterator[Finding]:
    times, sentences = frame_times(stated)
    for sentence in sentences:
        # a rate in place of a time is usual, not wrong
        if not sentence.startswith("Frame times come from"):
            yield Finding(TIMING, sentence.rstrip("."))
    if times.times_ms is None:
        yield Finding(TIMING, "nothing states how fast the loop was taken")
        return
    span = times.times_ms[-1]
    if span <= 0 or times.source in {"CineRate", "RecommendedDisplayFrameRate"}:
        return
    rate = 1000 * (len(times.times_ms) - 1) / span
    # the display rate may be slower on purpose; the acquired rate may not differ
    if stated.cine_rate and abs(stated.cine_rate - rate) > RATE_ROUNDED + RATE_REL * rate:
        words = f"{times.source} gives {rate:.3g} frames per second, CineRate {stated.cine_rate:g}"
        yield Finding(TIMING, words)


__all__ = ["KINDS", "Finding", "HeaderVerdict", "verdict_of"]
