"""The key of a blinded study: what unblinds it, sealed under a passphrase in a file of its own.

The passphrase becomes a key by scrypt (RFC 7914) and the content is sealed by AES-256-GCM (NIST SP
800-38D), which also notices any change; the file's own fields are covered by the seal. Salt and
nonce come from the caller, new for every sealing.
"""

import base64
import hmac
import json
from dataclasses import dataclass
from hashlib import sha256
from typing import Annotated, Any, Literal

from pydantic import Field, ValidationError

from annot.errors import InputError
from annot.reads.field_types import FromOne, Part
from annot.reads.plain_words import refusal_of
from annot.reads.study_file import Code, Digest

VERSION: Literal[1] = 1
SALT_BYTES, NONCE_BYTES, SECRET_BYTES = 16, 12, 32
# Memory is 128 · N · r bytes: 2^17 with r = 8 takes 128 MiB, common practice, no source.
COST = 1 << 17
_BLOCK, _PARALLEL = 8, 1
# A file that asks for more memory than 1 GiB is no key of this program's making.
LEAST_COST, MOST_COST = 1 << 14, 1 << 20
LEAST_PASSPHRASE = 12
LETTERS = "ABCDEFGHJKMNPQRSTVWXYZ23456789"
CODE_LETTERS = 7


class SourcePart(Part):
    """Where a loop came from: its file, and the identifiers that it stores."""

    label: Code
    fingerprint: Digest
    file: Annotated[str, Field(min_length=1)]
    study_instance_uid: str
    sop_instance_uid: str


class ShownPart(Part):
    """Which loop a code stands for: one showing to one reader."""

    code: Code
    reader: Code
    fingerprint: Digest
    sop_instance_uid: str


class KeyContent(Part):
    """What is sealed: the secret behind every pseudonym, the sources, and the codes handed out."""

    annot_key: Literal[1] = VERSION
    study: Code
    secret: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
    sources: tuple[SourcePart, ...]
    shown: tuple[ShownPart, ...] = ()


class SealedFile(Part):
    """The file as it lies: everything but `sealed` is open to see and covered by the seal."""

    annot_sealed_key: Literal[1] = VERSION
    study: Code
    cost: Annotated[FromOne, Field(ge=LEAST_COST, le=MOST_COST)]
    salt: str
    nonce: str
    sealed: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Chance:
    """Random bytes for one sealing, never used twice."""

    salt: bytes
    nonce: bytes


def seal(content: KeyContent, passphrase: str, *, chance: Chance, cost: int = COST) -> str:
    """Return the text of the sealed file.

    Raises
    ------
    InputError
        If the passphrase is too short to keep anything.
    """
    if len(passphrase) < LEAST_PASSPHRASE:
        raise InputError(f"A passphrase needs at least {LEAST_PASSPHRASE} characters.")
    head = {
        "annot_sealed_key": VERSION,
        "study": content.study,
        "cost": cost,
        "salt": _text(chance.salt),
        "nonce": _text(chance.nonce),
    }
    plain = content.model_dump_json().encode()
    sealed = _cipher(passphrase, chance.salt, cost).encrypt(chance.nonce, plain, _bound(head))
    return json.dumps({**head, "sealed": _text(sealed)}, indent=1) + "\n"


def unseal(text: str, passphrase: str, *, name: str) -> KeyContent:
    """Return the content of a sealed file.

    Raises
    ------
    InputError
        If it is no sealed key, was changed, or the passphrase is another one.
    """
    from cryptography.exceptions import InvalidTag

    try:
        file = SealedFile.model_validate_json(text)
        salt, nonce, sealed = (_bytes(one) for one in (file.salt, file.nonce, file.sealed))
    except ValidationError as faults:
        raise refusal_of(faults, name) from None
    except ValueError:
        raise InputError(f"{name} is no sealed key: its bytes cannot be read.") from None
    head = file.model_dump(exclude={"sealed"})
    try:
        plain = _cipher(passphrase, salt, file.cost).decrypt(nonce, sealed, _bound(head))
    except (InvalidTag, ValueError):
        raise InputError(
            f"{name} does not open: the passphrase is another one, or the file was changed."
        ) from None
    return KeyContent.model_validate_json(plain)


def _cipher(passphrase: str, salt: bytes, cost: int) -> Any:
    from cryptography.hazmat.primitives.ciphers.aead import AESGCM
    from cryptography.hazmat.primitives.kdf.scrypt import Scrypt

    derived = Scrypt(salt=salt, length=32, n=cost, r=_BLOCK, p=_PARALLEL)
    return AESGCM(derived.derive(passphrase.encode()))


def _bound(head: dict[str, Any]) -> bytes:
    return json.dumps(head, sort_keys=True).encode()


def _text(content: bytes) -> str:
    return base64.b64encode(content).decode()


def _bytes(text: str) -> bytes:
    return base64.b64decode(text, validate=True)


def keyed(secret: str, *parts: str) -> bytes:
    """Return 32 bytes that nobody can foresee without the secret: HMAC-SHA-256 of the parts."""
    return hmac.new(bytes.fromhex(secret), json.dumps(parts).encode(), sha256).digest()


def keyed_code(secret: str, *parts: str) -> str:
    """Return a short code made of letters and digits that are not mistaken for each other."""
    number = int.from_bytes(keyed(secret, "code", *parts)[:16])
    letters = []
    for _ in range(CODE_LETTERS):
        number, place = divmod(number, len(LETTERS))
        letters.append(LETTERS[place])
    return "".join(letters)


def keyed_uid(secret: str, *parts: str) -> str:
    """Return a DICOM UID made of 128 keyed bits (PS3.5 B.2: the root 2.25 and a UUID's number)."""
    content = bytearray(keyed(secret, "uid", *parts)[:16])
    content[6] = content[6] & 0x0F | 0x80  # version 8 of RFC 9562: bits of one's own making
    content[8] = content[8] & 0x3F | 0x80
    return f"2.25.{int.from_bytes(bytes(content))}"
