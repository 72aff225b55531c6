"""A package comes back whole and unaltered or not at all, and twice is as good as once."""

import json

import pytest

from annot.errors import InputError
from annot.tasks.reads_collect import collect
from annot.tasks.reads_kept import readings_of, reads_of
from annot.tasks.reads_sign import sign
from tests.blinded_study import LAB, copied, drawn, make_lab, write_read


def events(lab):
    return lab.study().store.verify_chain("HARBOUR").events


def test_collecting_twice_changes_nothing(lab):
    package = lab.packages / "A"
    first = collect(lab.study(), package, by=LAB)
    assert (first.reader, first.showings, first.fresh) == ("A", 3, 3)
    assert first.changed.entered == 3
    before = events(lab)
    again = collect(lab.study(), package, by="somebody else")
    assert (again.fresh, again.changed.entered, events(lab)) == (0, 0, before)
    assert {one.signed_at for one in reads_of(lab.study()).values()} != {""}


def test_a_row_names_what_the_laboratory_knows(lab):
    collect(lab.study(), lab.packages / "A", by=LAB)
    study = lab.study()
    repeats = {one.code for one in study.presentations if one.repeat_of}
    rows = [one.row for one in readings_of(study).values()]
    for row in rows:
        shown = next(one for one in study.presentations if one.code == row["presentation"])
        part = study.loop(shown.loop)
        assert (row["loop"], row["sop_instance_uid"]) == (part.label, part.fingerprint)
        assert (row["study"], row["reader"]) == (part.case, "A")
        assert (row["repeat"] > 100) == (row["presentation"] in repeats)
        assert row["protocol_hash"] == study.file.protocol.protocol_hash
    twice = [
        row for row in rows if row["loop"] == next(r["loop"] for r in rows if r["repeat"] > 100)
    ]
    # two showings of one loop share its header's error, whatever identifiers their copies bear
    assert len({row["scale_id"] for row in twice}) == 1
    assert len({row["presentation"] for row in twice}) == 2


def spoil_loop(package, code):
    path = package / f"{code}.dcm"
    content = bytearray(path.read_bytes())
    content[-1] ^= 1
    path.write_bytes(bytes(content))


def spoil_read(package, code):
    path = package / f"{code}.read.json"
    path.write_text(path.read_text().replace('"frame": 0', '"frame": 1'))


def spoil_signature(package, code):
    path = package / f"{code}.signed.json"
    content = json.loads(path.read_text())
    path.write_text(json.dumps(content | {"reader": "B"}))


def forget_signature(package, code):
    (package / f"{code}.signed.json").unlink()


def lose_loop(package, code):
    (package / f"{code}.dcm").unlink()


def lose_read(package, code):
    (package / f"{code}.read.json").unlink()


def cut_signature(package, code):
    path = package / f"{code}.signed.json"
    path.write_text(path.read_text()[:40])


def swap_list(package, code):
    path = package / "package.json"
    content = json.loads(path.read_text())
    content["presentations"] = content["presentations"][:-1]
    path.write_text(json.dumps(content))
    for end in (".dcm", ".read.json", ".signed.json"):
        (package / f"{code}{end}").unlink()


def add_stranger(package, code):
    path = package / f"{code}.read.json"
    (package / "ZZZ.read.json").write_bytes(path.read_bytes())


def spoil_protocol(package, code):
    path = package / "protocol.yaml"
    path.write_text(path.read_text() + "\n")


def rename_study(package, code):
    path = package / "package.json"
    path.write_text(path.read_text().replace('"study": "HARBOUR"', '"study": "ISLAND"'))


def rename_package(package, code):
    path = package / "package.json"
    content = json.loads(path.read_text())
    path.write_text(json.dumps(content | {"package": "HARBOUR-0000000000"}))


SPOILED = {
    spoil_loop: "not the loop that was handed out",
    spoil_read: "changed after it was signed",
    spoil_signature: "signs .* for reader B",
    forget_signature: "1 of 3 showings are not signed",
    lose_loop: r"\.dcm cannot be read",
    lose_read: "cannot be opened|cannot be read",
    cut_signature: r"signed\.json",
    swap_list: "is not the one that was handed out",
    add_stranger: r"holds ZZZ\.read\.json, which never was in it",
    spoil_protocol: "not the protocol that was handed out",
    rename_study: "belongs to study ISLAND",
    rename_package: "never handed out the package",
}


@pytest.mark.parametrize("spoil", SPOILED, ids=lambda one: one.__name__)
def test_a_package_at_fault_is_refused_whole(lab, spoil):
    package = copied(lab.packages / "A", "spoiled")
    code = json.loads((package / "package.json").read_text())["presentations"][-1]["code"]
    spoil(package, code)
    before = events(lab)
    with pytest.raises(InputError, match=SPOILED[spoil]) as fault:
        collect(lab.study(), package, by=LAB)
    assert "is refused whole" in str(fault.value)
    assert events(lab) == before
    assert not reads_of(lab.study())


def test_another_signed_content_of_what_was_collected_is_refused(lab):
    package = copied(lab.packages / "A", "again")
    collect(lab.study(), lab.packages / "A", by=LAB)
    code = json.loads((package / "package.json").read_text())["presentations"][0]["code"]
    (package / f"{code}.signed.json").unlink()
    write_read(package, code, drawn(code, longer_px=3.0))
    sign(package, code, reader="A")
    with pytest.raises(InputError, match="collected before with another signed content"):
        collect(lab.study(), package, by=LAB)


def test_a_package_of_another_study_is_refused(lab, tmp_path):
    other = make_lab(tmp_path / "other", planes=1, share=0)
    package = other.package("A")
    with pytest.raises(InputError, match="never handed out the package"):
        collect(lab.study(), package, by=LAB)


def test_what_is_not_readable_is_collected_without_a_number(lab):
    package = copied(lab.packages / "B", "dark")
    code = json.loads((package / "package.json").read_text())["presentations"][0]["code"]
    (package / f"{code}.signed.json").unlink()
    sign(package, code, reader="B", unreadable="shadowed")
    found = collect(lab.study(), package, by=LAB)
    assert found.unreadable == (code,)
    assert found.changed.entered == 2
    assert code not in {one.code for one in readings_of(lab.study()).values()}
