"""Keys without the identity of a file, so that a copy under other identifiers draws the same."""

import re

# A key names its file by eight hexadecimal digits behind a dash, by a digest of 64, or by a DICOM
# UID: four numbers or more, or a UUID's below 2.25.
_IDENTITY = re.compile(r"-[0-9a-f]{8}\b|\b[0-9a-f]{64}\b|\b(?:2\.25\.\d+|\d+(?:\.\d+){3,})\b")


def anonymous(key: str) -> str:
    """Return a key without what tells the file that its input came from.

    A blinded copy of a loop has other identifiers and must give the same digits, simulated ones
    too: only what is left of a key decides how its input is drawn.
    """
    return _IDENTITY.sub("", key)


def key_order(key: str) -> tuple[str, str]:
    """Return by what keys are sorted: what is left without identities, then the whole key."""
    return anonymous(key), key
