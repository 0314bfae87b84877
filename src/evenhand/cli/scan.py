"""`evenhand scan`: make or update the shoot."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from evenhand.cli.options import json_option, pair

if TYPE_CHECKING:
    from evenhand.jobs.identify import ClipFinding, ScanResult


def default_shoot(card: Path) -> Path:
    """`<card name>.shoot` in this folder."""
    return Path.cwd() / f"{card.absolute().name or 'card'}.shoot"


@click.command(epilog="Example: evenhand scan /media/card --encoding A004=phone-log-2")
@click.argument("card", type=click.Path(path_type=Path), metavar="CARD")
@click.option(
    "--encoding",
    "encodings",
    multiple=True,
    metavar="CLIP=NAME",
    help="What a clip is where the evidence leaves it open; * for all such clips.",
)
@click.option("--evidence", is_flag=True, help="Show every piece of evidence.")
@click.option(
    "--shoot",
    "shoot_dir",
    metavar="DIR",
    type=click.Path(path_type=Path),
    help="Where decisions are kept (default: <card name>.shoot here).",
)
@json_option
def command(
    card: Path, encodings: tuple[str, ...], evidence: bool, shoot_dir: Path | None, as_json: bool
) -> int:
    """Identify every clip of a card; nothing on the card is written to.

    A clip that the evidence leaves open is asked about, never guessed.
    """
    from evenhand.cli import show
    from evenhand.jobs.identify import scan

    said = dict(pair(text, "--encoding", "CLIP=NAME") for text in encodings)
    with show.progress() as progress:
        result = scan(card, shoot_dir or default_shoot(card), said, progress)
    if as_json:
        show.json_out(result)
    else:
        show_findings(result, evidence)
    return 0 if all(finding.settled for finding in result.findings) else 1


def show_findings(result: ScanResult, evidence: bool = False) -> None:
    """Clips as a table, then what has to be said or known about them."""
    from evenhand.cli import show

    rows = [_row(finding) for finding in result.findings if finding.facts is not None]
    if rows:
        headings = ["clip", "picture", "rate", "length", "sound", "encoding", "sure", "by"]
        show.table(headings, rows, right=(3, 6))
    for finding in result.findings:
        _remarks(finding, evidence)
    if result.aside:
        show.note(f"{result.aside} other file{'s' if result.aside > 1 else ''} left aside")
    show.line(f"shoot: {result.shoot}")


def _row(finding: ClipFinding) -> list[str]:
    from evenhand.cli import show

    facts, clip = finding.facts, finding.clip
    assert facts is not None
    width, height = facts.shown_size
    upright = " upright" if facts.rotation in (90, 270) and height > width else ""
    encoding = clip.encoding.name if clip.encoding else "not sure"
    return [
        clip.id,
        f"{facts.codec} {facts.bits}-bit {facts.chroma} {width} x {height}{upright}",
        rate_words(facts.rate, facts.constant_rate),
        f"{facts.duration:.2f} s",
        sound_words(len(facts.audio)),
        encoding,
        show.percent(clip.confidence),
        clip.encoding_by or "",
    ]


def rate_words(rate: str, constant: bool) -> str:
    """A rate as a person reads it: 25, 29.97, or variable with its mean."""
    over, under = (int(part) for part in rate.split("/"))
    number = f"{over / under:.2f}".rstrip("0").rstrip(".")
    return number if constant else f"variable, mean {number}"


def sound_words(tracks: int) -> str:
    """How many tracks."""
    return "none" if tracks == 0 else "1 track" if tracks == 1 else f"{tracks} tracks"


def _remarks(finding: ClipFinding, evidence: bool) -> None:
    from evenhand.cli import show

    clip, verdict = finding.clip, finding.identification
    if clip.unreadable:
        show.note(f"not a clip: {clip.path}: {clip.unreadable}.")
        return
    if finding.why:
        show.note(f"{clip.id}: {finding.why}")
    if clip.damaged:
        show.note(f"{clip.id}: damaged: {clip.damaged}")
    if finding.facts is not None and finding.facts.hidden_frames:
        show.note(f"{clip.id}: an edit list hides {finding.facts.hidden_frames} frames")
    if verdict is None:
        return
    for conflict in verdict.conflicts:
        show.note(f"{clip.id}: {conflict}")
    for item in verdict.evidence if evidence else ():
        show.note(f"{clip.id}:   {item.kind}: {item.found} -> {item.says} ({item.weight:.1f})")
    for assumption in verdict.assumed if evidence else ():
        show.note(f"{clip.id}:   assumed: {assumption}")
