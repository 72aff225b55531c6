"""Start, check and show a protocol, and say what a read still owes it."""

from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path

from annot.errors import InputError
from annot.exports import TableEntry
from annot.reads.completeness import Reading, Standing, standings
from annot.reads.protocol_file import load_protocol, shipped_protocols, shipped_text
from annot.vocabulary.protocol import Protocol

START_FROM = "closure-planning"


def start_protocol(path: Path, *, like: str = START_FROM) -> Protocol:
    """Write a copy of a shipped protocol for a laboratory to change.

    Raises
    ------
    InputError
        If the file is there already or cannot be written, or its name would not be read back.
    """
    if path.suffix.lower() not in {".yaml", ".yml"}:
        raise InputError(f"{path}: a protocol's file ends in .yaml.")
    text = shipped_text(like)
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text.replace(f"name: {like}", f"name: {_name_of(path)}", 1))
    except FileExistsError:
        raise InputError(f"{path} is there already; give another name or remove it.") from None
    except OSError as fault:
        raise InputError(f"{path}: the protocol cannot be written: {fault.strerror}.") from None
    return load_protocol(str(path))


def _name_of(path: Path) -> str:
    kept = (letter if letter.isalnum() else "-" for letter in path.stem.lower())
    return "".join(kept).strip("-") or "own"


def protocol_facts(protocol: Protocol) -> dict[str, object]:
    """Return a protocol as plain values, with its fingerprint and the views' titles."""
    facts = asdict(protocol)
    facts["fingerprint"] = protocol.fingerprint
    for rule, content in zip(protocol.quantities, facts["quantities"], strict=True):
        for view, part in zip(rule.views, content["views"], strict=True):
            part["title"] = view.title
    return facts


def what_is_missing(protocol: Protocol, entries: Sequence[TableEntry]) -> tuple[Standing, ...]:
    """Return every quantity and view that a measured read has not completed."""
    readings = [_reading(one) for one in entries]
    return tuple(one for one in standings(protocol, readings) if not one.complete)


def _reading(entry: TableEntry) -> Reading:
    caliper, loop = entry.measurement.caliper, entry.loop
    header = entry.header
    primary, secondary = (None, None)
    if header.xray is not None:
        primary, secondary = header.xray.primary_deg, header.xray.secondary_deg
    return Reading(
        quantity=caliper.measurand.name,
        modality=header.modality,
        plane_deg=loop.view.plane_deg if loop.view.plane_deg is not None else caliper.view_deg,
        primary_deg=loop.view.primary_deg if loop.view.primary_deg is not None else primary,
        secondary_deg=loop.view.secondary_deg if loop.view.secondary_deg is not None else secondary,
        repeat=caliper.repeat,
        beat=caliper.beat,
    )


__all__ = [
    "load_protocol",
    "protocol_facts",
    "shipped_protocols",
    "start_protocol",
    "what_is_missing",
]
