"""The verbs are found one by one, and a start pays for its own only."""

import subprocess
import sys
from pathlib import Path

from typer.testing import CliRunner

import annot.cli
from annot.cli.main import app
from annot.cli.verbs import VERBS

NO_VERBS = {"__init__", "__main__", "main", "printing", "verbs", "working"}


def test_every_verb_is_listed_and_answers_for_itself():
    listed = CliRunner().invoke(app, ["--help"]).stdout
    for verb in VERBS:
        assert f" {verb} " in listed
        helped = CliRunner().invoke(app, [verb, "--help"])
        assert helped.exit_code == 0, verb
        assert "--install-completion" not in helped.stdout


def test_no_module_that_has_a_verb_is_forgotten():
    for path in Path(annot.cli.__file__).parent.glob("*.py"):
        name = path.stem
        if name not in NO_VERBS and f"def {name}(" in path.read_text(encoding="utf-8"):
            assert name in VERBS, name


def test_a_mistyped_verb_is_refused_with_the_likely_one():
    answer = CliRunner().invoke(app, ["lops"])
    assert answer.exit_code == 2
    assert "loops" in answer.output


def test_one_verb_does_not_bring_the_others_in():
    code = (
        "import sys\nfrom annot.cli.main import app\n"
        "try:\n    app(['loops', '--help'])\nexcept SystemExit:\n    pass\n"
        "assert 'annot.cli.loops' in sys.modules\n"
        "assert not {'sqlalchemy', 'annot.cli.reads', 'annot.cli.agree'} & set(sys.modules)\n"
    )
    answer = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=False, timeout=60
    )
    assert answer.returncode == 0, answer.stderr
