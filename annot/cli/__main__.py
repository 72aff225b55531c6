"""`python -m annot.cli` is the command `annot`."""

from annot.cli.main import run

run()
