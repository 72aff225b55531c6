"""A short name for a study that nobody can turn back into its identity without the key."""

import hashlib
import hmac
import os
import secrets
from pathlib import Path

from annot.errors import InputError

KEY_BYTES = 32


def key_file() -> Path:
    """Return where this user's key lies: ANNOT_KEY_FILE, else the configuration folder."""
    stated = os.environ.get("ANNOT_KEY_FILE")
    if stated:
        return Path(stated)
    base = os.environ.get("XDG_CONFIG_HOME")
    return (Path(base) if base else Path.home() / ".config") / "annot" / "pseudonym.key"


def study_pseudonym(study_uid: str, key: bytes) -> str:
    """Return a keyed pseudonym of a study's UID: the same key gives the same name."""
    digest = hmac.new(key, study_uid.encode(), hashlib.sha256).hexdigest()
    return f"study-{digest[:10]}"


def load_or_make_key(path: Path) -> bytes:
    """Return the key, made at random and kept for its owner alone on first use.

    Raises
    ------
    InputError
        If the key can be neither read nor written, or is too short to be one.
    """
    if path.exists():
        return _load(path)
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except OSError as fault:
        raise InputError(
            f"{path}: the key for study pseudonyms cannot be kept: {fault.strerror}; name the "
            "study in the read file or set ANNOT_KEY_FILE."
        ) from None
    with os.fdopen(handle, "wb") as stream:
        key = secrets.token_bytes(KEY_BYTES)
        stream.write(key)
    return key


def _load(path: Path) -> bytes:
    try:
        key = path.read_bytes()
    except OSError as fault:
        raise InputError(
            f"{path}: the key for study pseudonyms cannot be read: {fault.strerror}."
        ) from None
    if len(key) < KEY_BYTES:
        raise InputError(f"{path} is too short to be a key for study pseudonyms.")
    return key
