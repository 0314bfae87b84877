"""What levelling decided, as tables and lines on the terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from evenhand.cli import show
from evenhand.wording import figures
from evenhand.wording.levelling import changed, shortly, status_words
from evenhand.wording.saying import clause

if TYPE_CHECKING:
    from evenhand.jobs.level import ClipTold, LevelResult
    from evenhand.measure.decisions import LevelDecision, Spread

MEASURED = ("matched", "grey_card", "chart")  # decisions that come with a confidence


def show_levels(result: LevelResult) -> None:
    """Decisions and evenness as two tables; what has to be known below them."""
    told = {one.clip: one for one in result.clips}
    alone = {s.clips[0] for s in result.places if len(s.clips) == 1}
    rows = [_row(d, told[d.clip], d.clip in alone) for d in result.decisions]
    if rows:
        headings = ["place", "clip", "status", "exposure", "white was", "confidence", "why"]
        show.table(headings, rows, right=(5,), spare=(6, 5))
        show.line()
    _show_evenness(result)
    _show_told(result)
    _show_changes(result)


def _row(decision: LevelDecision, told: ClipTold, alone: bool) -> list[str]:
    d, hand = decision, told.by_hand
    stops = figures.stops(d.stops) if d.stops else "as shot"
    white = figures.white(d.white) if d.white else "as shot"
    if hand is not None and hand.exposure:
        stops += f", {figures.stops(hand.exposure)} by hand"
    if hand is not None and hand.white is not None:
        white = f"{figures.white(hand.white)} by hand"
    sure = figures.percent(d.confidence) if d.status in MEASURED else ""
    return [d.place, d.clip, status_words(d.status), stops, white, sure, shortly(d, alone)]


def _show_evenness(result: LevelResult) -> None:
    """How far the clips of each place lie from their reference, at worst."""
    rows = [
        [
            even.place,
            even.reference,
            _worst(even.before),
            _worst(even.after),
            even.outlier or "",
        ]
        for even in result.evenness
        if even.before and even.after
    ]
    if rows:
        headings = ["evenness", "reference", "worst as shot", "worst levelled", "still stands out"]
        show.table(headings, rows, right=(2, 3), spare=(4,))


def _worst(spread: Spread) -> str:
    stops = figures.size_of_stops(spread.worst_stops)
    return f"{stops}, {figures.size_of_mired(spread.worst_mired)}"


def _show_told(result: LevelResult) -> None:
    """What a person has to know beside the tables."""
    for refused in result.greys_refused:
        show.note(clause(refused))
    for failure in result.failures:
        show.note(f"skipped: {failure.clip}: {failure.why}")
    for clip in result.left_out:
        show.note(f"left out: {clip}: its encoding is not settled, or it is away")
    for one in result.clips:
        for words in (*one.remarks, *one.warnings):
            show.note(f"{one.clip}: {words}")
    alone = [d.clip for d in result.decisions if d.status == "unchanged"]
    if alone and result.saved:
        show.note(f"a proposal for {alone[0]}: evenhand level --explain {alone[0]}")


def _show_changes(result: LevelResult) -> None:
    """What is otherwise than it was decided before; first decisions are in the table already."""
    known = [change for change in result.changes if not change.first]
    new = len(result.changes) - len(known)
    if not result.saved:
        would = "this would change:" if known else "nothing would change"
        first = f"; {new} clips would be levelled for the first time" if new else ""
        show.note("dry run: nothing was changed" + first)
        if known or not new:
            show.note(f"against what was decided before, {would}")
    elif known:
        show.note("changed against what was decided before:")
    for c in known:
        show.note(f"  {c.subject}: {changed(c.what, c.before, c.after)}")
