"""What levelling decided, as tables and lines on the terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from evenhand.cli import show

if TYPE_CHECKING:
    from evenhand.jobs.level import ClipTold, LevelResult
    from evenhand.measure.decisions import LevelDecision

MEASURED = ("matched", "grey", "chart")  # decisions that come with a confidence


def signed(value: float, digits: int) -> str:
    """A number with its sign; what is printed as nothing has none."""
    text = f"{value:+.{digits}f}"
    return text[1:] if float(text) == 0 else text


def correction(decision: LevelDecision) -> str:
    """What levelling does to a clip, in a few words."""
    parts = [f"{signed(decision.stops, 2)} stop"] if decision.stops else []
    if decision.white is not None:
        white = decision.white
        parts.append(f"its white was {white.kelvin:.0f} K, Duv {signed(white.duv, 4)}")
    return "; ".join(parts) or "untouched"


def reason(decision: LevelDecision) -> str:
    """Why, in a few words; `--explain` says it in full."""
    if decision.status == "left alone":
        return "shares no view"
    if decision.status in ("grey", "chart"):
        return f"by a {'grey card' if decision.status == 'grey' else 'chart'}"
    if decision.status == "reference":
        return "the others match it"
    even = not decision.stops and decision.white is None
    points = decision.match.inliers if decision.match is not None else 0
    told = "already even" if even else f"{points} points agree"
    return f"{told}, by {', '.join(decision.via)}" if decision.via else told


def show_levels(result: LevelResult) -> None:
    """Decisions and evenness as two tables; what has to be known below them."""
    told = {one.clip: one for one in result.clips}
    alone = {s.clips[0] for s in result.places if len(s.clips) == 1}
    rows = [_row(d, told[d.clip], d.clip in alone) for d in result.decisions]
    if rows:
        headings = ["place", "clip", "status", "exposure", "white was, Duv", "sure", "why"]
        show.table(headings, rows, right=(5,), spare=(6, 5))
        show.line()
    _show_evenness(result)
    _show_told(result)
    _show_changes(result)


def _row(decision: LevelDecision, told: ClipTold, alone: bool) -> list[str]:
    d, hand = decision, told.by_hand
    stops = f"{signed(d.stops, 2)} stop" if d.stops else "as shot"
    white = f"{d.white.kelvin:.0f} K, {signed(d.white.duv, 4)}" if d.white else "as shot"
    if hand is not None and hand.exposure:
        stops += f", {hand.exposure:+.2f} by hand"
    if hand is not None and hand.white is not None:
        white = f"{hand.white.kelvin:.0f} K, {signed(hand.white.duv, 4)} by hand"
    sure = show.percent(d.confidence) if d.status in MEASURED else ""
    why = "alone in its place" if alone and d.status == "reference" else reason(d)
    return [d.place, d.clip, d.status, stops, white, sure, why]


def _show_evenness(result: LevelResult) -> None:
    """How far the clips of each place lie from their reference, at worst."""
    rows = [
        [
            even.place,
            even.reference,
            f"{even.before.worst_stops:.2f} stop, {even.before.worst_mired:.1f} mired",
            f"{even.after.worst_stops:.2f} stop, {even.after.worst_mired:.1f} mired",
            even.outlier or "",
        ]
        for even in result.evenness
        if even.before and even.after
    ]
    if rows:
        headings = ["evenness", "reference", "worst as shot", "worst levelled", "still stands out"]
        show.table(headings, rows, right=(2, 3), spare=(4,))


def _show_told(result: LevelResult) -> None:
    """What a person has to know beside the tables."""
    for refused in result.greys_refused:
        show.note(f"grey card not used: {refused}")
    for failure in result.failures:
        show.note(f"skipped: {failure.clip}: {failure.why}")
    for clip in result.left_out:
        show.note(f"left out: {clip}: its encoding is not settled, or it is away")
    for one in result.clips:
        for words in (*one.remarks, *one.warnings):
            show.note(f"{one.clip}: {words}")
    alone = [d.clip for d in result.decisions if d.status == "left alone"]
    if alone and result.saved:
        show.note(f"a proposal for {alone[0]}: evenhand level --explain {alone[0]}")


def _show_changes(result: LevelResult) -> None:
    """What is otherwise than it was decided before; first decisions are in the table already."""
    from evenhand.jobs.changes import NEW

    known = [change for change in result.changes if change.before != NEW]
    new = len(result.changes) - len(known)
    if not result.saved:
        would = "this would change:" if known else "nothing would change"
        first = f"; {new} clips would be levelled for the first time" if new else ""
        show.note("dry run: nothing was changed" + first)
        if known or not new:
            show.note(f"against what was decided before, {would}")
    elif known:
        show.note("changed against what was decided before:")
    for change in known:
        show.note(f"  {change.subject}: {change.what} {change.before} -> {change.after}")
