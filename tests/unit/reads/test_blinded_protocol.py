"""The blinded part of a protocol: the same measurands, and no word of limits or repeats."""

from dataclasses import replace

import pytest

from annot.reads.blinded_protocol import blinded_part, protocol_text
from annot.reads.protocol_file import load_protocol, parse_protocol, shipped_protocols


@pytest.mark.parametrize("name", shipped_protocols())
def test_a_protocol_comes_back_from_its_text(name):
    protocol = load_protocol(name)
    assert parse_protocol(protocol_text(protocol), name="p") == protocol


@pytest.mark.parametrize("name", shipped_protocols())
def test_a_blinded_part_asks_the_same_and_tells_nothing(name):
    protocol = load_protocol(name)
    blinded = parse_protocol(protocol_text(blinded_part(protocol)), name="p")
    assert blinded == blinded_part(protocol)
    assert blinded.quantities == protocol.quantities
    assert blinded.blinding.hidden_repeat_share == 0
    assert blinded.adjudication.apart_mm is None
    assert "repeats" not in blinded.blinding.hide
    # whatever share or limits a study has, its readers get the same
    other = replace(
        protocol,
        adjudication=replace(protocol.adjudication, apart_mm=9.5),
        blinding=replace(protocol.blinding, hidden_repeat_share=0.4),
    )
    assert protocol_text(blinded_part(other)) == protocol_text(blinded_part(protocol))
