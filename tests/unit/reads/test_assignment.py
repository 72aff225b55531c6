"""The randomisation: every loop once, repeats apart, balanced over readers, by its seed."""

from collections import Counter, defaultdict
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from annot.errors import InputError
from annot.reads.assignment import assign, repeats_wanted


def code_of(reader: str, loop: str, showing: int) -> str:
    return f"{reader}-{loop}-{showing}"


def assigned(loops: int, readers: int, *, share: float, seed: int = 1):
    return assign(
        [f"l{number}" for number in range(loops)],
        [f"r{number}" for number in range(readers)],
        share=share,
        rng=np.random.default_rng(seed),
        code_of=code_of,
    )


def lists_of(presentations):
    found = defaultdict(list)
    for one in presentations:
        found[one.reader].append(one)
    return found


sizes = st.tuples(st.integers(2, 40), st.integers(1, 9), st.floats(0, 0.5), st.integers(0, 10**6))


@given(sizes)
def test_each_reader_sees_every_loop_once_and_the_share_again(size):
    loops, readers, share, seed = size
    lists = lists_of(assigned(loops, readers, share=share, seed=seed))
    assert len(lists) == readers
    for shown in lists.values():
        assert [one.order for one in shown] == list(range(1, len(shown) + 1))
        counts = Counter(one.loop for one in shown)
        assert set(counts) == {f"l{number}" for number in range(loops)}
        assert sum(count - 1 for count in counts.values()) == repeats_wanted(loops, share)
        assert max(counts.values()) <= 2


@given(sizes)
def test_a_repeat_is_named_and_lies_apart_from_its_first_showing(size):
    loops, readers, share, seed = size
    least = max(2, loops // 4)
    for shown in lists_of(assigned(loops, readers, share=share, seed=seed)).values():
        by_code = {one.code: one for one in shown}
        for one in shown:
            if one.repeat_of is not None:
                first = by_code[one.repeat_of]
                assert first.loop == one.loop
                assert first.repeat_of is None
                assert one.order - first.order >= least


@given(sizes)
def test_over_readers_every_loop_comes_back_equally_often(size):
    loops, readers, share, seed = size
    counts = Counter({f"l{number}": 0 for number in range(loops)})
    counts.update(
        one.loop
        for one in assigned(loops, readers, share=share, seed=seed)
        if one.repeat_of is not None
    )
    assert max(counts.values()) - min(counts.values()) <= 1


@given(st.integers(1, 30), st.integers(0, 10**6))
def test_up_to_as_many_readers_as_loops_meet_no_loop_at_the_same_place(loops, seed):
    lists = lists_of(assigned(loops, loops, share=0, seed=seed))
    for place in range(loops):
        assert len({shown[place].loop for shown in lists.values()}) == loops


@given(st.integers(1, 15), st.integers(0, 10**6))
def test_an_even_number_of_loops_follow_each_other_in_every_order_once(half, seed):
    """The square of Williams: each ordered pair of loops once over all rows."""
    loops = 2 * half
    lists = lists_of(assigned(loops, loops, share=0, seed=seed))
    pairs = Counter(
        (before.loop, after.loop) for shown in lists.values() for before, after in pairwise(shown)
    )
    assert set(pairs.values()) <= {1}
    assert len(pairs) == loops * (loops - 1)


def test_the_first_place_is_dealt_evenly_over_seeds():
    firsts = Counter(assigned(4, 1, share=0.5, seed=seed)[0].loop for seed in range(2000))
    # four equal chances: 500 ± 4 standard deviations of a binomial count
    assert all(abs(count - 500) < 4 * np.sqrt(2000 * 0.25 * 0.75) for count in firsts.values())


def test_a_seed_gives_the_same_lists_and_another_seed_others():
    assert assigned(12, 3, share=0.2, seed=7) == assigned(12, 3, share=0.2, seed=7)
    assert assigned(12, 3, share=0.2, seed=7) != assigned(12, 3, share=0.2, seed=8)


def test_a_share_above_none_brings_at_least_one_loop_back():
    assert [repeats_wanted(5, share) for share in (0, 0.01, 0.1, 0.3, 0.5)] == [0, 1, 1, 2, 3]


@pytest.mark.parametrize(
    ("loops", "readers", "words"),
    [
        (["a"], ["A"], "only loop"),
        ([], ["A"], "no loop"),
        (["a", "b"], [], "no reader"),
        (["a", "a"], ["A"], "Each loop"),
        (["a", "b"], ["A", "A"], "Each reader"),
    ],
)
def test_what_cannot_be_assigned_is_refused(loops, readers, words):
    with pytest.raises(InputError, match=words):
        assign(loops, readers, share=0.5, rng=np.random.default_rng(1), code_of=code_of)


def test_two_showings_of_one_code_are_refused():
    with pytest.raises(InputError, match="same code"):
        assign(
            ["a", "b"],
            ["A"],
            share=0,
            rng=np.random.default_rng(1),
            code_of=lambda *_: "one",
        )
