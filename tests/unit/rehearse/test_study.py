"""A study runs every case once, each from its own chance, wherever and however often it runs."""

import json
import os

import numpy as np
import pytest

from annot.errors import AnnotError, InputError
from annot.tasks.rehearse import Place, Study, Trial, run_case, run_study
from annot.tasks.rehearse.study import chance_of
from annot.tasks.rehearse.workers import finished


def throw(case, rng):
    """Stand in for an instrument: a truth of 10, read with a standard uncertainty of 1."""
    value = 10.0 + float(rng.normal())
    return [
        Trial(
            case=case,
            arm="plain",
            labels={"quantity": "width"},
            unit="mm",
            true=10.0,
            value=value,
            u=1.0,
            low=value - 1.96,
            high=value + 1.96,
            beside={"third": 1 / 3},
        )
    ]


def refuse(case, rng):
    del rng
    return [Trial(case=case, arm="plain", labels={}, unit="mm", true=1.0, refusal="too faint")]


def study(name="throws", run=throw, drawn=None):
    return Study(name=name, run=run, drawn=drawn or {"error": "normal"}, cells=((),))


def test_a_case_has_the_chance_that_numpy_would_spawn_for_it():
    # oracle: what numpy itself spawns
    children = np.random.SeedSequence(7).spawn(5)
    for case, child in enumerate(children):
        expected = np.random.default_rng(child).random(4)
        assert np.array_equal(chance_of(7, case).random(4), expected)


def test_a_case_alone_gives_what_it_gives_within_the_study():
    whole = run_study(study(), cases=6, seed=3)
    assert [one.case for one in whole] == list(range(6))
    assert run_case(study(), 4, seed=3) == (whole[4],)
    assert run_case(study(), 4, seed=4) != (whole[4],)


def test_processes_change_nothing():
    assert run_study(study(), cases=9, seed=3, place=Place(workers=2)) == run_study(
        study(), cases=9, seed=3
    )


def test_progress_is_told_from_nothing_to_all():
    told = []
    run_study(study(), cases=3, progress=lambda done, total: told.append((done, total)))
    assert told == [(0, 3), (1, 3), (2, 3), (3, 3)]


def counted(run, seen):
    def count(case, rng):
        seen.append(case)
        return run(case, rng)

    return count


@pytest.fixture
def journal(tmp_path):
    path = tmp_path / "cases.jsonl"
    run_study(study(), cases=4, seed=3, journal=path)
    return path


def test_a_journal_is_continued_without_repeating(journal):
    seen = []
    again = run_study(study(run=counted(throw, seen)), cases=7, seed=3, journal=journal)
    assert seen == [4, 5, 6]
    assert again == run_study(study(), cases=7, seed=3)


@pytest.mark.parametrize("lost", [1, 10, 200])
def test_a_half_written_last_line_is_dropped_and_run_again(journal, lost):
    whole = journal.read_bytes()
    last = len(whole.splitlines(keepends=True)[-1])
    journal.write_bytes(whole[: -min(lost, last - 1)])
    seen = []
    again = run_study(study(run=counted(throw, seen)), cases=4, seed=3, journal=journal)
    assert seen == [3]
    assert again == run_study(study(), cases=4, seed=3)
    assert journal.read_bytes() == whole


def test_a_head_cut_off_while_it_was_written_is_written_again(tmp_path):
    path = tmp_path / "cases.jsonl"
    path.write_bytes(b'{"annot_study":1,"stu')
    assert len(run_study(study(), cases=2, journal=path)) == 2
    assert json.loads(path.read_bytes().splitlines()[0])["study"] == "throws"


def test_a_case_written_twice_counts_once(journal):
    lines = journal.read_bytes().splitlines(keepends=True)
    journal.write_bytes(b"".join([*lines, lines[2]]))
    assert len(run_study(study(), cases=4, seed=3, journal=journal)) == 4


def test_refusals_and_figures_survive_the_journal(tmp_path):
    path = tmp_path / "cases.jsonl"
    first = run_study(study(run=refuse), cases=2, journal=path)
    assert run_study(study(run=throw), cases=2, journal=path) == first
    assert first[0].error_rel is None
    assert first[0].holds is None


@pytest.mark.parametrize(
    ("other", "seed"),
    [(study(name="others"), 3), (study(), 4), (study(drawn={"error": "flat"}), 3)],
)
def test_the_journal_of_another_study_is_refused_and_left_alone(journal, other, seed):
    before = journal.read_bytes()
    with pytest.raises(InputError, match="do not mix; name another file"):
        run_study(other, cases=4, seed=seed, journal=journal)
    assert journal.read_bytes() == before


@pytest.mark.parametrize("content", [b"study,loop\n1,2\n", b"\x89PNG", b"{}\n", b"null\n"])
def test_a_file_that_is_no_journal_is_left_as_it_is(tmp_path, content):
    path = tmp_path / "table.csv"
    path.write_bytes(content)
    with pytest.raises(InputError, match="no journal of a study and is left as it is"):
        run_study(study(), cases=1, journal=path)
    assert path.read_bytes() == content


def test_a_line_that_is_no_case_is_named(journal):
    lines = journal.read_bytes().splitlines(keepends=True)
    journal.write_bytes(b"".join([lines[0], b'{"case": 1}\n', *lines[2:]]))
    with pytest.raises(InputError, match="line 2 is no finished case"):
        run_study(study(), cases=4, seed=3, journal=journal)


def test_a_journal_that_cannot_be_opened_is_a_fault_in_a_sentence(tmp_path):
    with pytest.raises(InputError, match="the journal cannot be opened"):
        run_study(study(), cases=1, journal=tmp_path / "absent" / "cases.jsonl")


# ---------------------------------------------------------------- Dask
def test_a_cluster_of_two_workers_changes_nothing():
    distributed = pytest.importorskip("distributed")
    cluster = distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=False, dashboard_address=None
    )
    with cluster:
        on_cluster = run_study(
            study(), cases=12, seed=3, place=Place(scheduler=cluster.scheduler_address)
        )
    assert on_cluster == run_study(study(), cases=12, seed=3)


def test_without_dask_a_scheduler_is_refused_by_the_name_of_the_extra(monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "distributed", None)
    with pytest.raises(InputError, match=r'pip install "annot\[dask\]"'):
        list(finished(abs, [1], Place(scheduler="tcp://127.0.0.1:1")))


def test_an_address_that_is_none_is_a_fault_in_a_sentence():
    pytest.importorskip("distributed")
    with pytest.raises(InputError, match="No Dask scheduler answers at nonsense://1"):
        list(finished(abs, [1], Place(scheduler="nonsense://1")))


# ---------------------------------------------------------------- what breaks
def die(case, rng):
    del case, rng
    os._exit(9)


def divide(case, rng):
    del rng
    return [1 / (case - 1)] if case == 1 else throw(case, np.random.default_rng(case))


def test_a_worker_that_dies_is_a_sentence():
    with pytest.raises(AnnotError, match="A worker was ended from outside"):
        run_study(study(run=die), cases=4, place=Place(workers=2))


@pytest.mark.parametrize("workers", [1, 2])
def test_a_case_that_breaks_is_named(workers):
    with pytest.raises(AnnotError, match="case 1 of seed 5 broke off"):
        run_study(study(run=divide), cases=3, seed=5, place=Place(workers=workers))
