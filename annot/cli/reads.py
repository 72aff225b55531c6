"""`annot reads`: a study read blinded, from its loops to a frozen table; a file for each verb."""

import typer

reads = typer.Typer(
    help="Read a study blinded: make it, assign it, hand it out, take it back.",
    no_args_is_help=True,
)
