"""`annot reads`: a study read blinded, from its loops to a frozen table; a file for each verb."""

import typer

from annot.cli.reads_adjudicate import adjudicate
from annot.cli.reads_amend import amend, remeasure
from annot.cli.reads_assign import assign
from annot.cli.reads_collect import collect
from annot.cli.reads_freeze import export, freeze
from annot.cli.reads_new import new
from annot.cli.reads_package import package
from annot.cli.reads_prepare import prepare_loops
from annot.cli.reads_sign import sign
from annot.cli.reads_status import status
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
for verb in (sign, collect, status, amend, remeasure, adjudicate, export, freeze):
    reads.command()(verb)
