"""Devices that a header says were used: the Device module (PS3.3 C.7.6.12).

Only sizes and coded kinds are read. The description is free text that can identify a person, and
is left alone.
"""

from dataclasses import dataclass

from annot.loops.attributes import Attributes

# (0050,0017); 1 Fr = 1/3 mm. Gauge has no single formula, so a gauge is no size here.
_MM_PER_UNIT = {"FR": 1 / 3, "IN": 25.4, "MM": 1.0}
_GAUGE = "GA"


@dataclass(frozen=True, slots=True, kw_only=True)
class Device:
    """One item of the Device Sequence.

    Attributes
    ----------
    code, scheme, meaning
        The coded kind: the item is itself a code.
    diameter_mm
        Diameter, converted; ``None`` if absent, without a unit, or in gauge.
    diameter_stated
        Value and unit as stored, for instance ``6 FR``; empty if absent.
    length_mm, inter_marker_mm
        Length, and distance between the markers of a marker catheter.
    """

    code: str = ""
    scheme: str = ""
    meaning: str = ""
    diameter_mm: float | None = None
    diameter_stated: str = ""
    length_mm: float | None = None
    inter_marker_mm: float | None = None


def read_devices(attributes: Attributes) -> tuple[Device, ...]:
    """Read the Device Sequence (0050,0010); faults are noted in the header's warnings."""
    return tuple(
        _device(Attributes(item, attributes.warnings, place=f"Device {number}: "))
        for number, item in enumerate(attributes.items("DeviceSequence"), start=1)
    )


def _device(item: Attributes) -> Device:
    diameter = item.positive("DeviceDiameter")
    units = item.one_of("DeviceDiameterUnits", (*_MM_PER_UNIT, _GAUGE))
    if diameter is not None and units is None:
        item.warn("DeviceDiameter has no usable unit, so it is no size.")
    if diameter is not None and units == _GAUGE:
        item.warn("DeviceDiameter is in gauge, which has no single formula for mm: state mm.")
    factor = _MM_PER_UNIT.get(units or "")
    return Device(
        code=item.text("CodeValue") or "",
        scheme=item.text("CodingSchemeDesignator") or "",
        meaning=item.text("CodeMeaning") or "",
        diameter_mm=None if diameter is None or factor is None else diameter * factor,
        diameter_stated="" if diameter is None else f"{diameter:g} {units or ''}".strip(),
        length_mm=item.positive("DeviceLength"),
        inter_marker_mm=item.positive("InterMarkerDistance"),
    )
