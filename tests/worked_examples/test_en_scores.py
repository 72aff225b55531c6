"""Printed scores of 21 laboratories: ISO 13528:2022, E.4, Tables E.6 and E.7 (seen).

Columns: the laboratory's result x, its expanded uncertainty U with factor k, and its scores.
"""

import json
from pathlib import Path

import pytest

from annot.quality import en_number, en_score
from annot.uncertainty import stated

CASE = json.loads((Path(__file__).parent / "data" / "en_scores.json").read_text())["iso13528-E4"]
ROWS = [dict(zip(CASE["columns"], row, strict=True)) for row in CASE["rows"]]
LAST_DIGIT = 0.005 + 1e-9  # half of it


def test_there_are_all_laboratories():
    assert len(ROWS) == 21


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["code"])
def test_e_n_of_expanded_uncertainties(row):
    found = en_number(row["x"] - CASE["x_pt"], expanded=row["U"], expanded_reference=CASE["U_pt"])
    assert found == pytest.approx(row["En"], abs=LAST_DIGIT)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["code"])
def test_e_n_of_results_with_budgets(row):
    """With k = 2 for both, standard uncertainties give the same score."""
    mine = stated(row["x"], row["U"] / 2, key="x", unit="mg/l", source="laboratory")
    reference = stated(CASE["x_pt"], CASE["U_pt"] / 2, key="X", unit="mg/l", source="assigned")
    score = en_score(mine, reference)
    assert score.coverage_factor == pytest.approx(2.0, abs=1e-4)
    assert score.e_n == pytest.approx(row["En"], abs=LAST_DIGIT)
    assert score.agrees == (abs(row["En"]) <= 1)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["code"])
def test_zeta_is_twice_e_n_where_k_is_two(row):
    """Zeta scores of the same table use standard uncertainties U / k."""
    u, u_reference = row["U"] / row["k"], CASE["U_pt"] / 2
    found = en_number(row["x"] - CASE["x_pt"], expanded=u, expanded_reference=u_reference)
    assert found == pytest.approx(row["zeta"], abs=LAST_DIGIT)
