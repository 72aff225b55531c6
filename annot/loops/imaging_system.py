"""Which imaging system made a loop: a pseudonym by which its own error is recognised again."""

import hashlib
from collections.abc import Sequence

from annot.loops.attributes import Attributes

_NAMES = ("Manufacturer", "ManufacturerModelName", "DeviceSerialNumber", "SoftwareVersions")


def system_pseudonym(attributes: Attributes, *, study_instance_uid: str) -> str:
    """Return eight hexadecimal digits that stand for the system, empty if nothing is known of it.

    Maker, model, serial number and software (PS3.3 C.7.5.1) make one system. Without a serial
    number two systems of one model cannot be told apart, so the study is added: within a study
    one system of a model is far likelier than two.
    """
    stated = ["\\".join(attributes.texts(name)) for name in _NAMES]
    return system_hash(attributes.text("Modality") or "", stated, study_instance_uid)


def system_hash(modality: str, stated: Sequence[str], study_instance_uid: str) -> str:
    """Return the pseudonym of maker, model, serial number and what else is stated."""
    names = list(stated)
    if not names[2]:
        if not study_instance_uid:
            return ""
        names.append(study_instance_uid)
    text = "\x1f".join((modality, *names))
    return hashlib.sha256(text.encode()).hexdigest()[:8]
