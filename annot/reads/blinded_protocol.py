"""The part of a protocol that a blinded reader may know, as a protocol of its own.

What to measure, where its points lie, in which views and how often; not when a third reader is
asked, by which diameter a chart is entered, nor that loops come back.
"""

import io
from collections.abc import Mapping
from dataclasses import asdict, replace
from typing import Any

from annot.vocabulary.protocol import Adjudication, Blinding, Protocol, QuantityRule, View


def blinded_part(protocol: Protocol) -> Protocol:
    """Return the protocol without what would tell a reader of limits, charts or repeats."""
    hidden = tuple(one for one in protocol.blinding.hide if one != "repeats")
    return replace(
        protocol,
        size_by="largest",
        adjudication=Adjudication(),
        blinding=Blinding(hide=hidden),
    )


def protocol_text(protocol: Protocol) -> str:
    """Return a protocol as the text of a protocol file; views get names of their own."""
    from ruamel.yaml import YAML

    views = list(dict.fromkeys(view for rule in protocol.quantities for view in rule.views))
    names = {view: f"view-{number}" for number, view in enumerate(views, start=1)}
    content = _without_none(
        {
            "annot_protocol": 1,
            "name": protocol.name,
            "version": protocol.version,
            "title": protocol.title,
            "size_by": protocol.size_by,
            "landing_zone_inside_mm": protocol.landing_zone_inside_mm,
            "gap_scheme": protocol.gap_scheme,
            "conditions": list(protocol.conditions),
            "adjudication": _adjudication(protocol.adjudication),
            "blinding": {
                "hide": list(protocol.blinding.hide),
                "hidden_repeat_share": protocol.blinding.hidden_repeat_share,
            },
            "views": {name: _view(view) for view, name in names.items()},
            "quantities": {rule.quantity: _rule(rule, names) for rule in protocol.quantities},
        }
    )
    stream = io.StringIO()
    writer = YAML(typ="safe", pure=True)
    writer.default_flow_style = False
    writer.sort_base_mapping_type_on_output = False  # type: ignore[assignment]  # typed as None
    writer.dump(content, stream)
    return stream.getvalue()


def _adjudication(limits: Adjudication) -> dict[str, Any]:
    return _without_none(asdict(limits))


def _view(view: View) -> dict[str, Any]:
    return _without_none(asdict(view))


def _rule(rule: QuantityRule, names: Mapping[View, str]) -> dict[str, Any]:
    from annot.vocabulary.landmarks import QUANTITIES

    return {
        "definition": rule.definition,
        "source": rule.source,
        "unit": QUANTITIES[rule.quantity].outcomes[0].unit,
        "views": [names[view] for view in rule.views],
        "repeats": rule.repeats,
        "beats": rule.beats,
        "moment": rule.moment,
        "required": rule.required,
    }


def _without_none(content: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in content.items() if value is not None}
