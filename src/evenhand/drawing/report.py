"""The report: one page of a shoot that needs nothing beside itself.

Pictures are inside it, and its content security policy forbids it to fetch anything or to run any
script but its own. Everything that came from a card is escaped.
"""

from __future__ import annotations

import base64
import hashlib
from functools import cache
from typing import Any, Final

import jinja2
from markupsafe import Markup

from evenhand.drawing import words
from evenhand.drawing.ends import STYLE as ENDS_STYLE
from evenhand.drawing.ends import ends_svg
from evenhand.drawing.evenness import STYLE, exposure_svg, white_svg
from evenhand.drawing.model import ClipReport, Picture, PlaceReport, ReportModel
from evenhand.drawing.picture import stamp
from evenhand.drawing.skin import SKIN_STYLE, seen_skin, skin_svg
from evenhand.drawing.templating import asset, environment
from evenhand.drawing.worst import worst
from evenhand.measure.decisions import Evenness
from evenhand.measure.skin.check import SkinCheck
from evenhand.wording import figures
from evenhand.wording.levelling import proposal, status_words
from evenhand.wording.saying import said, sentence, sentences

_STAMP_HEIGHT: Final = 264  # pixels, shown at about half to two thirds of it on the page


def report_html(model: ReportModel) -> str:
    """The whole page, as HTML."""
    script = asset("report.js")
    verdict, headline = words.headline(model)
    return (
        _environment()
        .get_template("report.html.j2")
        .render(
            m=model,
            verdict=verdict,
            headline=headline,
            tiles=words.tiles(model),
            groups=_groups(model),
            css=Markup(
                asset("report.css") + STYLE + ENDS_STYLE + SKIN_STYLE
            ),  # our own files, not data
            script=Markup(script),
            script_hash=base64.b64encode(hashlib.sha256(script.encode()).digest()).decode(),
        )
    )


def data_uri(picture: Picture) -> str:
    """A picture as an address that holds all of it."""
    return f"data:{picture.mime};base64,{base64.b64encode(picture.data).decode()}"


class _Group:
    """A place with its clips, or the clips that belong to none."""

    def __init__(self, number: int, place: PlaceReport | None, clips: list[ClipReport]) -> None:
        self.ident = f"place-{number}" if place else "no-place"
        self.place = place
        self.clips = clips
        self.name = place.name if place else "Clips in no place"

    @property
    def evenness(self) -> Evenness | None:
        """The evenness record, where there is something to draw."""
        record = self.place.evenness if self.place else None
        return record if record and record.clips else None

    @property
    def stamps(self) -> list[tuple[ClipReport, Picture | None, Picture | None]]:
        """Each clip that has a picture, with small copies of before and after."""
        return [(c, _small(c.before), _small(c.after)) for c in self.clips if c.before or c.after]


def _groups(model: ReportModel) -> list[_Group]:
    by_id = {clip.id: clip for clip in model.clips}
    groups: list[_Group] = []
    placed: set[str] = set()
    for number, place in enumerate(model.places, 1):
        clips = [by_id[i] for i in place.clips if i in by_id]
        placed.update(clip.id for clip in clips)
        groups.append(_Group(number, place, clips))
    loose = [clip for clip in model.clips if clip.id not in placed]
    if loose:
        groups.append(_Group(0, None, loose))
    return groups


def _small(picture: Picture | None) -> Picture | None:
    return None if picture is None else stamp(picture, _STAMP_HEIGHT)


def _panels(evenness: Evenness, ident: str) -> Markup:
    """Both panels of the chart; the names in them are escaped where they are drawn."""
    return Markup(
        exposure_svg(evenness, f"{ident}-exposure", style=False)
        + white_svg(evenness, f"{ident}-white", style=False)
    )


def _ends_strip(clip: ClipReport, ident: str) -> Markup:
    """What a clip loses at the ends of its range over time; drawn from numbers alone."""
    return Markup(ends_svg(clip.ends, clip.duration, ident) if clip.ends else "")


def _skin_panel(check: SkinCheck, ident: str) -> Markup:
    """The skin panel; names in it are escaped where they are drawn."""
    return Markup(skin_svg(check, ident, style=False))


@cache
def _environment() -> jinja2.Environment:
    made = environment()
    filters: dict[str, Any] = {
        "stops": figures.stops,
        "white": figures.white,
        "percent": figures.percent,
        "strength": figures.strength,
        "small_percent": figures.small_percent,
        "size": figures.size,
        "facts": words.facts,
        "compiled": words.compiled,
        "difference": figures.difference,
        "proposal": proposal,
        "said": said,
        "sentence": sentence,
        "sentences": sentences,
        "outcome": status_words,
        "master_verdict": words.master_verdict,
        "uri": data_uri,
    }
    made.filters.update(filters)
    made.globals.update(
        counted=figures.counted,
        panels=_panels,
        skin_panel=_skin_panel,
        ends_strip=_ends_strip,
        seen_skin=seen_skin,
        from_to=words.from_to,
        worst=worst,
    )
    return made
