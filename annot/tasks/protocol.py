"""Start, check and show a protocol."""

from dataclasses import asdict
from pathlib import Path

from annot.errors import InputError
from annot.exports import write_whole
from annot.exports.discussion_page import HTML
from annot.exports.protocol_page import protocol_html
from annot.exports.table import protocol_hash
from annot.reads.protocol_file import load_protocol, shipped_protocols, shipped_text
from annot.vocabulary.protocol import Protocol

START_FROM = "closure-planning"


def start_protocol(path: Path, *, like: str = START_FROM) -> Protocol:
    """Write a copy of a shipped protocol for a laboratory to change.

    Raises
    ------
    InputError
        If the file is there already, cannot be written, or is not named as a protocol's file.
    """
    if path.suffix.lower() not in {".yaml", ".yml"}:
        raise InputError(f"{path}: a protocol's file ends in .yaml; name it so.")
    text = shipped_text(like)
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text.replace(f"\nname: {like}\n", f"\nname: {_name_of(path)}\n", 1))
    except FileExistsError:
        raise InputError(f"{path} is there already; give another name or remove it.") from None
    except OSError as fault:
        raise InputError(f"{path}: the protocol cannot be written: {fault.strerror}.") from None
    return load_protocol(str(path))


def _name_of(path: Path) -> str:
    """Return a protocol's name made of a file's: lower case, digits and dashes."""
    kept = (one if one.isascii() and one.isalnum() else "-" for one in path.stem.lower())
    return "".join(kept).strip("-")[:60] or "own"


def protocol_facts(protocol: Protocol) -> dict[str, object]:
    """Return a protocol as plain values, with its fingerprint and the views' titles."""
    facts = asdict(protocol)
    facts["fingerprint"] = protocol.fingerprint
    facts["protocol_hash"] = protocol_hash(protocol)
    for rule, content in zip(protocol.quantities, facts["quantities"], strict=True):
        for view, part in zip(rule.views, content["views"], strict=True):
            part["title"] = view.title
    return facts


def write_protocol_page(protocol: Protocol, path: Path) -> None:
    """Write a protocol with a sketch of each quantity as one page, whole or not at all."""
    text = protocol_html(protocol, table_hash=protocol_hash(protocol))
    write_whole(path, text, replaces=HTML)


__all__ = [
    "load_protocol",
    "protocol_facts",
    "protocol_hash",
    "shipped_protocols",
    "start_protocol",
    "write_protocol_page",
]
