"""The command `annot`: parses words, calls a task, prints."""

import sys
from importlib.metadata import version
from typing import Annotated

import typer

from annot.cli.agree import agree
from annot.cli.audit import audit
from annot.cli.check import check
from annot.cli.demo import demo
from annot.cli.discuss import discuss
from annot.cli.followup import followup
from annot.cli.geometry import geometry
from annot.cli.loops import loops
from annot.cli.measure import measure
from annot.cli.printing import say, say_fault
from annot.cli.protocol import protocol
from annot.cli.reads import reads
from annot.cli.scale import scale
from annot.cli.schema import schema
from annot.cli.section import section
from annot.cli.sizes import sizes
from annot.cli.track import track
from annot.cli.validate import validate
from annot.cli.view import view
from annot.errors import AnnotError
from annot.vocabulary import CAUTION

app = typer.Typer(
    name="annot",
    epilog=CAUTION,
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)


def _show_version(asked: bool) -> None:
    if asked:
        say(f"annot {version('annot')}")
        raise typer.Exit


@app.callback()
def options(
    show: Annotated[
        bool,
        typer.Option("--version", help="print the version", callback=_show_version, is_eager=True),
    ] = False,
) -> None:
    """Measure stored angiography and echo loops, every number with its uncertainty."""
    del show


for verb in (
    demo,
    loops,
    scale,
    measure,
    track,
    section,
    followup,
    discuss,
    sizes,
    geometry,
    view,
    schema,
    agree,
):
    app.command()(verb)
app.add_typer(audit, name="audit")
app.add_typer(check, name="check")
app.add_typer(protocol, name="protocol")
app.add_typer(reads, name="reads")
app.add_typer(validate, name="validate")


def run() -> None:
    """Run the command line: exit 0 done, 1 the input is at fault, 2 wrong usage."""
    if sys.stdout is None:
        say_fault("standard output is closed, so no answer can be given; send it somewhere.")
        sys.exit(1)
    try:
        app()
    except AnnotError as fault:
        say_fault(fault.message)
        sys.exit(1)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(1)
    except OSError as fault:
        say_fault(f"{fault.filename or 'the output'} cannot be used: {fault.strerror}.")
        # what is still to be written would fail again as the program ends, and say so
        sys.stderr.close()
        sys.exit(1)
