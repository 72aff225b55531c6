"""What a person enters to scale a loop, and the request it makes. No Qt."""

from dataclasses import dataclass
from typing import Literal

from annot.calibration import (
    BorrowedRequest,
    GivenRequest,
    HeaderRequest,
    ObjectRequest,
    Placing,
    ScaleRequest,
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
        *("size", "tolerance_mm", "device", "surface", "other_mm", "filling", "named"),
        "depth_offset_mm",
    ),
    "markers": ("size", "tolerance_mm", "count", "tilt_deg", "named", "depth_offset_mm"),
    "sphere": ("size", "tolerance_mm", "named", "depth_offset_mm"),
    "grid": ("size", "tolerance_mm", "tilt_deg", "named", "depth_offset_mm"),
    "step": ("size", "tolerance_mm", "count", "tilt_deg", "named", "depth_offset_mm"),
    "segment": ("size", "tolerance_mm", "u_end_px", "tilt_deg", "named", "depth_offset_mm"),
    "header": ("u_percent", "depth_offset_mm"),
    "given": ("mm_per_px", "u_percent"),
    "borrowed": ("lender", "overrule"),
}
SIZE_FIELD = {
    "markers": "spacing_mm",
    "sphere": "diameter_mm",
    "grid": "spacing_mm",
    "step": "spacing_mm",
    "segment": "length_mm",
}
COUNT_FIELD = {"markers": "bands", "step": "edges"}


@dataclass(frozen=True, slots=True, kw_only=True)
class ScaleEntry:
    """The entries of the scale form; None is what nobody stated.

    `size` is in mm, or in Fr where `french`; `u_percent` is a relative standard uncertainty.
    """

    kind: ScaleKind = "catheter"
    size: float | None = None
    french: bool = False
    tolerance_mm: float | None = None
    device: str = "catheter"
    surface: str = "outer"
    other_mm: float | None = None
    filling: str = "unknown"
    u_end_px: float | None = None
    depth_offset_mm: float | None = None
    tilt_deg: float | None = None
    count: float | None = None
    named: str = ""
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
        return BorrowedRequest(file=entry.lender, placing=Placing(overrule=entry.overrule.strip()))
    return parse_request(_fields(entry, trace), name="Scale")


def _fields(entry: ScaleEntry, trace: Trace | None) -> dict[str, object]:
    fields: dict[str, object] = {"kind": entry.kind}
    u_rel = None if entry.u_percent is None else entry.u_percent / 100
    if entry.kind == "header":
        return fields | _stated(u_rel=u_rel, depth_offset_mm=entry.depth_offset_mm)
    if entry.kind == "given":
        if entry.mm_per_px is None or u_rel is None:
            raise InputError("State the mm per pixel and its relative standard uncertainty.")
        return fields | {"mm_per_px": entry.mm_per_px, "u_rel": u_rel}
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
    fields |= _stated(tolerance_mm=entry.tolerance_mm, depth_offset_mm=entry.depth_offset_mm)
    if entry.named.strip():
        fields["object"] = entry.named.strip()
    if entry.kind == "catheter":
        fields["size_fr" if entry.french else "size_mm"] = entry.size
        fields |= {"surface": entry.surface, "filling": entry.filling, "device": entry.device}
        return fields | _stated(other_mm=entry.other_mm)
    fields[SIZE_FIELD[entry.kind]] = entry.size
    if entry.kind == "segment":
        fields |= _stated(u_end_px=entry.u_end_px)
    if entry.kind in COUNT_FIELD:
        fields |= _stated(**{COUNT_FIELD[entry.kind]: entry.count})
    if entry.kind != "sphere":
        fields |= _stated(tilt_deg=entry.tilt_deg)
    return fields


def _stated(**values: float | None) -> dict[str, object]:
    return {name: value for name, value in values.items() if value is not None}


def entry_of(request: ScaleRequest) -> ScaleEntry:
    """Return the entry that makes a request, for showing it in the form."""
    match request:
        case BorrowedRequest():
            return ScaleEntry(
                kind="borrowed", lender=request.file, overrule=request.placing.overrule
            )
        case HeaderRequest():
            return ScaleEntry(
                kind="header",
                u_percent=_percent(request.u_rel),
                depth_offset_mm=request.placing.depth_offset_mm,
            )
        case GivenRequest():
            return ScaleEntry(
                kind="given", mm_per_px=request.mm_per_px[0], u_percent=_percent(request.u_rel)
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
        u_end_px=request.u_end_px,
        depth_offset_mm=request.placing.depth_offset_mm,
        tilt_deg=request.placing.tilt_deg,
        count=request.count,
        named=size.object_name,
    )


def _is_stated(request: ObjectRequest) -> bool:
    """Return whether a tolerance is to be shown; a catheter's measured size has no other sign."""
    size = request.size
    return size.source == "measured" and (not size.assumed or request.kind == "catheter")


def _percent(u_rel: float | None) -> float | None:
    return None if u_rel is None else 100 * u_rel
