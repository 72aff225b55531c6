"""`annot check`: archives looked through, rooms and their reference objects checked over time."""

import typer

from annot.cli.check_chart import chart
from annot.cli.check_register import due, new
from annot.cli.check_report import report
from annot.cli.check_run import run
from annot.cli.check_sweep import sweep

check = typer.Typer(
    help="Check that a room's millimetres are millimetres, and see it when they drift.",
    no_args_is_help=True,
)
for verb in (run, chart, report, due, sweep):
    check.command()(verb)
check.add_typer(new, name="new")
