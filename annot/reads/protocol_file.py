"""The protocol file, version 1: YAML a laboratory wrote, checked line by line, to frozen types."""

from collections.abc import Iterator, Sequence
from functools import lru_cache
from importlib.resources import files
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field, ValidationError, model_validator

from annot.errors import InputError
from annot.reads.field_types import FromOne, Number, Part, Positive
from annot.reads.plain_words import words_of
from annot.vocabulary.gap_schemes import GAP_SCHEMES
from annot.vocabulary.landmarks import QUANTITIES
from annot.vocabulary.protocol import (
    Adjudication,
    Blinding,
    Condition,
    FinalValue,
    Hidden,
    Moment,
    Protocol,
    QuantityRule,
    SizeBy,
    Together,
    View,
)

VERSION: Literal[1] = 1
SHIPPED = "annot.reads.protocols"
Name = Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9_-]*$", max_length=60)]
Text = Annotated[str, Field(min_length=1)]
Fault = tuple[Sequence[Any], str]


class ViewEntry(Part):
    """A view that quantities refer to by its name."""

    modality: Literal["US", "XA"]
    plane_deg: Annotated[Number, Field(ge=0, lt=180)] | None = None
    primary_deg: Annotated[Number, Field(ge=-180, le=180)] | None = None
    secondary_deg: Annotated[Number, Field(ge=-90, le=90)] | None = None
    within_deg: Annotated[Number, Field(gt=0, le=45)] = 10.0

    @model_validator(mode="after")
    def _angles_of_its_modality(self) -> "ViewEntry":
        projection = (self.primary_deg, self.secondary_deg)
        if self.modality == "US" and projection != (None, None):
            raise ValueError("an ultrasound view has plane_deg, not the angles of a projection")
        if self.modality == "XA" and self.plane_deg is not None:
            raise ValueError("an X-ray view has primary_deg and secondary_deg, not plane_deg")
        if (self.primary_deg is None) != (self.secondary_deg is None):
            raise ValueError("give both angles of a projection, or neither")
        return self


class QuantityEntry(Part):
    """What is asked of one quantity."""

    definition: Text
    source: Text
    unit: Literal["mm", "mm2", "deg", "1"] = "mm"
    views: list[Name] = Field(min_length=1)
    repeats: FromOne = 1
    beats: FromOne = 1
    moment: Moment = "any"
    required: bool = True


class AdjudicationEntry(Part):
    """When a third reader is asked."""

    apart_mm: Positive | None = None
    apart_percent: Annotated[Number, Field(gt=0, le=100)] | None = None
    limits: Together = "either"
    another_size_row: bool = False
    final: FinalValue = "adjudicator"

    @model_validator(mode="after")
    def _two_limits_for_both(self) -> "AdjudicationEntry":
        if self.limits == "both" and None in (self.apart_mm, self.apart_percent):
            raise ValueError("'limits: both' needs apart_mm and apart_percent")
        return self


class BlindingEntry(Part):
    """What a blinded reader does not see."""

    hide: tuple[Hidden, ...] = ()
    hidden_repeat_share: Annotated[Number, Field(ge=0, le=0.5)] = 0.0


class ProtocolFile(Part):
    """A whole protocol."""

    annot_protocol: Literal[1]
    name: Name
    version: FromOne
    title: Text
    size_by: SizeBy = "largest"
    landing_zone_inside_mm: Positive | None = None
    gap_scheme: Text | None = None
    conditions: tuple[Condition, ...] = ()
    adjudication: AdjudicationEntry = AdjudicationEntry()
    blinding: BlindingEntry = BlindingEntry()
    views: dict[Name, ViewEntry] = Field(min_length=1)
    quantities: dict[str, QuantityEntry] = Field(min_length=1)


def protocol_schema() -> dict[str, Any]:
    """Return the JSON Schema of a protocol file (draft 2020-12), for an editor of YAML."""
    schema = ProtocolFile.model_json_schema(by_alias=True)
    schema["properties"]["quantities"]["propertyNames"] = {"enum": sorted(QUANTITIES)}
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}


def shipped_protocols() -> tuple[str, ...]:
    """Return the names of the protocols that come with the program."""
    names = (one.name for one in files(SHIPPED).iterdir())
    return tuple(sorted(name.removesuffix(".yaml") for name in names if name.endswith(".yaml")))


def shipped_text(name: str) -> str:
    """Return the file of a shipped protocol as it stands, comments included.

    Raises
    ------
    InputError
        If there is none of that name.
    """
    known = shipped_protocols()
    if name not in known:
        raise InputError(
            f"There is no protocol '{name}'; known are {', '.join(known)}, or give a file that "
            "ends in .yaml."
        )
    return (files(SHIPPED) / f"{name}.yaml").read_text(encoding="utf-8")


def load_protocol(name_or_file: str, *, beside: Path | None = None) -> Protocol:
    """Load a shipped protocol by its name, or one of a laboratory's own from its file.

    Parameters
    ----------
    name_or_file : str
        What ends in .yaml or .yml is a file.
    beside : Path, optional
        Folder from which a relative file is meant.

    Raises
    ------
    InputError
        One sentence for each fault, with its line; nothing is loaded half.
    """
    if not name_or_file.lower().endswith((".yaml", ".yml")):
        return _shipped(name_or_file)
    path = (beside or Path()) / name_or_file
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(f"{path.name} is no protocol: it is not text in UTF-8.") from None
    except OSError as fault:
        raise InputError(f"{path}: the protocol cannot be opened: {fault.strerror}.") from None
    return parse_protocol(text, name=path.name)


@lru_cache(maxsize=8)
def _shipped(name: str) -> Protocol:
    return parse_protocol(shipped_text(name), name=name)


def parse_protocol(text: str, *, name: str) -> Protocol:
    """Parse the text of a protocol file; raise InputError as `load_protocol` does."""
    document = _document(text, name)
    if not isinstance(document, dict) or "annot_protocol" not in document:
        raise InputError(f"{name} is no protocol: it has no annot_protocol number.")
    if document["annot_protocol"] != VERSION:
        raise InputError(
            f"{name} is a protocol file of version {document['annot_protocol']!r}; this program "
            f"reads version {VERSION}."
        )
    faults: list[Fault] = []
    content = None
    try:
        content = ProtocolFile.model_validate(_plain(document))
    except RecursionError:
        raise InputError(
            f"{name}: a part of it contains itself by an alias; write it out instead."
        ) from None
    except ValidationError as found:
        faults = [(one["loc"], words_of(one)) for one in found.errors()]
    if content is not None:
        faults = list(_contradictions(content))
    if content is None or faults:
        raise InputError(_sentence(faults, document, name))
    return _protocol(content)


def _document(text: str, name: str) -> Any:
    from ruamel.yaml import YAML
    from ruamel.yaml.error import MarkedYAMLError, YAMLError
    from ruamel.yaml.reader import ReaderError

    if not text.strip():
        raise InputError(f"{name} is empty.")
    reader = YAML(typ="rt", pure=True)
    reader.allow_duplicate_keys = False
    try:
        return reader.load(text)
    except MarkedYAMLError as fault:
        mark = fault.problem_mark or fault.context_mark
        line = f" line {mark.line + 1}" if mark else ""
        what = " ".join(str(fault.problem or fault.context).split("\n")[0].split())
        raise InputError(f"{name}{line}: this is not YAML: {what}.") from None
    except ReaderError as fault:
        number = text[: fault.position].count("\n") + 1
        raise InputError(
            f"{name} line {number}: this is not YAML: a character there is no part of any text; "
            "take it out."
        ) from None
    except YAMLError as fault:
        what = " ".join(str(fault).split())
        raise InputError(f"{name}: this is not YAML: {what.rstrip('.')}.") from None
    except (ArithmeticError, AttributeError, LookupError, RecursionError, TypeError, ValueError):
        # what the library itself stumbles over: directives, tags, merges, depth
        raise InputError(
            f"{name}: its YAML uses what a protocol has no need of (a directive, a tag, a merge, "
            "or too many levels); write plain keys, lists and values."
        ) from None


def _plain(content: Any) -> Any:
    """Return what the reader made as plain Python values, which strict types take."""
    if isinstance(content, dict):
        return {str(key): _plain(part) for key, part in content.items()}
    if isinstance(content, list):
        return [_plain(part) for part in content]
    for kind in (bool, int, float, str):
        if isinstance(content, kind):
            return kind(content)
    return content


def _contradictions(content: ProtocolFile) -> Iterator[Fault]:
    """Yield what every field allows by itself and the whole does not."""
    for quantity, entry in content.quantities.items():
        yield from _about_quantity(quantity, entry, content.views)
    yield from _about_views(content)
    if content.gap_scheme is not None and content.gap_scheme not in GAP_SCHEMES:
        known = ", ".join(sorted(GAP_SCHEMES))
        yield ("gap_scheme",), f"there is no such scheme; known are {known}"
    if content.gap_scheme is None and "gap_width" in content.quantities:
        yield ("quantities", "gap_width"), "a gap's class needs gap_scheme, so name one"
    if "landing_zone_width" in content.quantities and content.landing_zone_inside_mm is None:
        place = ("quantities", "landing_zone_width")
        yield place, "a landing zone needs landing_zone_inside_mm, so state it"
    blinding = content.blinding
    if "repeats" not in blinding.hide and blinding.hidden_repeat_share > 0:
        place = ("blinding", "hidden_repeat_share")
        yield place, "hidden repeats need 'repeats' among what is hidden"


def _about_quantity(
    quantity: str, entry: QuantityEntry, views: dict[str, ViewEntry]
) -> Iterator[Fault]:
    place = ("quantities", quantity)
    measurand = QUANTITIES.get(quantity)
    if measurand is None:
        yield place, f"there is no such quantity; known are {', '.join(sorted(QUANTITIES))}"
    elif entry.unit != measurand.outcomes[0].unit:
        wanted = measurand.outcomes[0].unit
        yield (*place, "unit"), f"{quantity} is measured in {wanted}, so write unit: {wanted}"
    for index, view in enumerate(entry.views):
        if view not in views:
            yield (*place, "views", index), f"there is no view '{view}' under views"
        elif entry.views.index(view) != index:
            yield (*place, "views", index), f"the view '{view}' stands twice"


def _about_views(content: ProtocolFile) -> Iterator[Fault]:
    used = {view for entry in content.quantities.values() for view in entry.views}
    seen: dict[ViewEntry, str] = {}
    for view, angles in content.views.items():
        if view not in used:
            yield ("views", view), "no quantity asks for this view; take it out or use it"
        twin = seen.setdefault(angles, view)
        if twin != view:
            yield ("views", view), f"this is the same view as '{twin}'"


def _sentence(faults: list[Fault], document: Any, name: str) -> str:
    parts = []
    for place, words in faults:
        steps = [str(step) for step in place if step != "[key]"]
        where = ".".join(steps) or "the file"
        parts.append(f"line {_line(document, place)}, {where}: {words}")
    return f"{name}: {'; '.join(parts)}."


def _line(document: Any, place: Sequence[Any]) -> int:
    """Return the line, from 1, of the deepest part of a place that the file has."""
    here, line = document, document.lc.line
    for step in place:
        try:
            marks = here.lc
            line = marks.key(step)[0] if isinstance(here, dict) else marks.item(step)[0]
            here = here[step]
        except (AttributeError, KeyError, IndexError, TypeError):
            break
    return int(line) + 1


def _protocol(content: ProtocolFile) -> Protocol:
    views = {name: View(**one.model_dump()) for name, one in content.views.items()}
    return Protocol(
        name=content.name,
        version=content.version,
        title=content.title,
        size_by=content.size_by,
        landing_zone_inside_mm=content.landing_zone_inside_mm,
        gap_scheme=content.gap_scheme,
        conditions=content.conditions,
        adjudication=Adjudication(**content.adjudication.model_dump()),
        blinding=Blinding(
            hide=content.blinding.hide,
            hidden_repeat_share=content.blinding.hidden_repeat_share,
        ),
        quantities=tuple(
            QuantityRule(
                quantity=quantity,
                definition=" ".join(entry.definition.split()),
                source=entry.source,
                views=tuple(views[name] for name in entry.views),
                repeats=entry.repeats,
                beats=entry.beats,
                moment=entry.moment,
                required=entry.required,
            )
            for quantity, entry in content.quantities.items()
        ),
    )
