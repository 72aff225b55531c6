"""The sealed key of a study: made, opened, added to, and opened on purpose to unblind a code."""

import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from annot.errors import InputError
from annot.exports import JSON, write_whole
from annot.reads.key_file import (
    COST,
    NONCE_BYTES,
    SALT_BYTES,
    SECRET_BYTES,
    Chance,
    KeyContent,
    SourcePart,
    keyed_uid,
    seal,
    unseal,
)
from annot.tasks.reads_study import UNBLINDING_KIND, open_study


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyRing:
    """Where a study's key lies and what opens it; `cost` is scrypt's, for keys that are sealed."""

    path: Path
    passphrase: str
    cost: int = COST

    def opened(self, study: str) -> KeyContent:
        """Open the key of a study.

        Raises
        ------
        InputError
            If it is not there, does not open, or belongs to another study.
        """
        try:
            text = self.path.read_text(encoding="utf-8")
        except OSError as fault:
            raise InputError(f"{self.path}: the key cannot be opened: {fault.strerror}.") from None
        except UnicodeDecodeError:
            raise InputError(f"{self.path} is no sealed key: it is not text.") from None
        content = unseal(text, self.passphrase, name=str(self.path))
        if content.study != study:
            raise InputError(f"{self.path} is the key of study {content.study}, not of {study}.")
        return content

    def sealed(self, content: KeyContent) -> None:
        """Seal the key anew and write it whole or not at all, for its owner alone."""
        chance = Chance(
            salt=secrets.token_bytes(SALT_BYTES), nonce=secrets.token_bytes(NONCE_BYTES)
        )
        text = seal(content, self.passphrase, chance=chance, cost=self.cost)
        write_whole(self.path, text, replaces=JSON)
        self.path.chmod(0o600)


def default_key_path(folder: Path) -> Path:
    """Return where a study's key lies if nobody says otherwise: beside its folder, not in it."""
    return folder.resolve().parent / f"{folder.resolve().name}.key.json"


def new_key(study: str, sources: Sequence[SourcePart], secret: str) -> KeyContent:
    """Return the content of a new key."""
    return KeyContent(study=study, secret=secret, sources=tuple(sources))


def new_secret() -> str:
    """Return a new secret behind every pseudonym of a study."""
    return secrets.token_bytes(SECRET_BYTES).hex()


@dataclass(frozen=True, slots=True, kw_only=True)
class Unblinded:
    """What a code stands for."""

    code: str
    reader: str
    label: str
    file: str
    sop_instance_uid: str
    blinded_sop_instance_uid: str


def unblind(
    folder: Path, codes: Sequence[str], ring: KeyRing, *, by: str, reason: str
) -> list[Unblinded]:
    """Say which loop each code stands for; that it was asked, by whom and why is kept first.

    Raises
    ------
    InputError
        If a code stands for nothing, no reason is given, or the key does not open.
    """
    if not reason.strip():
        raise InputError("Unblinding needs a reason, which is kept.")
    study = open_study(folder)
    key = ring.opened(study.file.code)
    shown = {one.code: one for one in study.presentations}
    unknown = sorted(set(codes) - set(shown))
    if unknown:
        raise InputError(f"Study {study.file.code} shows nothing under {', '.join(unknown)}.")
    sources = {one.fingerprint: one for one in key.sources}
    intents = [
        study.intent(UNBLINDING_KIND, code, {"code": code}, by=by, reason=reason)
        for code in dict.fromkeys(codes)
    ]
    study.store.append(*intents)
    found = []
    for code in dict.fromkeys(codes):
        source = sources[shown[code].loop]
        found.append(
            Unblinded(
                code=code,
                reader=shown[code].reader,
                label=source.label,
                file=source.file,
                sop_instance_uid=source.sop_instance_uid,
                blinded_sop_instance_uid=keyed_uid(key.secret, code, source.sop_instance_uid),
            )
        )
    return found
