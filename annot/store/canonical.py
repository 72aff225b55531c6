"""One text for one content: canonical JSON, and the digest that chains it.

Keys are sorted by code point, nothing is padded, text stays as it is in UTF-8 and numbers are
written as Python writes them, which reads back to the same number. What JSON cannot hold
unambiguously (NaN, infinities, keys that are no text) is refused.
"""

import hashlib
import json
import math

from annot.errors import InputError

Json = None | bool | int | float | str | list["Json"] | dict[str, "Json"]


def canonical(content: Json) -> str:
    """Return the one text of a content.

    Raises
    ------
    InputError
        If the content holds what JSON cannot hold.
    """
    if _plain(content):
        text = _quick(content)
        if text is not None:
            return text
    _refuse_odd(content, "the record")
    return json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=False)


_SCALARS = frozenset({str, int, float, bool, type(None)})


def _plain(content: object) -> bool:
    """Tell quickly that a content is made of JSON's own types throughout; if not, look closely."""
    if type(content) is dict:
        if not all(type(key) is str for key in content):
            return False
        return all(type(part) in _SCALARS or _plain(part) for part in content.values())
    if type(content) is list:
        return all(type(part) in _SCALARS or _plain(part) for part in content)
    return type(content) in _SCALARS


def _quick(content: Json) -> str | None:
    """Return the text of a plain content, None where it may hold what has to be refused."""
    try:
        text = json.dumps(
            content, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False
        )
        text.encode("utf-8")
    except ValueError:
        return None
    # a null character is written so, and so may be the six letters of a harmless text
    return None if "\\u0000" in text else text


def _refuse_odd(content: object, place: str) -> None:
    if isinstance(content, dict):
        for key, part in content.items():
            if not isinstance(key, str):
                raise InputError(f"{place} has the key {key!r}, which is no text.")
            _refuse_odd_scalar(key, f"a key of {place}")
            _refuse_odd(part, f"{place}.{key}")
    elif isinstance(content, list):
        for index, part in enumerate(content):
            _refuse_odd(part, f"{place}[{index}]")
    else:
        _refuse_odd_scalar(content, place)


def _refuse_odd_scalar(content: object, place: str) -> None:
    if not isinstance(content, None | bool | int | float | str):
        kind = type(content).__name__
        raise InputError(f"{place} holds a {kind}, which cannot be kept as JSON.")
    if isinstance(content, float) and not math.isfinite(content):
        raise InputError(f"{place} holds {content}, which is no number to keep.")
    if isinstance(content, str) and "\x00" in content:
        raise InputError(f"{place} holds a null character, which no database keeps.")
    if isinstance(content, str) and any("\ud800" <= one <= "\udfff" for one in content):
        raise InputError(f"{place} holds half a character, which is no Unicode text.")


def digest_of(content: Json) -> str:
    """Return the SHA-256 digest of a content's canonical text, in hexadecimal."""
    return hashlib.sha256(canonical(content).encode("utf-8")).hexdigest()
