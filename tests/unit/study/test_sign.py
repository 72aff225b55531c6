"""A read is signed once, after it was measured, by the reader whose package it is."""

import json

import pytest

from annot.errors import InputError
from annot.exports import write_whole
from annot.tasks.read import load_read, save_read
from annot.tasks.reads_sign import showings_of, sign
from tests.blinded_study import copied, drawn, make_lab, read_all, write_read


@pytest.fixture(scope="module")
def untouched(tmp_path_factory):
    return make_lab(tmp_path_factory.mktemp("untouched"), planes=1, share=0).package("A")


@pytest.fixture
def package(untouched, request):
    return copied(untouched, request.node.name[:60].replace("[", "-").replace("]", ""))


def code_in(package):
    return showings_of(package)[0].code


def test_a_signed_read_is_bound_by_its_digest_and_closed(package):
    code = code_in(package)
    path = write_read(package, code, drawn(code))
    signed = sign(package, code, reader="A")
    assert (signed.meaning, signed.readable) == ("I measured this", True)
    assert showings_of(package)[0].signed == signed
    with pytest.raises(InputError, match="was signed and is closed"):
        save_read(load_read(path), path)
    with pytest.raises(InputError, match=r"was signed by A at .*: it is closed"):
        sign(package, code, reader="A")
    assert path.stat().st_mode & 0o222 == 0


def test_a_change_after_signing_is_seen(package):
    code = code_in(package)
    path = write_read(package, code, drawn(code))
    sign(package, code, reader="A")
    path.chmod(0o644)
    write_read(package, code, drawn(code, longer_px=1.0))
    with pytest.raises(InputError, match="changed after it was signed"):
        showings_of(package)


def test_a_read_that_changes_while_it_is_signed_stays_open(package, monkeypatch):
    code = code_in(package)
    path = write_read(package, code, drawn(code))
    whole = write_whole

    def written_late(target, content, *, replaces):
        write_read(package, code, drawn(code, longer_px=1.0))
        whole(target, content, replaces=replaces)

    monkeypatch.setattr("annot.tasks.reads_sign.write_whole", written_late)
    with pytest.raises(InputError, match="changed while it was signed"):
        sign(package, code, reader="A")
    assert showings_of(package)[0].signed is None
    assert path.stat().st_mode & 0o200


def test_a_loop_that_cannot_be_read_is_signed_with_its_reason(package):
    code = code_in(package)
    signed = sign(package, code, reader="A", unreadable="  the appendage is out of the plane ")
    assert (signed.readable, signed.reason) == (False, "the appendage is out of the plane")


@pytest.mark.parametrize(
    ("calipers", "reader", "words"),
    [
        ([], "A", "holds no caliper"),
        (drawn("x"), "B", "is the package of reader A; B cannot sign"),
        (drawn("x", frame=7), "A", "cannot be measured"),
        (drawn("x") + drawn("x"), "A", "must be unique"),
        ([drawn("x")[0] | {"confirmed": False}], "A", "proposed lz-x and nobody confirmed it"),
    ],
)
def test_what_is_not_measured_is_not_signed(package, calipers, reader, words):
    code = code_in(package)
    write_read(package, code, calipers)
    with pytest.raises(InputError, match=words):
        sign(package, code, reader=reader)
    assert not list(package.glob("*.signed.json"))


def test_a_read_of_somebody_else_or_of_another_loop_is_not_signed(package):
    code = code_in(package)
    path = write_read(package, code, drawn(code))
    content = json.loads(path.read_text())
    path.write_text(json.dumps(content | {"reader": "B"}))
    with pytest.raises(InputError, match="is a read of B"):
        sign(package, code, reader="A")
    path.write_text(json.dumps(content | {"study": "OTHER"}))
    with pytest.raises(InputError, match="is not the read of"):
        sign(package, code, reader="A")


def test_a_spoiled_loop_and_an_unknown_showing_are_refused(package):
    code = code_in(package)
    with pytest.raises(InputError, match="has no showing NOBODY"):
        sign(package, "NOBODY", reader="A")
    loop = package / f"{code}.dcm"
    loop.write_bytes(loop.read_bytes()[:-1] + b"\x01")
    with pytest.raises(InputError, match="not the loop that was handed out"):
        sign(package, code, reader="A", unreadable="dark")
    with pytest.raises(InputError, match=r"holds no package\.json"):
        showings_of(package.parent)


def test_a_whole_package_can_be_signed(package):
    assert len(read_all(package)) == 1
