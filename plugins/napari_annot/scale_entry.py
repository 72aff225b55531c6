"""What a person enters to scale a loop, and the request it makes. No Qt."""

from dataclasses import dataclass
from typing import Literal, TypedDict

from annot.calibration import (
    BorrowedRequest,
    DeviceOffer,
    GivenRequest,
    HeaderRequest,
    ObjectRequest,
    Placing,
    ScaleRequest,
    all_depth_presets,
)
from annot.errors import InputError
from annot.reads import parse_request
from napari_annot.tools import OBJECT_TOOLS, Trace

ScaleKind = Literal[
    "catheter", "markers", "sphere", "grid", "step", "segment", "header", "given", "borrowed"
]
KIND_TITLES: dict[ScaleKind, str] = {
    "catheter": "Catheter",
    "markers": "Marker bands",
    "sphere": "Sphere",
    "grid": "Grid",
    "step": "Step plate",
    "segment": "Known length",
    "header": "The file's own header",
    "given": "A given number",
    "borrowed": "Another loop's scale",
}
FIELDS: dict[ScaleKind, tuple[str, ...]] = {
    "catheter": (
        *("size", "tolerance_mm", "device", "surface", "other_mm", "filling", "filling_percent"),
        *("named", "material", "depth", "overrule"),
    ),
    "markers": (
        "size",
        "tolerance_mm",
        "count",
        "tilt_deg",
        "named",
        "material",
        "depth",
        "overrule",
    ),
    "sphere": ("size", "tolerance_mm", "named", "material", "depth", "overrule"),
    "grid": ("size", "tolerance_mm", "tilt_deg", "named", "material", "depth", "overrule"),
    "step": ("size", "tolerance_mm", "count", "tilt_deg", "named", "material", "depth", "overrule"),
    "segment": (
        "size",
        "tolerance_mm",
        "u_end_px",
        "tilt_deg",
        "named",
        "material",
        "depth",
        "overrule",
    ),
    "header": ("u_percent", "depth", "overrule"),
    "given": ("mm_per_px", "u_percent", "overrule"),
    "borrowed": ("lender", "depth", "overrule"),
}
SIZE_FIELD = {
    "markers": "spacing_mm",
    "sphere": "diameter_mm",
    "grid": "spacing_mm",
    "step": "spacing_mm",
    "segment": "length_mm",
}
OFFSET, RANGE = "offset", "range"
DEPTH_TITLES = {
    OFFSET: "± mm",
    RANGE: "from … to … mm",
    **{name: preset.meaning for name, preset in all_depth_presets().items()},
}
COUNT_FIELD = {"markers": "bands", "step": "edges"}


@dataclass(frozen=True, slots=True, kw_only=True)
class ScaleEntry:
    """The entries of the scale form; None is what nobody stated.

    `size` is in mm, or in Fr where `french`; `u_percent` is a relative standard uncertainty.
    `depth_by` says which of the depth's entries counts: a half-range, a range, or a preset's name.
    """

    kind: ScaleKind = "catheter"
    size: float | None = None
    french: bool = False
    tolerance_mm: float | None = None
    device: str = "catheter"
    surface: str = "outer"
    other_mm: float | None = None
    filling: str = "unknown"
    filling_percent: float | None = None
    u_end_px: float | None = None
    depth_by: str = OFFSET
    depth_offset_mm: float | None = None
    depth_low_mm: float | None = None
    depth_high_mm: float | None = None
    tilt_deg: float | None = None
    count: float | None = None
    named: str = ""
    material: str = ""
    mm_per_px: float | None = None
    u_percent: float | None = None
    lender: str = ""
    overrule: str = ""


def request_of(entry: ScaleEntry, trace: Trace | None) -> ScaleRequest:
    """Return the request that an entry makes with a trace.

    Raises
    ------
    InputError
        If the size, the trace or another entry that the kind needs is missing.
    """
    if entry.kind == "borrowed":
        if not entry.lender:
            raise InputError("Choose the loop whose scale is to be used; it needs one of its own.")
        return BorrowedRequest(file=entry.lender, placing=_borrowed_placing(entry))
    return parse_request(_fields(entry, trace), name="Scale")


def _borrowed_placing(entry: ScaleEntry) -> Placing:
    low, high = entry.depth_low_mm, entry.depth_high_mm
    stated = _depth_fields(entry)
    return Placing(
        depth_offset_mm=entry.depth_offset_mm if "depth_offset_mm" in stated else None,
        depth_range_mm=None if low is None or high is None else (low, high),
        depth_preset=entry.depth_by if "depth_preset" in stated else None,
        overrule=entry.overrule.strip(),
    )


def _depth_fields(entry: ScaleEntry) -> dict[str, object]:
    """Return the one way in which the difference in depth is stated, none where it is not."""
    if entry.depth_by == OFFSET:
        return _stated(depth_offset_mm=entry.depth_offset_mm)
    if entry.depth_by != RANGE:
        return {"depth_preset": entry.depth_by}
    if entry.depth_low_mm is None or entry.depth_high_mm is None:
        raise InputError(
            "State both ends of the range of depth: how many mm nearer to the source than the "
            "object the anatomy lies, at least and at most (below 0: farther from it)."
        )
    return {"depth_range_mm": (entry.depth_low_mm, entry.depth_high_mm)}


def _fields(entry: ScaleEntry, trace: Trace | None) -> dict[str, object]:
    fields: dict[str, object] = {"kind": entry.kind}
    u_rel = None if entry.u_percent is None else entry.u_percent / 100
    if entry.kind == "header":
        return fields | _stated(u_rel=u_rel) | _depth_fields(entry) | _overrule(entry)
    if entry.kind == "given":
        if entry.mm_per_px is None or u_rel is None:
            raise InputError("State the mm per pixel and its relative standard uncertainty.")
        return fields | {"mm_per_px": entry.mm_per_px, "u_rel": u_rel} | _overrule(entry)
    return fields | _object_fields(entry, trace)


def _object_fields(entry: ScaleEntry, trace: Trace | None) -> dict[str, object]:
    title = OBJECT_TOOLS[entry.kind].title.lower()
    if entry.size is None:
        spaced = SIZE_FIELD.get(entry.kind) == "spacing_mm"
        raise InputError(
            f"State the spacing of the {title}." if spaced else f"State the {title}'s size."
        )
    if trace is None or trace.kind != entry.kind or not trace.looks:
        raise InputError(f"Trace the {title} on the picture.")
    readings = trace.readings()
    fields = dict(readings[0]) if len(readings) == 1 else {"readings": readings}
    fields |= _stated(tolerance_mm=entry.tolerance_mm) | _depth_fields(entry) | _overrule(entry)
    words = {"object": entry.named.strip(), "material": entry.material.strip()}
    fields |= {name: word for name, word in words.items() if word}
    if entry.kind == "catheter":
        fields["size_fr" if entry.french else "size_mm"] = entry.size
        fields |= {"surface": entry.surface, "filling": entry.filling, "device": entry.device}
        share = None if entry.filling_percent is None else entry.filling_percent / 100
        return fields | _stated(other_mm=entry.other_mm, filling_rel=share)
    fields[SIZE_FIELD[entry.kind]] = entry.size
    if entry.kind == "segment":
        fields |= _stated(u_end_px=entry.u_end_px)
    if entry.kind in COUNT_FIELD:
        fields |= _stated(**{COUNT_FIELD[entry.kind]: entry.count})
    if entry.kind != "sphere":
        fields |= _stated(tilt_deg=entry.tilt_deg)
    return fields


def _overrule(entry: ScaleEntry) -> dict[str, object]:
    return {"overrule": entry.overrule.strip()} if entry.overrule.strip() else {}


def _stated(**values: float | None) -> dict[str, object]:
    return {name: value for name, value in values.items() if value is not None}


def entry_of(request: ScaleRequest) -> ScaleEntry:
    """Return the entry that makes a request, for showing it in the form."""
    match request:
        case BorrowedRequest():
            return ScaleEntry(
                kind="borrowed", lender=request.file, **_placing_entry(request.placing)
            )
        case HeaderRequest():
            return ScaleEntry(
                kind="header",
                u_percent=_percent(request.u_rel),
                **_placing_entry(request.placing),
            )
        case GivenRequest():
            return ScaleEntry(
                kind="given",
                mm_per_px=request.mm_per_px[0],
                u_percent=_percent(request.u_rel),
                overrule=request.placing.overrule,
            )
        case _:
            return _object_entry(request)


def _object_entry(request: ObjectRequest) -> ScaleEntry:
    size = request.size
    return ScaleEntry(
        kind=request.kind,
        size=size.size_mm if size.size_fr is None else size.size_fr,
        french=size.size_fr is not None,
        tolerance_mm=size.tolerance_mm if _is_stated(request) else None,
        device=request.device,
        surface=request.surface,
        other_mm=request.other_mm,
        filling=request.filling,
        filling_percent=_percent(request.filling_rel),
        u_end_px=request.u_end_px,
        **_placing_entry(request.placing),
        tilt_deg=request.placing.tilt_deg,
        count=request.count,
        named=size.object_name,
        material=request.material,
    )


class _PlacingEntry(TypedDict):
    depth_by: str
    depth_offset_mm: float | None
    depth_low_mm: float | None
    depth_high_mm: float | None
    overrule: str


def _placing_entry(placing: Placing) -> _PlacingEntry:
    low, high = placing.depth_range_mm or (None, None)
    by = RANGE if placing.depth_range_mm is not None else OFFSET
    return {
        "depth_by": placing.depth_preset or by,
        "depth_offset_mm": placing.depth_offset_mm,
        "depth_low_mm": low,
        "depth_high_mm": high,
        "overrule": placing.overrule,
    }


def entry_of_offer(offer: DeviceOffer) -> ScaleEntry:
    """Return the entry that an object named by the header makes; it stays to be confirmed."""
    kinds: dict[str, ScaleKind] = {kind: kind for kind in KIND_TITLES}
    return ScaleEntry(kind=kinds[offer.kind], size=offer.size_mm)


def _is_stated(request: ObjectRequest) -> bool:
    """Return whether a tolerance is to be shown; a catheter's measured size has no other sign."""
    size = request.size
    return size.source == "measured" and (not size.assumed or request.kind == "catheter")


def _percent(u_rel: float | None) -> float | None:
    return None if u_rel is None else 100 * u_rel
