"""`evenhand scan`: make or update the shoot."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from evenhand.cli.options import json_option, new_shoot_option, pair
from evenhand.errors import UsageError
from evenhand.wording.figures import percent

if TYPE_CHECKING:
    from evenhand.jobs.identify import ClipFinding, ScanResult
    from evenhand.measure.identity.evidence import Identification


def shoot_of(card: Path, named: Path | None) -> Path:
    """The folder of a card's shoot: as named, the one that knows it, else one in this folder.

    Raises UsageError where that would lie on the card: only a person may put it there.
    """
    from evenhand.shoot.whereabouts import shoot_that_knows

    if named is not None:
        return named
    here = Path.cwd()
    place = here / f"{card.absolute().name or 'card'}.shoot"
    known = shoot_that_knows(card, here)
    if known is not None:
        return known
    if here.is_relative_to(card.resolve()) and not place.exists():
        raise UsageError(
            "--shoot",
            "this folder is on the card, and nothing is written there",
            "Call it from another folder, or name one for the shoot: --shoot DIR",
        )
    return place


@click.command(epilog="Example: evenhand scan /media/card --encoding A004=phone-log-2")
@click.argument("card", type=click.Path(path_type=Path), metavar="CARD")
@click.option(
    "--encoding",
    "encodings",
    multiple=True,
    metavar="CLIP=NAME",
    help="What a clip is, where the evidence leaves it open; *=NAME for all such clips.",
)
@click.option("--evidence", is_flag=True, help="Show every piece of evidence.")
@new_shoot_option
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
        result = scan(card, shoot_of(card, shoot_dir), said, progress)
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
        headings = ["clip", "size", "codec", "rate", "length", "sound", "encoding", "sure"]
        show.table(headings, rows, right=(3, 4, 7), spare=(5, 2, 4))
    for finding in result.findings:
        _remarks(finding, evidence)
    if result.aside:
        show.note(f"{result.aside} other file{'s' if result.aside > 1 else ''} left aside")
    told = {finding.clip.id for finding in result.findings}
    for clip in (c for c in result.away if c not in told):
        show.note(f"away: {clip}: its file is not on the card; what was decided stays")
    show.line(f"shoot: {result.shoot}")
    if not result.beside:
        drive = Path(result.card).absolute().parent
        show.note(
            f"to keep it with the card, for other computers: move {result.shoot} to {drive}, "
            "and call evenhand with --shoot there"
        )


def _row(finding: ClipFinding) -> list[str]:
    facts, clip = finding.facts, finding.clip
    assert facts is not None
    width, height = facts.shown_size
    by_hand = clip.encoding_by == "person"
    return [
        clip.id,
        f"{width} x {height}",
        f"{facts.codec} {facts.bits}-bit {facts.chroma}",
        number(facts.rate) if facts.constant_rate else "variable",
        f"{facts.duration:.2f} s",
        sound_words(len(facts.audio)),
        clip.encoding.name if clip.encoding else "not sure",
        "by hand" if by_hand else percent(clip.confidence),
    ]


def number(rate: str) -> str:
    """A rate as a person reads it: 25, 29.97."""
    over, under = (int(part) for part in rate.split("/"))
    text = f"{over / under:.2f}"
    return text.rstrip("0").rstrip(".")


def sound_words(tracks: int) -> str:
    """How many tracks."""
    return "none" if tracks == 0 else "1 track" if tracks == 1 else f"{tracks} tracks"


def _remarks(finding: ClipFinding, evidence: bool) -> None:
    from evenhand.cli import show
    from evenhand.wording.saying import clause, said

    clip, verdict = finding.clip, finding.identification
    if finding.facts is None:
        what = "away, what was decided stays" if clip.state == "away" else "not a clip"
        show.note(f"{what}: {clip.path}: {finding.why}.")
        return
    if finding.why:
        show.note(f"{clip.id}: {finding.why}")
    facts = finding.facts
    if facts.damage:
        show.note(f"{clip.id}: damaged: {said(facts.damage)}")
    if facts.hidden_frames:
        show.note(f"{clip.id}: an edit list hides {facts.hidden_frames} frames")
    if not facts.constant_rate:
        show.note(f"{clip.id}: variable frame rate, {number(facts.rate)} frames/s on the mean")
    if verdict is None:
        return
    for conflict in verdict.conflicts:
        show.note(f"{clip.id}: {clause(conflict)}")
    if evidence:
        _evidence(clip.id, verdict)


def _evidence(clip: str, verdict: Identification) -> None:
    """Every piece of evidence, the weightiest first; weight 2.3 makes it ten times likelier."""
    from evenhand.cli import show
    from evenhand.wording.saying import clause

    show.line()
    show.line(clip)
    for item in sorted(verdict.evidence, key=lambda item: -item.weight):
        found, says = clause(item.found), clause(item.says)
        show.paragraph(f"{item.weight:4.1f}  {item.kind}: {found} → {says}")
    for assumption in verdict.assumed:
        show.paragraph(f"assumed: {clause(assumption)}")
