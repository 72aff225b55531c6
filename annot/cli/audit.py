"""`annot audit`: whether anything that was kept has been changed since, and who did what."""

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from annot.cli.printing import say, say_json
from annot.cli.working import counting
from annot.errors import InputError

if TYPE_CHECKING:
    from annot.store import ChainReport

Where = Annotated[str, typer.Argument(help="the store: a file, or postgresql://host/name")]
Json = Annotated[bool, typer.Option("--json", help="print JSON for machines")]

audit = typer.Typer(help="Check and tell what a store has kept.", no_args_is_help=True)


@audit.command()
def verify(
    store: Where,
    study: Annotated[str | None, typer.Option(help="one study only")] = None,
    anchors: Annotated[Path | None, typer.Option(help="heads written down earlier")] = None,
    json: Json = False,
) -> None:
    """Walk every chain from its first event and name the first fault of each."""
    from annot.tasks import audit as task

    reports = task.verify(task.opened(store), study=study, anchors=anchors)
    if json:
        say_json([_as_dict(one) for one in reports])
    else:
        for one in reports:
            verdict = f"Study {one.study}: {one.events} events, the chain holds."
            say(verdict if one.holds else one.fault)
        if not reports:
            say("The store holds no study.")
        if anchors is None:
            say("Without anchors a chain that lost its end still holds: see annot audit anchor.")
    broken = [one.study for one in reports if not one.holds]
    if broken:
        raise InputError(f"The chain does not hold for {', '.join(broken)}.")


def _as_dict(report: "ChainReport") -> dict[str, object]:
    return {
        "study": report.study,
        "events": report.events,
        "holds": report.holds,
        "fault": report.fault,
        "head": report.head.digest if report.head else None,
    }


@audit.command()
def show(
    store: Where, study: Annotated[str, typer.Option(help="whose events")], json: Json = False
) -> None:
    """Tell a study's events in words, oldest first: when, who, what and why."""
    from annot.tasks import audit as task

    lines = task.history(task.opened(store), study)
    if json:
        say_json(list(lines))
        return
    for line in lines:
        say(line)


@audit.command()
def anchor(
    store: Where,
    output: Annotated[Path, typer.Option("-o", "--output", help="the file of heads (JSON)")],
    json: Json = False,
) -> None:
    """Write every chain's head to a file, to be kept away from the store or mailed outside."""
    from annot.tasks import audit as task

    reports = task.verify(task.opened(store))
    task.write_anchors(reports, output)
    if json:
        say_json([_as_dict(one) for one in reports])
        return
    say(f"{len(reports)} head(s) written to {output}: keep them out of the store's keeper's reach.")


@audit.command()
def export(
    store: Where,
    study: Annotated[str, typer.Option(help="whose chain")],
    output: Annotated[Path, typer.Option("-o", "--output", help="the file (JSON lines)")],
    json: Json = False,
) -> None:
    """Write a study's whole chain to a file, to be kept or carried to another store."""
    from annot.tasks import audit as task

    with counting("events written") as count:
        head = task.write_chain(task.opened(store), study, output, count=count)
    if json:
        say_json(asdict(head))
        return
    say(f"{head.sequence} events of study {study} written to {output}, head {head.digest}")


@audit.command("import")
def import_chain(
    store: Annotated[str, typer.Argument(help="the store, made if it is a file that is not there")],
    file: Annotated[Path, typer.Argument(help="what annot audit export wrote")],
    json: Json = False,
) -> None:
    """Take a chain into a store: every event is checked, and one fault refuses all of it."""
    from annot.tasks import audit as task

    with counting("events taken") as count:
        head = task.take_chain(store, file, count=count)
    if json:
        say_json(asdict(head))
        return
    say(f"The store holds {head.sequence} events of study {head.study}, head {head.digest}")
