"""The sealed key: opens with its passphrase alone, notices every change, foretells nothing."""

import json
import uuid
from collections import Counter

import pytest
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.kdf.scrypt import Scrypt

from annot.errors import InputError
from annot.reads.key_file import (
    LEAST_COST,
    Chance,
    KeyContent,
    SourcePart,
    keyed,
    keyed_code,
    keyed_uid,
    seal,
    unseal,
)

PASSPHRASE = "the tide is out at four"
CHANCE = Chance(salt=b"s" * 16, nonce=b"n" * 12)
SECRET = "ab" * 32


def content() -> KeyContent:
    source = SourcePart(
        label="L001",
        fingerprint="0" * 64,
        file="loops/Zwiebelturm.dcm",
        study_instance_uid="1.2.3",
        sop_instance_uid="1.2.3.4",
    )
    return KeyContent(study="HARBOUR-01", secret=SECRET, sources=(source,))


def sealed(**changes) -> str:
    return seal(content(), PASSPHRASE, chance=CHANCE, cost=LEAST_COST, **changes)


def test_it_opens_with_its_passphrase_and_no_other():
    text = sealed()
    assert unseal(text, PASSPHRASE, name="k") == content()
    with pytest.raises(InputError, match="passphrase is another one"):
        unseal(text, PASSPHRASE + " ", name="k")


def test_nothing_of_it_can_be_read():
    text = sealed()
    assert "Zwiebelturm" not in text
    assert SECRET not in text
    assert json.loads(text)["study"] == "HARBOUR-01"


def test_it_is_scrypt_and_aes_gcm_as_another_reader_of_the_format_has_them():
    """RFC 7914 and NIST SP 800-38D, called from here with the file's own parameters."""
    import base64

    file = json.loads(sealed())
    salt, nonce, body = (base64.b64decode(file[name]) for name in ("salt", "nonce", "sealed"))
    key = Scrypt(salt=salt, length=32, n=file["cost"], r=8, p=1).derive(PASSPHRASE.encode())
    head = {name: value for name, value in file.items() if name != "sealed"}
    plain = AESGCM(key).decrypt(nonce, body, json.dumps(head, sort_keys=True).encode())
    assert KeyContent.model_validate_json(plain) == content()


@pytest.mark.parametrize("field", ["study", "cost", "salt", "nonce", "sealed"])
def test_a_changed_field_is_noticed(field):
    file = json.loads(sealed())
    file[field] = {
        "study": "HARBOUR-02",
        "cost": 2 * LEAST_COST,
        "salt": "c2Fs" + file["salt"][4:],
        "nonce": "bm9u" + file["nonce"][4:-4] + "AAAA",
        "sealed": "AAAA" + file["sealed"][4:],
    }[field]
    with pytest.raises(InputError, match="does not open"):
        unseal(json.dumps(file), PASSPHRASE, name="k")


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"cost": 1 << 30}, "cost"),
        ({"cost": 2}, "cost"),
        ({"salt": "no base64!"}, "cannot be read"),
        ({"extra": 1}, "there is no such field"),
    ],
)
def test_what_is_no_key_is_refused_before_memory_is_spent(change, words):
    file = {**json.loads(sealed()), **change}
    with pytest.raises(InputError, match=words):
        unseal(json.dumps(file), PASSPHRASE, name="k")


def test_a_short_passphrase_is_refused():
    with pytest.raises(InputError, match="at least 12"):
        seal(content(), "short", chance=CHANCE, cost=LEAST_COST)


def test_keyed_names_hang_on_secret_and_every_part():
    names = {
        keyed_code(secret, *parts)
        for secret in (SECRET, "cd" * 32)
        for parts in (("A", "l", "1"), ("A", "l", "2"), ("B", "l", "1"), ("Al", "", "1"))
    }
    assert len(names) == 8
    assert keyed(SECRET, "a", "b") != keyed(SECRET, "ab")


def test_codes_spread_over_all_letters_and_are_as_long_as_each_other():
    codes = [keyed_code(SECRET, str(number)) for number in range(2000)]
    assert {len(one) for one in codes} == {7}
    assert len(Counter("".join(codes))) == 30
    assert not set("".join(codes)) & set("01IOLU")


def test_a_uid_is_a_uuid_of_the_free_form():
    """PS3.5 B.2 and RFC 9562 5.8: the number below 2.25 is that of a UUID, here of version 8."""
    made = keyed_uid(SECRET, "1.2.3")
    number = uuid.UUID(int=int(made.removeprefix("2.25.")))
    assert number.version == 8
    assert number.variant == uuid.RFC_4122
    assert len(made) <= 44
