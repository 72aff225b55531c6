"""The columns of the sheet: which views are at hand, and which loops show them. No Qt."""

from collections.abc import Sequence
from dataclasses import dataclass

from annot.reads import LoopRead
from annot.tasks.open import Loop
from annot.vocabulary.protocol import Protocol, QuantityRule, View
from napari_annot import wording
from napari_annot.screen_state import Facts
from napari_annot.sheet_state import ViewColumn

NO_PLANE = "⚠ plane not stated"


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetView:
    """A view at hand: the protocol's, None where it knows none like that, and its loops."""

    view: View | None
    parts: tuple[LoopRead, ...]


def views_at_hand(facts: Facts, rules: Protocol) -> tuple[SheetView, ...]:
    """Return every view that a loop on the desk shows, the protocol's first and in its order."""
    left = list(facts.read.loops)
    found = []
    for view in _views(rules):
        parts = [one for one in left if _shows(one, facts.loops[one.file], view)]
        if parts:
            found.append(SheetView(view=view, parts=tuple(parts)))
            left = [one for one in left if one not in parts]
    return (*found, *(SheetView(view=None, parts=(one,)) for one in left))


def wants(rule: QuantityRule, view: SheetView, facts: Facts) -> bool:
    """Whether a rule asks for its quantity in a view at hand.

    Where it takes any view of a modality, it asks in each until one has been read.
    """
    if view.view is not None and view.view in rule.views:
        return True
    modality = facts.loops[view.parts[0].file].header.modality
    if not any(one.modality == modality and not _is_stated(one) for one in rule.views):
        return False
    elsewhere = (
        caliper.measurand.name == rule.quantity
        for part in facts.read.loops
        if part not in view.parts and facts.loops[part.file].header.modality == modality
        for caliper in part.calipers
    )
    return not any(elsewhere)


def absent_views(at_hand: Sequence[SheetView], rules: Protocol) -> tuple[str, ...]:
    """Return the views that required quantities are asked in and no loop shows."""
    required = [rule for rule in rules.quantities if rule.required]
    asked = dict.fromkeys(view for rule in required for view in rule.views)
    held = {one.view for one in at_hand}
    return tuple(view.title for view in asked if view not in held and _is_stated(view))


def column_of(view: SheetView, facts: Facts) -> ViewColumn:
    """Return what stands above a view's cells."""
    files = tuple(one.file for one in view.parts)
    part = view.parts[0]
    loop = facts.loops[part.file]
    echo = loop.header.modality == "US"
    plane = plane_of(part)
    angle = f"{plane:g}°" if echo and plane is not None else ""
    if not echo:
        angle = wording.view_words(loop.header, 0, None)
    several = f", {len(files)} loops" if len(files) > 1 else ""
    return ViewColumn(
        title=f"{'Echo' if echo else 'X-ray'}{several}",
        angle=angle,
        files=files,
        file=facts.shown if facts.shown in files else files[0],
        here=facts.shown in files,
        asked=view.view is not None,
        sign=NO_PLANE if echo and plane is None else "",
        names=files if facts.seat.visible.file_name else (),
    )


def plane_of(part: LoopRead) -> float | None:
    """Return an echo loop's plane: as stated for it, else what its calipers state alike."""
    if part.view.plane_deg is not None:
        return part.view.plane_deg
    stated = {one.view_deg for one in part.calipers if one.view_deg is not None}
    return stated.pop() if len(stated) == 1 else None


def _views(rules: Protocol) -> list[View]:
    """Return the protocol's views of a stated angle; any view is no column of its own."""
    views = dict.fromkeys(view for rule in rules.quantities for view in rule.views)
    return [one for one in views if _is_stated(one)]


def _is_stated(view: View) -> bool:
    return view.plane_deg is not None or view.primary_deg is not None


def _shows(part: LoopRead, loop: Loop, view: View) -> bool:
    primary, secondary = part.view.primary_deg, part.view.secondary_deg
    if loop.header.xray is not None:
        own = loop.header.xray.angles_at(0)
        primary = own[0] if primary is None else primary
        secondary = own[1] if secondary is None else secondary
    return view.matches(
        loop.header.modality,
        plane_deg=plane_of(part),
        primary_deg=primary,
        secondary_deg=secondary,
    )
