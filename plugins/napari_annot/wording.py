"""Numbers and states in words, always with what makes them trustworthy or not."""

from collections.abc import Sequence

from annot.calibration import NoScale, PixelScale, ScaleCandidate, candidate_scales
from annot.measurement import Caliper
from annot.measurement.edge_fit import NoEdge
from annot.tasks.calibrate import ScaleComparison
from annot.tasks.open import Loop, LoopHeader, scale_words
from annot.tasks.refine import Proposal
from annot.uncertainty import Estimate, decimals_for, expand, value_with_u
from napari_annot.assisted import Carried, Ghost
from napari_annot.standings import Standing

NO_SCALE_SIGN = "no scale"
PROVISIONAL, PROVISIONAL_SIGN = "provisional", "≈ "
UNCONFIRMED, UNCONFIRMED_SIGN = "not confirmed", "◇ "
UNIT_SIGNS = {"mm2": "mm²", "px2": "px²", "deg": "°"}


def value_words(found: Estimate, unit: str) -> str:
    """Return for instance '25.25 ± 0.63 mm', the value and its standard uncertainty."""
    return f"{value_with_u(found.value, found.u)} {UNIT_SIGNS.get(unit, unit)}"


def interval_words(found: Estimate) -> str:
    """Return for instance '24.01 to 26.49', with as many decimals as the value has."""
    places = decimals_for(found.u)
    interval = found.interval
    return f"{interval.low:.{places}f} to {interval.high:.{places}f}"


def frame_words(frame: int) -> str:
    """Return a frame counted from 0, with DICOM's count from 1 in brackets."""
    return f"{frame} ({frame + 1})"


def view_words(header: LoopHeader, frame: int, stated_deg: float | None) -> str:
    """Return the view: positioner angles for X-ray, the stated plane for ultrasound."""
    if header.xray is not None:
        primary, secondary = header.xray.angles_at(frame)
        parts = (_side(primary, "LAO", "RAO"), _side(secondary, "CRA", "CAU"))
        return " ".join(part for part in parts if part) or "–"
    return "–" if stated_deg is None else f"{stated_deg:g}°"


def _side(angle_deg: float | None, positive: str, negative: str) -> str:
    if angle_deg is None:
        return ""
    return f"{positive if angle_deg >= 0 else negative} {abs(angle_deg):.0f}°"


def short_scale_words(standing: Standing, loop: Loop, frame: int = 0) -> str:
    """Return a scale's state for a list of loops."""
    if standing.state == "none":
        return "none yet"
    if standing.state == "fitting":
        return "fitting …"
    if standing.state == "refused":
        return "refused"
    scale = single_scale(standing, loop, frame)
    if scale is None:
        return "by place" if standing.by_place else "by frame"
    row, column = f"{scale.row.value:.4g}", f"{scale.column.value:.4g}"
    return f"{row} mm/px" if row == column else f"{row} × {column} mm/px"


def single_scale(standing: Standing, loop: Loop, frame: int) -> PixelScale | None:
    """Return the one scale of a frame, None where there is none or it depends on the place."""
    if standing.state != "made":
        return None
    found = standing.on(loop, frame)
    return None if isinstance(found, NoScale) else found.scale


def scale_headline(standing: Standing, loop: Loop, frame: int) -> str:
    """Return the scale with its uncertainty, or why there is none."""
    if standing.state == "none":
        return "No scale yet: lengths are in pixels."
    if standing.state == "fitting":
        return "Fitting the object …"
    found = standing.on(loop, frame)
    if isinstance(found, NoScale):
        return _no_scale_headline(standing, loop, found)
    scale = found.scale
    same = scale.row == scale.column
    column = "" if same else f" down, {_mm_per_px(scale.column.value, scale.column.u)} across"
    percent = f"u {100 * scale.u_rel:.1f} %"
    return f"Scale {_mm_per_px(scale.row.value, scale.row.u)}{column} ({percent})"


def _no_scale_headline(standing: Standing, loop: Loop, found: NoScale) -> str:
    if standing.state == "refused":
        return f"No scale: {found.reason}."
    if standing.by_place:
        return f"Scale by place: {scale_words(loop.header)}."
    return f"No scale on this frame: {found.reason}."


def _mm_per_px(value: float, u: float) -> str:
    return f"{value_with_u(value, u)} mm/px"


def caption_scale_words(standing: Standing, loop: Loop, frame: int) -> str:
    """Return the scale for the picture's caption, with its uncertainty or what is amiss."""
    if standing.state != "made":
        return {
            "none": "no scale: lengths in px",
            "fitting": "fitting the scale …",
            "refused": "scale refused: lengths in px",
        }[standing.state]
    scale = single_scale(standing, loop, frame)
    if scale is None:
        return "scale by place" if standing.by_place else "no scale on this frame: lengths in px"
    return f"{short_scale_words(standing, loop, frame)}, u {100 * scale.u_rel:.1f} %"


def scale_details(standing: Standing, loop: Loop, frame: int) -> str:
    """Return interval and basis of a scale."""
    scale = single_scale(standing, loop, frame)
    if scale is None:
        return ""
    interval = expand(scale.row)
    places = decimals_for(scale.row.u)
    seen = standing.made.seen
    pieces = (
        f"; {seen.sections_used} sections used, {seen.sections_rejected} set aside"
        if seen and seen.sections_used + seen.sections_rejected > 1
        else ""
    )
    return (
        f"{100 * interval.probability:.0f} % interval "
        f"{interval.low:.{places}f} to {interval.high:.{places}f} mm/px. {_sentence(scale.basis)}"
        f"{pieces}."
    )


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}".rstrip(".")


def scale_warnings(standing: Standing, loop: Loop, frame: int) -> tuple[str, ...]:
    """Return what a reader must know of a scale."""
    scale = single_scale(standing, loop, frame)
    if scale is not None:
        return scale.warnings
    return standing.scale.warnings if isinstance(standing.scale, NoScale) else ()


def other_scales(standing: Standing, loop: Loop, frame: int) -> tuple[str, ...]:
    """Return every other scale of a frame beside the one in use, with what their E_n says.

    Without a scale in use these are the scales that the header offers; none is used by itself.
    """
    found = standing.on(loop, frame) if standing.state == "made" else None
    if found is None or isinstance(found, NoScale):
        return tuple(_offered(one) for one in candidate_scales(loop.header, frame=frame))
    refused = tuple(_offered(one) for one in found.refused)
    return (*(_compared(one) for one in found.made.others), *refused)


def _compared(other: ScaleComparison) -> str:
    sign = {True: "=", False: "≠", None: "?"}[other.score.agrees]
    e_n = "without limit" if other.score.e_n is None else f"{other.score.e_n:+.2f}"
    return (
        f"{sign} {_mm_per_px(other.scale.row.value, other.scale.row.u)} ({other.scale.basis}): "
        f"the one in use is {other.percent:+.1f} % off it, E_n {e_n}: {other.verdict}"
    )


def _offered(candidate: ScaleCandidate) -> str:
    scale = candidate.scale
    if isinstance(scale, NoScale):
        return f"✕ no scale from {candidate.basis}: {scale.reason}"
    return f"offered: {_mm_per_px(scale.row.value, scale.row.u)} ({candidate.basis}), not in use"


def joined(sentences: Sequence[str]) -> str:
    """Return several remarks as a list of lines."""
    return "\n".join(f"• {_sentence(one)}" for one in sentences)


def ghost_words(ghost: Ghost, *, millimetres: bool = True) -> str:
    """Return what the picture proposes for each end, beside the proposed line."""
    count = len(ghost.caliper.points)
    lines = [_proposal_words(one, count, millimetres=millimetres) for one in ghost.proposals]
    return "\n".join(["Proposed ends, not taken", *lines])


def _proposal_words(proposal: Proposal, points: int, *, millimetres: bool) -> str:
    end = "first" if proposal.end == 0 and points > 1 else "last"
    found = proposal.found
    if isinstance(found, NoEdge):
        return f"{end}: stays, {found.reason}"
    shift_mm = proposal.shift_mm if millimetres else None
    mm = "" if shift_mm is None else f" ({shift_mm:+.2f} mm)"
    return (
        f"{end}: {found.shift_px:+.2f} px{mm}, u {found.u_px:.2f} px, "
        f"{100 * found.within_a_pixel:.0f} % within 1 px"
    )


def origin_marks(caliper: Caliper) -> tuple[str, ...]:
    """Return a line on where a caliper comes from, unless it was drawn by hand."""
    if not caliper.confirmed:
        return (f"{UNCONFIRMED_SIGN}{caliper.origin}, {UNCONFIRMED}",)
    if caliper.origin == "derived":
        return ("from landmarks",)
    return () if caliper.origin == "drawn" else (f"{caliper.origin}, confirmed",)


def carrying_words(carried: Carried | None) -> str:
    """Return how far carrying has come, empty if nothing is carried."""
    if carried is None:
        return ""
    return f"Carrying: {carried.looked} of {carried.frames} frames …"


def speed_words(speed: float) -> str:
    """Return for instance '× 0.5'."""
    return f"× {speed:g}"


def rate_words(
    *, stored_per_s: float, stated: bool, shown_per_s: float | None, stride: int, speed: float
) -> str:
    """Return the stored rate, and while playing the shown one where it is less."""
    kept = "stored" if stated else "assumed, none stored"
    words = f"{stored_per_s:.3g} frames/s {kept}"
    if shown_per_s is None:
        return words
    if stride == 1:
        return f"{words}; shows all, at {shown_per_s:.0f} frames/s"
    every = {2: "2nd", 3: "3rd"}.get(stride, f"{stride}th")
    pace = "at true speed" if speed == 1 else f"at × {speed:g}"
    return f"{words}; shows every {every}, {shown_per_s:.0f} frames/s, {pace}"
