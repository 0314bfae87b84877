"""Sheets and walls laid out on paper: pictures and words at places, in points of 1/72 inch.

Both painters (`pdf`, `sheetpicture`) draw the same pages. The origin is the upper left corner, and
words stand on their baseline.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final, Literal

import msgspec

from evenhand.drawing.lettering import clipped, width, wrapped
from evenhand.drawing.lookmodel import Column, Row, SheetLook, SheetModel, WallModel
from evenhand.drawing.looksheet import headline, in_lines
from evenhand.drawing.model import Picture
from evenhand.wording.figures import plain, strength

Tone = Literal["ink", "quiet", "warn", "fail", "mat", "hair"]

A4: Final = (595.28, 841.89)
_MARGIN, _GAP, _SIDE = 30.0, 5.0, 6.0
_BETWEEN = 9.0
_TALL_WIDTH: Final = 960.0


@dataclass(frozen=True, slots=True)
class Words:
    """A line of text."""

    x: float
    y: float
    text: str
    size: float = 9.0
    bold: bool = False
    tone: Tone = "ink"


@dataclass(frozen=True, slots=True)
class Box:
    """A filled rectangle."""

    x: float
    y: float
    width: float
    height: float
    tone: Tone


@dataclass(frozen=True, slots=True)
class Placed:
    """A picture, drawn to fill its rectangle; `alt` says what it shows."""

    x: float
    y: float
    width: float
    height: float
    picture: Picture
    alt: str


@dataclass(slots=True)
class Page:
    """What stands on one page, in the order in which it is painted."""

    width: float
    height: float
    items: list[Words | Box | Placed] = field(default_factory=list)

    @property
    def inner(self) -> float:
        """Width between the margins."""
        return self.width - 2 * _MARGIN


def sheet_pages(model: SheetModel, whole: bool = False) -> list[Page]:
    """A sheet on A4, with the pictures without a look at the head of each page.

    `whole` gives one page as high as it must be.
    """
    page = Page(_TALL_WIDTH, 0.0) if whole else Page(*A4)
    pages, bottom = [page], page.height - _MARGIN - 8.0
    scenes_only = msgspec.structs.replace(model, cards=())
    y = _head(page, model.title, headline(model))
    y = _block(page, y, model, None, None)
    for look in model.looks:
        for row in look.rows:
            high = _block_height(page, model, look, row)
            if not whole and y + high > bottom:
                page = Page(*A4)
                pages.append(page)
                y = _block(page, _MARGIN, scenes_only, None, None)
            y = _block(page, y, model, look, row)
    if whole:
        page.height = y + 20.0
    _feet(pages, model.title)
    return pages


def wall_page(model: WallModel) -> Page:
    """A wall as one page, the clip without a look at the head of each row."""
    page = Page(_TALL_WIDTH, 0.0)
    lead = f"{model.clip} at {model.at}, each look at {plain(strength(model.strength))}"
    y = _head(page, f"Looks for {model.clip}", lead)
    ratio = model.before.width / model.before.height
    across, gap = 6 if ratio < 1.0 else 4, 8.0
    wide = (page.inner - 2 * _SIDE - (across - 1) * gap) / across
    high = wide / ratio
    for start in range(0, len(model.tiles), across - 1):
        page.items.append(Box(_MARGIN, y, page.inner, high + 2 * _SIDE, "mat"))
        x = _MARGIN + _SIDE
        _fitted(page, (x, y + _SIDE), (wide, high), model.before, f"{model.clip} without a look")
        page.items.append(Words(x, y + high + 24.0, "without a look", 9.0, tone="quiet"))
        for tile in model.tiles[start : start + across - 1]:
            x += wide + gap
            _fitted(page, (x, y + _SIDE), (wide, high), tile.picture, f"{model.clip}: {tile.title}")
            under = y + high + 25.0
            page.items.append(Words(x, under, tile.title, 11.0, bold=True))
            for line in wrapped(tile.purpose, wide, 8.5)[:2]:
                under += 11.5
                page.items.append(Words(x, under, line, 8.5, tone="quiet"))
            if tile.verdict != "pass":
                line = clipped(tile.words, wide, 8.5)
                page.items.append(Words(x, under + 11.5, line, 8.5, tone=tile.verdict))
        y += high + 74.0
    if model.tiles:
        page.items.append(Words(_MARGIN, y, "To use one:", 9.0, tone="quiet"))
        page.items.append(Words(_MARGIN + 54.0, y, model.tiles[0].command, 9.0))
    page.height = y + 20.0
    return page


def _head(page: Page, title: str, lead: str) -> float:
    page.items.append(Words(_MARGIN, _MARGIN + 18.0, clipped(title, page.inner, 22.0), 22.0, True))
    page.items.append(Words(_MARGIN, _MARGIN + 34.0, clipped(lead, page.inner, 10.0), 10.0))
    return _MARGIN + 50.0


def _block(
    page: Page, y: float, model: SheetModel, look: SheetLook | None, row: Row | None
) -> float:
    """One look at one strength, or the pictures without a look; where the next one begins."""
    y = _caption(page, y, look, row)
    scenes = [c.before for c in model.scenes] if row is None else list(row.scenes)
    cards = [c.before for c in model.cards] if row is None else list(row.cards)
    lines, across = in_lines(len(model.scenes))
    wide = (page.inner - 2 * _SIDE - (across - 1) * _GAP) / across
    card_wide = _card_width(page, model)
    card_high = card_wide * cards[0].height / cards[0].width if cards else 0.0
    high = lines * (wide * 9.0 / 16.0 + _GAP) + card_high
    page.items.append(Box(_MARGIN, y, page.inner, high + 2 * _SIDE, "mat"))
    for place, (column, picture) in enumerate(zip(model.scenes, scenes, strict=True)):
        x = _MARGIN + _SIDE + (place % across) * (wide + _GAP)
        down = y + _SIDE + (place // across) * (wide * 9.0 / 16.0 + _GAP)
        _fitted(page, (x, down), (wide, wide * 9.0 / 16.0), picture, _alt(column, look))
    down = y + _SIDE + lines * (wide * 9.0 / 16.0 + _GAP)
    for place, (column, picture) in enumerate(zip(model.cards, cards, strict=True)):
        x = _MARGIN + _SIDE + place * (card_wide + _GAP)
        _fitted(page, (x, down), (card_wide, card_high), picture, _alt(column, look))
    return y + high + 2 * _SIDE + _BETWEEN


def _caption(page: Page, y: float, look: SheetLook | None, row: Row | None) -> float:
    """Title, purpose, strength and verdict over the pictures."""
    if look is None or row is None:
        page.items.append(Words(_MARGIN, y + 9.0, "Without a look", 11.0, bold=True))
        return y + 15.0
    said = clipped(f"{plain(strength(row.strength))}: {row.words}", 0.6 * page.inner, 9.0)
    tone: Tone = "quiet" if row.verdict == "pass" else row.verdict
    x = page.width - _MARGIN - width(said, 9.0)
    page.items.append(Words(x, y + 10.0, said, 9.0, tone=tone))
    page.items.append(Words(_MARGIN, y + 10.0, look.title, 13.0, bold=True))
    for line in _purpose(page, look) if row == look.rows[0] else []:
        page.items.append(Words(_MARGIN, y + 21.5, line, 9.0, tone="quiet"))
        y += 11.5
    return y + 14.0


def _block_height(page: Page, model: SheetModel, look: SheetLook, row: Row) -> float:
    scratch = Page(page.width, page.height)
    return _block(scratch, 0.0, model, look, row) - _BETWEEN


def _purpose(page: Page, look: SheetLook) -> list[str]:
    return wrapped(look.purpose, page.inner, 9.0)[:2]


def _alt(column: Column, look: SheetLook | None) -> str:
    return f"{column.alt}, {'without a look' if look is None else look.title}"


def _card_width(page: Page, model: SheetModel) -> float:
    count = max(1, len(model.cards))
    return (page.inner - 2 * _SIDE - (count - 1) * _GAP) / count


def _fitted(
    page: Page, corner: tuple[float, float], room: tuple[float, float], picture: Picture, alt: str
) -> None:
    """A picture as large as its room allows, in the middle of it."""
    share = min(room[0] / picture.width, room[1] / picture.height)
    wide, high = picture.width * share, picture.height * share
    x, y = corner[0] + (room[0] - wide) / 2.0, corner[1] + (room[1] - high) / 2.0
    page.items.append(Placed(x, y, wide, high, picture, alt))


def _feet(pages: Sequence[Page], title: str) -> None:
    if len(pages) == 1:
        return
    for number, page in enumerate(pages, 1):
        words = f"{title}, page {number} of {len(pages)}"
        page.items.append(Words(_MARGIN, page.height - 22.0, words, 8.0, tone="quiet"))
