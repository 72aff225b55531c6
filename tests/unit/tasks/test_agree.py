"""Readers are paired case by case, however each of them spells a moment."""

from annot.tasks.agree import agreements_of
from tests.unit.measurement.section_rows import row


def test_readers_who_spell_a_moment_otherwise_are_paired():
    rows = [
        row(20.0 + case + more, loop=f"L{case}", reader=reader, moment=words)
        for case in range(6)
        for reader, words, more in (("A", "End systole", 0.0), ("B", "end-systole", 0.1 * case))
    ]
    [found] = agreements_of(rows)
    assert found.facts()["n"] == 6
