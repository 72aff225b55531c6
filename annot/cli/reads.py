"""`annot reads`: a study read blinded, from its loops to a frozen table; a file for each verb."""

import typer

from annot.cli.reads_assign import assign
from annot.cli.reads_new import new
from annot.cli.reads_package import package
from annot.cli.reads_prepare import prepare_loops
from annot.cli.reads_unblind import unblind

reads = typer.Typer(
    help="Read a study blinded: make it, assign it, hand it out, take it back.",
    no_args_is_help=True,
)
reads.command()(new)
reads.command("prepare")(prepare_loops)
reads.command()(assign)
reads.command()(package)
reads.command()(unblind)
