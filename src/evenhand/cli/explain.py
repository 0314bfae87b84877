"""A levelling decision with all its numbers, on the terminal."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from evenhand.cli import show
from evenhand.cli.levelled import MEASURED
from evenhand.wording import figures
from evenhand.wording.adjusting import adjusted
from evenhand.wording.levelling import correction, proposal, source_words, status_words
from evenhand.wording.saying import clause, said, sentences

if TYPE_CHECKING:
    from fractions import Fraction

    from evenhand.jobs.explain import Explanation
    from evenhand.jobs.skin import SkinFinding
    from evenhand.measure.decisions import LevelDecision
    from evenhand.measure.findings import Findings


def show_explanation(folder: Path, name: str, as_json: bool) -> None:
    """Everything that is known of a clip's levelling."""
    from evenhand.jobs.explain import explain

    told = explain(folder, name)
    if as_json:
        show.json_out(told)
        return
    decision = told.decision
    show.line(f"{told.clip} in {told.place}, reference {told.reference}")
    show.paragraph(f"{status_words(decision.status)}: {correction(decision)}")
    show.paragraph(f"why: {said(decision.why)}")
    if decision.status in MEASURED:
        show.paragraph(f"confidence: {figures.percent(decision.confidence)}")
    _match(decision)
    _by_hand(told)
    _place(told)
    _trust(told)
    _picture(told)
    _skin(told)
    _proposal(decision)
    if decision.would_change:
        show.paragraph(f"what would change it: {said(decision.would_change, ', or ')}")


def show_skin(
    folder: Path, places: list[tuple[str, Fraction, float, float]], as_json: bool
) -> None:
    """What the skin that a person points at says."""
    from evenhand.jobs.skin import SkinPoint, skin_of_points

    result = skin_of_points(folder, [SkinPoint(*place) for place in places])
    if as_json:
        show.json_out(result)
        return
    for found in result.findings:
        show.paragraph(f"{found.clip}: {_skin_words(found)}", indent="")
    for pair in result.pairs:
        show.paragraph(f"{pair.a}, {pair.b}: {sentences(pair.why)}", indent="")


def _match(decision: LevelDecision) -> None:
    match = decision.match
    if match is None or not match.inliers:
        return
    show.paragraph(
        f"the match: {match.inliers} points agree ({figures.percent(match.inlier_ratio)} of "
        f"those alike), {figures.percent(match.coverage)} of the picture measured, "
        f"spread {figures.size_of_stops(match.spread, 3)}, {figures.percent(match.support)} with "
        "one ratio"
    )


def _by_hand(told: Explanation) -> None:
    parts = [f"{name} {value}" for name, value in adjusted(told.adjustment)]
    if not parts:
        return
    whole = ""
    if told.adjustment.exposure:
        total = told.decision.stops + told.adjustment.exposure
        whole = f"; exposure is {figures.stops(total)} in all"
    if told.adjustment.white is not None:
        whole += "; its white counts instead of the levelled one"
    show.paragraph(f"by hand, over levelling: {'; '.join(parts)}{whole}")
    show.paragraph(f"to take that back: evenhand adjust {told.clip} --reset")


def _place(told: Explanation) -> None:
    others = [c for c in told.mates if c != told.clip]
    mates = f"with {', '.join(others)}" if others else "alone"
    show.paragraph(f"in {told.place} {mates}: {said(told.membership)}")
    if others:
        show.paragraph(f"reference {told.reference}: {said(told.why_reference)}")


def _trust(told: Explanation) -> None:
    show.paragraph("what may set exposure and white, the most trusted first:")
    for number, source in enumerate(told.trust, 1):
        counts = " <- this counts" if source.counts else ""
        show.paragraph(
            f"{number}. {source_words(source.source)}: {clause(source.found)}{counts}", "    "
        )


def _picture(told: Explanation) -> None:
    from evenhand.wording.findings import ends_told

    if told.findings is None:
        return
    show.paragraph(f"ends of the range, as shot: {ends_told(told.findings.ends)}")
    for words in (*told.remarks, *told.warnings):
        show.paragraph(f"note: {words}")
    _light(told.findings)
    if told.findings.noise is not None:
        share = figures.percent(told.findings.noise / 0.18, 1)
        show.paragraph(f"noise, as shot: {share} of an 18 % grey")


def _light(found: Findings) -> None:
    """What the light does while the clip runs."""
    if found.drift is None or found.flicker is None:
        show.paragraph("drift and flicker: not looked at (--no-steadying)")
        return
    for name, one in (("drift", found.drift), ("flicker", found.flicker)):
        change = f"; what would change that: {said(one.would_change)}" if one.would_change else ""
        show.paragraph(f"{name}: {one.status}: {said(one.why)}{change}")


def _skin(told: Explanation) -> None:
    if told.skin is not None:
        show.paragraph(f"skin: {_skin_words(told.skin)}")


def _skin_words(found: SkinFinding) -> str:
    return sentences(found.check.why) if found.check is not None else said(found.why_none)


def _proposal(decision: LevelDecision) -> None:
    p = decision.proposal
    if p is None:
        return
    show.paragraph(f"proposal, not applied: {proposal(p)}; {said(p.why)}")
    show.paragraph(f"exposure: {said(p.exposure)}")
    show.paragraph(
        f"to take it: evenhand adjust {decision.clip} --white {p.white.kelvin:.0f} "
        f"--duv {p.white.duv:.4f}"
    )
