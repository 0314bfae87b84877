"""`evenhand report`: one self-contained page."""

from __future__ import annotations

from pathlib import Path

import click

from evenhand.cli.options import json_option, shoot_option


@click.command(epilog="Example: evenhand report --to /media/drive/report.html")
@click.option(
    "--to",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="The page to write (default: report.html in the shoot's folder).",
)
@click.option(
    "--truth",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="The truth of a card that was made, to score levelling against.",
)
@shoot_option
@json_option
def command(to: Path | None, truth: Path | None, shoot_dir: Path | None, as_json: bool) -> None:
    """Write one HTML page about the shoot that needs nothing beside itself.

    Before and after, scopes, evidence, decisions with their reasons, and what was verified.
    """
    from evenhand.cli import show
    from evenhand.jobs.report import report
    from evenhand.shoot.store import shoot_folder

    with show.progress() as progress:
        result = report(shoot_folder(shoot_dir, Path.cwd()), to, truth, progress)
    if as_json:
        show.json_out(result)
    else:
        show.line(f"report: {result.path} ({result.bytes / 1e6:.1f} MB)")
