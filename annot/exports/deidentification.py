"""A header without identity: a new dataset into which only what the table allows is put.

Source: DICOM PS3.15 Annex E (Basic Application Level Confidentiality Profile); the table says
where it is stricter. Nothing is taken out of the old dataset: what nobody thought of stays behind.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from math import isfinite
from typing import Any

import numpy as np
from pydicom.datadict import dictionary_VR, tag_for_keyword
from pydicom.dataelem import DataElement
from pydicom.dataset import Dataset
from pydicom.multival import MultiValue
from pydicom.sequence import Sequence as Items
from pydicom.uid import UID
from pydicom.valuerep import DT, DSdecimal, DSfloat

from annot.exports.deidentification_table import DEVICE_CODES, MOMENTS, OTHER_DEVICE, TABLE, Rule
from annot.loops.quiet import captured_warnings

_FIRST_MOMENT = datetime(2000, 1, 1)  # noqa: DTZ001  an invented day has no time zone
_POINTED_AT = frozenset({0x00181063, 0x00181065})  # FrameTime, FrameTimeVector
_WHOLE = frozenset({"IS", "US", "SS", "UL", "SL"})
# Written whether or not the source has them: type 2 in every image object (PS3.3 C.7).
_ALWAYS_EMPTY = (
    *("StudyDate", "StudyTime", "AccessionNumber", "ReferringPhysicianName", "Manufacturer"),
    *("PatientBirthDate", "PatientSex", "StudyID"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class BlindIdentity:
    """Whom a blinded copy is said to show.

    Attributes
    ----------
    code : str
        Name and number of the invented patient.
    uid_of : callable
        Gives the new UID of an old one: the same within one copy, another in the next.
    """

    code: str
    uid_of: Callable[[str], str]


def cleaned(dataset: Dataset, identity: BlindIdentity) -> Dataset:
    """Return a new dataset with what the table lets pass; no pixels, no file meta information.

    Parameters
    ----------
    dataset : Dataset
        As parsed; it is left as it is.
    identity : BlindIdentity
    """
    with captured_warnings():
        result = _cleaned(dataset, _Cleaner(identity, _first_moments(dataset)))
    for keyword in _ALWAYS_EMPTY:
        setattr(result, keyword, "")
    result.PatientName, result.PatientID = f"{identity.code}^", identity.code
    if "BodyPartExamined" not in result:
        result.Laterality = ""  # asked for where no unpaired part is named (PS3.3 C.7.3.1)
    result.SeriesNumber = result.InstanceNumber = 1
    return result


@dataclass(frozen=True, slots=True)
class _Cleaner:
    identity: BlindIdentity
    first: dict[str, datetime]


def _cleaned(dataset: Dataset, cleaner: _Cleaner) -> Dataset:
    result = Dataset()
    for keyword, rule in _allowed(dataset):
        value = _value(dataset, keyword)
        if value is None:
            continue
        kept = (
            _table(value, dataset) if rule.form == "table" else _kept(keyword, rule, value, cleaner)
        )
        if kept is not None:
            result.add(DataElement(_tag(keyword), _vr(dataset, keyword), kept))
    return result


def _allowed(dataset: Dataset) -> Iterator[tuple[str, Rule]]:
    for keyword, rule in TABLE.items():
        if keyword in dataset:
            yield keyword, rule


def _tag(keyword: str) -> int:
    tag = tag_for_keyword(keyword)
    assert tag is not None  # a test holds the table against the dictionary
    return tag


def _vr(dataset: Dataset, keyword: str) -> str:
    """Return the dictionary's VR; of two that it allows, the one that the file has."""
    allowed = dictionary_VR(_tag(keyword)).split(" or ")
    if keyword == "LUTData":
        return "OW"  # more entries than an explicit US has room for
    return dataset[keyword].VR if dataset[keyword].VR in allowed else allowed[0]


def _value(dataset: Dataset, keyword: str) -> Any:
    try:
        return dataset[keyword].value
    except Exception:  # noqa: BLE001  the parser meets arbitrary bytes here, and drops them
        return None


def _kept(keyword: str, rule: Rule, value: Any, cleaner: _Cleaner) -> Any:
    """Return the value to write, None to leave the attribute out."""
    if rule.action == "Z":
        return ""
    if rule.form == "sequence":
        return _items(keyword, value, cleaner)
    if rule.form == "number":
        return _numbers(keyword, value)
    if rule.form == "term":
        return _terms(value, rule)
    return _special(keyword, rule, value, cleaner)


def _special(keyword: str, rule: Rule, value: Any, cleaner: _Cleaner) -> Any:
    if rule.form == "class":
        return UID(str(value)) if UID(str(value)).type == "SOP Class" else None
    if rule.form == "uid":
        return UID(cleaner.identity.uid_of(str(value))) if value else None
    return _moved(keyword, value, cleaner) if rule.form == "moment" else None


def _items(keyword: str, value: Any, cleaner: _Cleaner) -> Items | None:
    if not isinstance(value, Sequence) or not all(isinstance(one, Dataset) for one in value):
        return None
    items = [_cleaned(item, cleaner) for item in value]
    if keyword == "DeviceSequence":
        for old, new in zip(value, items, strict=True):
            _put_device_code(old, new)
    # in the groups of frames an empty item keeps the count of frames right
    holds_place = keyword in {"PerFrameFunctionalGroupsSequence", "SequenceOfUltrasoundRegions"}
    return Items(items) if items and (holds_place or any(len(one) for one in items)) else None


def _put_device_code(old: Dataset, new: Dataset) -> None:
    code = (
        str(_value_or_none(old, "CodeValue")),
        str(_value_or_none(old, "CodingSchemeDesignator")),
    )
    kept = code if code in DEVICE_CODES else OTHER_DEVICE
    new.CodeValue, new.CodingSchemeDesignator = kept
    new.CodeMeaning = DEVICE_CODES.get(kept, "Physical object")


def _value_or_none(dataset: Dataset, keyword: str) -> Any:
    return _value(dataset, keyword) if keyword in dataset else None


def _many(value: Any) -> list[Any]:
    if isinstance(value, MultiValue | list | tuple):
        return list(value)
    return [] if value in (None, "") else [value]


def _numbers(keyword: str, value: Any) -> Any:
    """Return numbers as the dictionary's VR holds them, None if any is none."""
    vr = dictionary_VR(_tag(keyword)).split(" or ")[0]
    try:
        kept = [_number(one, vr) for one in _many(value)]
    except (TypeError, ValueError, OverflowError, ArithmeticError):
        return None
    if not kept:
        return None
    return kept if len(kept) > 1 else kept[0]


def _number(value: Any, vr: str) -> Any:
    if vr == "AT":
        if int(value) not in _POINTED_AT:
            raise ValueError(value)
        return int(value)
    if not isfinite(float(value)):
        raise ValueError(value)
    if vr == "DS":
        # a decimal string keeps its digits, for to write it anew could change its last one
        return value if isinstance(value, DSfloat | DSdecimal) else DSfloat(float(value), True)
    if vr in _WHOLE:
        if float(value) != int(value):
            raise ValueError(value)
        return int(value)
    return float(value)


def _terms(value: Any, rule: Rule) -> Any:
    """Return the terms up to the first that the list does not have, None if none is left."""
    kept: list[str] = []
    for one in _many(value):
        if str(one) not in rule.terms:
            break
        kept.append(str(one))
    if not kept:
        return None
    return kept if len(kept) > 1 else kept[0]


def _table(value: Any, item: Dataset) -> bytes | None:
    """Return a lookup table's entries and not a byte more, as the descriptor counts them."""
    descriptor = _many(_value_or_none(item, "LUTDescriptor"))
    try:
        count = int(descriptor[0]) % 65536 or 65536
        if isinstance(value, bytes):
            return value[: count * (2 if len(value) >= 2 * count else 1)]
        entries = [int(one) for one in _many(value)][:count]
        return np.array(entries, dtype="<u2").tobytes()
    except (IndexError, TypeError, ValueError, OverflowError):
        return None


def _first_moments(dataset: Dataset) -> dict[str, datetime]:
    """Return the earliest moment of each kind, which becomes the start of the invented day."""
    shared, each = "SharedFunctionalGroupsSequence", "PerFrameFunctionalGroupsSequence"
    first: dict[str, datetime] = {}
    for group in (*_datasets(dataset, shared), *_datasets(dataset, each)):
        for item in _datasets(group, "FrameContentSequence"):
            for name in MOMENTS:
                moment = _moment(_value_or_none(item, name))
                if moment is not None:
                    first[name] = min(first.get(name, moment), moment)
    return first


def _datasets(dataset: Dataset, keyword: str) -> list[Dataset]:
    value = _value_or_none(dataset, keyword)
    return [one for one in value if isinstance(one, Dataset)] if isinstance(value, Items) else []


def _moment(value: Any) -> datetime | None:
    try:
        moment = DT(value)
    except (TypeError, ValueError):
        return None
    return moment.replace(tzinfo=None) if isinstance(moment, datetime) else None


def _moved(keyword: str, value: Any, cleaner: _Cleaner) -> str | None:
    moment = _moment(value)
    if moment is None or keyword not in cleaner.first:
        return None
    moved = _FIRST_MOMENT + (moment - cleaner.first[keyword])
    return moved.strftime("%Y%m%d%H%M%S.%f")
