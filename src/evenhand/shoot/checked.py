"""What a document that a person may have edited has to hold beside its types."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from itertools import chain
from pathlib import PurePosixPath
from typing import Final

from evenhand.grade.document import Adjustment, Levelling, White
from evenhand.names import real_path
from evenhand.shoot.document import ClipEntry, Shoot

STOPS: Final = 16.0  # either way
KELVIN: Final = (1667.0, 25000.0)  # as CIE 15 draws the locus
DUV: Final = 0.05
_LONGEST: Final = 4096  # characters of a path or name


def faults(shoot: Shoot) -> Iterator[str]:
    """What makes no sense, each with the place in the document; nothing for a sound one."""
    cards = {card.name for card in shoot.cards}
    ids = {clip.id for clip in shoot.clips}
    yield from _twice("cards", [card.name for card in shoot.cards])
    yield from _twice("clips", [clip.id for clip in shoot.clips])
    yield from _twice("places", [place.name for place in shoot.places])
    yield from _twice("places[…].clips", list(chain(*(p.clips for p in shoot.places))))
    for clip in shoot.clips:
        at = f"clips, {clip.id[:60]!r}"
        if clip.card not in cards:
            yield f"{at}: its card {clip.card[:60]!r} is not in cards"
        yield from (f"{at}: {fault}" for fault in _of_clip(clip))
    for place in shoot.places:
        for name in {*place.clips, place.reference or place.clips[0]} - ids if place.clips else ():
            yield f"places, {place.name[:60]!r}: there is no clip {name[:60]!r}"
    for number, card in enumerate(shoot.grey_cards):
        at = f"grey_cards[{number}]"
        if card.clip not in ids:
            yield f"{at}: there is no clip {card.clip[:60]!r}"
        if not (0 <= card.x <= 1 and 0 <= card.y <= 1):
            yield f"{at}: {card.x:g}, {card.y:g} lies outside the picture (0 to 1)"
        if not _is_time(card.seconds):
            yield f"{at}: {card.seconds[:40]!r} is no time in seconds, such as 25/2"
    if not 0 <= shoot.wishes.leave_warmth <= 1:
        yield f"wishes.leave_warmth: {shoot.wishes.leave_warmth:g} is no share (0 to 1)"


def _twice(where: str, names: list[str]) -> Iterator[str]:
    seen: set[str] = set()
    for name in names:
        if not name or "\0" in name or len(name) > _LONGEST:
            yield f"{where}: {name[:40]!r} is no name"
        if name in seen:
            yield f"{where}: {name[:60]!r} stands there twice"
        seen.add(name)


def _of_clip(clip: ClipEntry) -> Iterator[str]:
    path = PurePosixPath(clip.path)
    if path.is_absolute() or ".." in path.parts or not clip.path or "\0" in clip.path:
        yield f"its path {clip.path[:60]!r} leaves the card"
    if len(real_path(clip.path)) > _LONGEST or clip.bytes < 0:
        yield "no file has such a path or size"
    if not 0 <= clip.confidence <= 1:
        yield f"confidence {clip.confidence:g} is no share (0 to 1)"
    if clip.look is not None and not 0 <= clip.look.strength <= 1:
        yield f"the look's strength {clip.look.strength:g} is no share (0 to 1)"
    yield from _light(clip.levelling)
    yield from _by_hand(clip.adjustment)


def _light(levelling: Levelling) -> Iterator[str]:
    if abs(levelling.stops) > STOPS:
        yield f"levelling of {levelling.stops:g} stops is outside ±{STOPS:g}"
    yield from _white(levelling.white)
    drift = levelling.steadying
    if drift is not None and len({len(x) for x in (drift.seconds, drift.stops)}) > 1:
        yield "its drift has not as many stops as moments"


def _by_hand(adjustment: Adjustment) -> Iterator[str]:
    if abs(adjustment.exposure) > STOPS:
        yield f"exposure of {adjustment.exposure:g} stops is outside ±{STOPS:g}"
    if not 0 < adjustment.contrast <= 10:
        yield f"contrast {adjustment.contrast:g} is outside 0 to 10"
    if not 0 <= adjustment.saturation <= 10:
        yield f"saturation {adjustment.saturation:g} is outside 0 to 10"
    if min(adjustment.cdl.power) <= 0 or max(map(abs, chain(*adjustment.cdl.triples()))) > 100:
        yield "its CDL holds numbers that no grade has"
    yield from _white(adjustment.white)


def _white(white: White | None) -> Iterator[str]:
    if white is None:
        return
    if not KELVIN[0] <= white.kelvin <= KELVIN[1] or abs(white.duv) > DUV:
        yield (
            f"a white of {white.kelvin:g} K, Duv {white.duv:g} is outside {KELVIN[0]:g} to "
            f"{KELVIN[1]:g} K and ±{DUV:g}"
        )


def _is_time(text: str) -> bool:
    if len(text) > 60:
        return False
    try:
        return 0 <= Fraction(text) < 10**6
    except (ValueError, ZeroDivisionError):
        return False
