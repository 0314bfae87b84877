"""What a look does, as an illustrated page."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import msgspec

from evenhand.atomic import write_whole
from evenhand.drawing.lookexplain import explain_html
from evenhand.drawing.lookmodel import Column, ExplainModel, Step
from evenhand.errors import UsageError
from evenhand.grade.recipe import Recipe
from evenhand.grade.spaces import DISPLAY, gives_of, is_scene
from evenhand.jobs.look import LookFacts, facts_of
from evenhand.jobs.looks import FoundLook, find_look
from evenhand.jobs.looksheet import drawn, title_of
from evenhand.jobs.lookviews import demo_views, ready
from evenhand.luts.declared import Declared
from evenhand.measure.looks.health import STRENGTHS, Health
from evenhand.media.target import check_target

_ORDER: Final = (
    Step("Encoding", "what the clip’s code values mean as light"),
    Step("Levelling", "exposure and white, so that clips match"),
    Step("By hand", "what a person changed"),
    Step("Output transform", "from the scene’s light to a display"),
    Step("Master", "coded, written and read back"),
)


class Explained(msgspec.Struct, frozen=True):
    """A page that was written."""

    look: str
    path: str
    verdict: str


def explain_look(
    name: str,
    to: Path,
    declared: Declared | None = None,
    correction: str | None = None,
    *,
    overwrite: bool = False,
) -> Explained:
    """Write a page (.html) of what a look does.

    Raises UsageError for another suffix or a name that is no look, LookFileError for a file that
    cannot be read, TargetError where the place cannot take it.
    """
    if to.suffix.lower() != ".html":
        raise UsageError(to, "this page is HTML", "End the name with .html")
    found = find_look(name, declared, correction)
    check_target(to, overwrite=overwrite)
    look = ready(found, STRENGTHS)
    views = demo_views()
    facts = facts_of(found, declared)
    model = ExplainModel(
        name=found.name,
        title=title_of(found),
        purpose=facts.look.purpose,
        expects=_expects(found, facts),
        placing=_placing(facts),
        order=_order(found),
        moves=facts.look.moves,
        moves_note=_note(facts, look.health),
        effects=found.look.effects.words if isinstance(found.look, Recipe) else (),
        columns=tuple(Column(v.name, v.alt, drawn(v, v.shown)) for v in views),
        after=tuple(drawn(v, look.on(v, 1.0)) for v in views),
        health=look.health,
    )
    write_whole(to, explain_html(model, look.traces).encode())
    return Explained(found.name, str(to), look.health.verdict)


def _note(facts: LookFacts, health: Health) -> str:
    full = health.strengths[-1]
    lands = (
        (
            f"18 % grey moves by {full.value('card'):+.1f} L*, black lands at "
            f"{full.value('black'):.1f} and white at {full.value('white'):.1f} % of the signal."
        )
        .replace("+0.0", "0.0")
        .replace("-0.0", "0.0")
        .replace("-", "−")
    )
    if facts.look.moves:
        return f"These moves, in this order, and nothing else. {lands}"
    return f"It is a table, and a table says nothing of how it was made. {lands}"


def _expects(found: FoundLook, facts: LookFacts) -> str:
    space, gives = found.look.space, gives_of(found.look)
    by = " Nobody says so: it is assumed." if facts.declared_by == "nobody" else ""
    if space == gives == DISPLAY:
        return (
            "It expects the signal of a BT.709 display and gives it back: it goes after the "
            f"output transform, never straight on log.{by}"
        )
    if space == gives:
        return (
            f"It expects {space} signal and gives it back: it goes before the output transform.{by}"
        )
    return (
        f"It expects {space} signal and gives {gives}: it takes the output transform’s place.{by}"
    )


def _placing(facts: LookFacts) -> str:
    if facts.placing.verdict == "agrees":
        return ""
    return f"Its values say otherwise: {facts.placing.says}. {facts.placing.remedy}."


def _order(found: FoundLook) -> tuple[Step, ...]:
    """The order of work, with the look in its place."""
    space, gives = found.look.space, gives_of(found.look)
    if space == gives:
        here = Step(
            title_of(found),
            "on the display’s signal, at a strength" if space == DISPLAY else f"in {space} signal",
            here=True,
        )
        at = 3 if is_scene(space) else 4
        return (*_ORDER[:at], here, *_ORDER[at:])
    here = Step(
        title_of(found), f"from {space} to {gives}, in place of an output transform", here=True
    )
    return (*_ORDER[:3], here, *_ORDER[4:])
