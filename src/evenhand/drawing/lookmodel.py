"""What the pages of looks show, as data: filled by jobs, drawn by other modules here."""

from __future__ import annotations

import msgspec

from evenhand.drawing.model import Picture
from evenhand.measure.looks.health import AtStrength, Health, Measure
from evenhand.measure.looks.limits import LIMITS, Verdict

SIGN: dict[Verdict, str] = {"pass": "○", "warn": "△", "fail": "✕"}
SAID: dict[Verdict, str] = {"pass": "passes", "warn": "look at it", "fail": "fails"}


class Column(msgspec.Struct, frozen=True):
    """One picture that all looks are shown on: its name, what it shows, and it without a look."""

    name: str
    alt: str
    before: Picture


class Row(msgspec.Struct, frozen=True):
    """A look at one strength, 0..1: its pictures in the order of the columns, and its health."""

    strength: float
    scenes: tuple[Picture, ...]
    cards: tuple[Picture, ...]
    verdict: Verdict
    words: str


class SheetLook(msgspec.Struct, frozen=True):
    """One look of a sheet. `kind` says in a few words what it expects and what its table is."""

    name: str
    title: str
    purpose: str
    kind: str
    rows: tuple[Row, ...]

    @property
    def verdict(self) -> Verdict:
        """At the greatest strength."""
        return self.rows[-1].verdict


class SheetModel(msgspec.Struct, frozen=True):
    """A sheet of looks: scenes and clips first, then charts that are made."""

    title: str
    scenes: tuple[Column, ...]
    cards: tuple[Column, ...]
    looks: tuple[SheetLook, ...]
    notes: tuple[str, ...] = ()


class Tile(msgspec.Struct, frozen=True):
    """One look on a wall; `command` is what puts it on the clip."""

    name: str
    title: str
    purpose: str
    picture: Picture
    verdict: Verdict
    words: str
    command: str


class WallModel(msgspec.Struct, frozen=True):
    """All looks on one frame of a clip, at one strength."""

    clip: str
    at: str
    strength: float
    before: Picture
    tiles: tuple[Tile, ...]
    notes: tuple[str, ...] = ()


class Step(msgspec.Struct, frozen=True):
    """A step in the order of work; `here` is the look's own."""

    name: str
    words: str
    here: bool = False


class ExplainModel(msgspec.Struct, frozen=True):
    """One look, explained. `pairs` are pictures with the look, in the order of `columns`."""

    name: str
    title: str
    purpose: str
    expects: str
    placing: str
    order: tuple[Step, ...]
    moves: tuple[str, ...]
    moves_note: str
    effects: tuple[str, ...]
    columns: tuple[Column, ...]
    after: tuple[Picture, ...]
    health: Health


def figure(measure: Measure) -> str:
    """A measure's value with its unit: "9.3°"."""
    value = f"{measure.value:.{LIMITS[measure.key].digits}f}".replace("-", "−")
    return f"{value} {measure.unit}".rstrip()


def verdict_words(part: AtStrength) -> str:
    """The verdict at a strength, and what is behind it where it is not passed."""
    found = part.faults
    if not found:
        return SAID[part.verdict]
    named = ", ".join(f"{measure.name} {figure(measure)}" for measure in found[:2])
    more = f" and {len(found) - 2} more" if len(found) > 2 else ""
    return f"{SAID[part.verdict]}: {named}{more}"
