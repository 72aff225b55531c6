"""A blinded study keeps to the same on both databases: collected at once, amended, frozen."""

import json
from concurrent.futures import ThreadPoolExecutor

import pytest

from annot.errors import InputError
from annot.store import SupersededError
from annot.tasks.reads_amend import Amendment, amend
from annot.tasks.reads_collect import collect
from annot.tasks.reads_freeze import Freezing, freeze
from annot.tasks.reads_kept import readings_of
from annot.tasks.reads_table import rows_now
from tests.blinded_study import LAB, make_lab, read_all


@pytest.fixture
def lab(url, tmp_path):
    store = url if "://" in url else "study.sqlite"
    made = make_lab(tmp_path, planes=1, share=0, store=store)
    for reader in ("A", "B"):
        read_all(made.package(reader))
    return made


def attempt(work):
    try:
        return work()
    except InputError as fault:
        return fault


def test_packages_collected_and_amended_at_once_lose_nothing(lab, tmp_path):
    with ThreadPoolExecutor(4) as pool:
        jobs = [
            pool.submit(attempt, lambda r=reader: collect(lab.study(), lab.packages / r, by=LAB))
            for reader in ("A", "B", "A", "B")
        ]
        outcomes = [job.result() for job in jobs]
    # of two who collect one package the second finds it collected, repeats the same act, or is
    # told that somebody was faster; whichever, each read is kept once
    assert len(readings_of(lab.study())) == 2
    assert lab.study().store.verify_chain("HARBOUR").holds
    assert sum(not isinstance(one, Exception) for one in outcomes) >= 2

    code = lab.study().shown_to("A")[0].code
    content = json.loads((lab.packages / "A" / f"{code}.read.json").read_text())
    content["loops"][0]["calipers"][0]["points_px"][1][1] += 5.0
    path = tmp_path / "better.json"
    path.write_text(json.dumps(content))
    with ThreadPoolExecutor(4) as pool:
        jobs = [
            pool.submit(
                attempt,
                lambda who=who: amend(
                    lab.study(), Amendment(code=code, read=path), by=who, reason="slip"
                ),
            )
            for who in ("P", "Q", "R", "S")
        ]
        outcomes = [job.result() for job in jobs]
    kept = [one for one in outcomes if not isinstance(one, Exception)]
    assert len(kept) == 1
    for one in outcomes:
        assert one in kept or isinstance(one, SupersededError) or "already" in str(one)
    versions = {one.code: one.version for one in readings_of(lab.study()).values()}
    assert versions[code] == 2
    assert len(list(rows_now(lab.study()))) == 2
    done = freeze(lab.study(), Freezing(table=tmp_path / "final.csv", by=LAB, in_spite="a test"))
    assert done.anchor == lab.study().store.verify_chain("HARBOUR").head
