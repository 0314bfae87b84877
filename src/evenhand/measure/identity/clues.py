"""What each sign of a clip says for and against each family of encodings.

A clue holds one likelihood a family: how often a clip of that family shows this sign, up to a
common factor. They are judgement, written down so that they can be argued with; what can be
computed (the black of a published curve, the gamut of a triangle) is, and says so.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import msgspec

from evenhand.colourmath.codepoints import UNSPECIFIED
from evenhand.measure.identity.picture import DARK, PictureStats
from evenhand.measure.identity.tags import TagSigns, resolve
from evenhand.reasons import Reason, because

PHONE, OTHER, HLG, PQ, SDR = "phone-log", "other-log", "hlg", "pq", "sdr"
FAMILIES: Final = (PHONE, OTHER, HLG, PQ, SDR)
# What this tool is given: phone clips, so mostly phone log and the phone's own formats.
PRIOR: Final = {PHONE: 0.35, OTHER: 0.03, HLG: 0.2, PQ: 0.07, SDR: 0.35}
_SOME: Final = 0.0005
INTRA: Final = ("prores",)
# Titles of published curves as metadata may spell them, without punctuation.
CURVES: Final = ("slog3", "logc3", "logc4", "vlog", "clog2", "clog3", "log3g10")


class Signs(msgspec.Struct, frozen=True):
    """Everything identification may look at, as plain values.

    `created` is an ISO date or None. `vendor` holds the suffixes of vendor keys that are there,
    never their values. `log_hints` is metadata that speaks of log, by suffix of its key.
    """

    codec: str
    profile: str
    bits: int
    chroma: str
    height: int
    container: TagSigns = TagSigns()
    bitstream: TagSigns = TagSigns()
    created: str | None = None
    vendor: tuple[str, ...] = ()
    log_hints: dict[str, str] = {}
    picture: PictureStats | None = None


@dataclass(frozen=True, slots=True)
class Clue:
    """One sign and its likelihood in each family; families left out have 1."""

    kind: str
    found: Reason
    likelihood: dict[str, float]


def clues(signs: Signs) -> Iterator[Clue]:
    """All clues of a clip, strongest sources first."""
    tags, _conflicts = resolve(signs.bitstream, signs.container)
    yield _transfer(signs, tags)
    yield _gamut(tags)
    if signs.log_hints:
        yield _hints(signs)
    yield _codec(signs)
    if "make" in signs.vendor or "model" in signs.vendor:
        yield Clue(
            "metadata",
            because("sign.cameras-words"),
            {HLG: 0.8, PQ: 0.8, SDR: 0.8},
        )
    if signs.picture is not None:
        yield from _picture(signs.picture)


def _transfer(signs: Signs, tags: TagSigns) -> Clue:
    place = "bitstream" if signs.bitstream.transfer != UNSPECIFIED else "container"
    code = tags.transfer
    found = because("sign.transfer", transfer=code)
    if code == 18:
        likelihood = {PHONE: 0.001, OTHER: 0.001, PQ: 0.001, SDR: 0.001}
    elif code == 16:
        likelihood = {PHONE: 0.001, OTHER: 0.001, HLG: 0.001, SDR: 0.001}
    elif code == UNSPECIFIED:
        # H.273 has no code for any camera log; phones tag their other formats.
        likelihood = {HLG: 0.01, PQ: 0.01, SDR: 0.3}
        return Clue("tags", because("sign.transfer-open", transfer=code), likelihood)
    else:
        # Log that carries the tags of the format around it is seen, in cameras more than phones.
        likelihood = {PHONE: 0.03, OTHER: 0.6, HLG: 0.01, PQ: 0.005}
    return Clue(f"{place} tag", found, likelihood)


def _gamut(tags: TagSigns) -> Clue:
    primaries, matrix = tags.primaries, tags.matrix
    found = because("sign.gamut", primaries=primaries, matrix=matrix)
    if (primaries, matrix) == (9, 9) and tags.transfer in (14, 15):
        likelihood = {OTHER: 0.3}
    elif (primaries, matrix) == (9, 9):
        likelihood = {OTHER: 0.5, SDR: 0.1}
    elif (primaries, matrix) == (UNSPECIFIED, 9):
        likelihood = {PHONE: 0.5, OTHER: 0.2, HLG: 0.1, PQ: 0.1, SDR: 0.03}
    elif (primaries, matrix) == (UNSPECIFIED, UNSPECIFIED):
        likelihood = {PHONE: 0.1, OTHER: 0.5, HLG: 0.05, PQ: 0.05, SDR: 0.4}
    elif primaries in (1, UNSPECIFIED) and matrix in (1, UNSPECIFIED):
        likelihood = {PHONE: 0.02, OTHER: 0.8, HLG: 0.01, PQ: 0.01}
    elif primaries in (5, 6, 7, 22) or matrix in (5, 6):
        likelihood = {PHONE: 0.005, OTHER: 0.01, HLG: 0.005, PQ: 0.005}
    elif primaries == 12:
        likelihood = {PHONE: 0.02, OTHER: 0.02, HLG: 0.05, PQ: 0.2}
    else:
        likelihood = {PHONE: 0.2, OTHER: 0.4, HLG: 0.1, PQ: 0.1, SDR: 0.2}
    return Clue("tags", found, likelihood)


def _hints(signs: Signs) -> Clue:
    keys = sorted(signs.log_hints)
    found = because("sign.hints", keys=[*keys], values=[signs.log_hints[key] for key in keys])
    others = {HLG: 0.02, PQ: 0.02, SDR: 0.02}
    if named_curve(signs) is not None:
        return Clue("metadata", found, {PHONE: 0.01, **others})
    return Clue("metadata", found, {OTHER: 0.5, **others})


def named_curve(signs: Signs) -> str | None:
    """The published curve that metadata names by its title, if exactly one."""
    said = " ".join(f"{key} {value}" for key, value in signs.log_hints.items()).lower()
    spelt = re.sub(r"[^a-z0-9 ]", "", said)
    found = {curve for curve in CURVES if re.search(rf"(?<![a-z]){curve}(?![0-9])", spelt)}
    return found.pop() if len(found) == 1 else None


def _codec(signs: Signs) -> Clue:
    found = because(
        "sign.codec",
        codec=signs.codec,
        profile=signs.profile,
        bits=signs.bits,
        chroma=signs.chroma,
    )
    if signs.bits <= 8:
        return Clue("codec", found, {PHONE: 0.01, OTHER: 0.5, HLG: 0.05, PQ: 0.02})
    if signs.codec in INTRA:
        return Clue("codec", found, {OTHER: 0.5, HLG: 0.4, PQ: 0.3, SDR: 0.15})
    if signs.codec == "h264":
        return Clue("codec", found, {PHONE: 0.1, OTHER: 0.6, HLG: 0.1, PQ: 0.05, SDR: 0.3})
    return Clue("codec", found, {SDR: 0.3})


def darks_end_at_phone_black(picture: PictureStats) -> bool:
    """Whether the darks stop where the black of phone log, code 196, would have them stop.

    Light of a scene is not quite black and noise spreads: a few codes under it, some over it.
    """
    return picture.dark <= _SOME and 185 <= picture.floor <= 230


def _picture(picture: PictureStats) -> Iterator[Clue]:
    yield _darks(picture)
    yield _contrast(picture)
    if picture.clip_code is not None:
        yield _clip(picture.clip_code)
    strong = picture.saturation > 0.45
    found = because("sign.colour", share=picture.saturation)
    yield Clue(
        "picture", found, {PHONE: 0.3, OTHER: 0.2} if strong else {HLG: 0.8, PQ: 0.8, SDR: 0.7}
    )


def _darks(picture: PictureStats) -> Clue:
    if picture.dark > _SOME:
        found = because("sign.darker-than-black", share=picture.dark, level=DARK)
        much = picture.dark > 0.005
        return Clue("picture", found, {PHONE: 0.002 if much else 0.05})
    if darks_end_at_phone_black(picture):
        found = because("sign.darks-end", level=picture.floor)
        return Clue("picture", found, {OTHER: 0.4, HLG: 0.2, PQ: 0.25, SDR: 0.15})
    found = because("sign.nothing-dark", level=picture.floor)
    return Clue("picture", found, {HLG: 0.5, PQ: 0.5, SDR: 0.3})


def _contrast(picture: PictureStats) -> Clue:
    """SDR is made to fill its range from 64 to 940; log leaves room at both ends."""
    lifted, dim = picture.floor > 90, picture.ceiling < 850
    if lifted and not dim and picture.white > 0.01:
        found = because("sign.white", share=picture.white)
        return Clue("picture", found, {PHONE: 0.3, OTHER: 0.1, PQ: 0.5})
    found = because(
        "sign.contrast",
        low=picture.floor,
        high=picture.ceiling,
        black=not lifted,
        white=not dim,
    )
    if lifted and dim:
        return Clue("picture", found, {HLG: 0.7, SDR: 0.07})
    if lifted:
        return Clue("picture", found, {HLG: 0.9, SDR: 0.4})
    if dim:
        return Clue("picture", found, {PHONE: 0.5, OTHER: 0.5, SDR: 0.7})
    return Clue("picture", found, {PHONE: 0.05, OTHER: 0.05, PQ: 0.5})


def _clip(code: int) -> Clue:
    """A pile-up of highlights: at the end of the scale, or where a sensor ended below it."""
    if code >= 936:
        found = because("sign.clips-at-end", level=code)
        return Clue("picture", found, {OTHER: 0.4, HLG: 0.8, PQ: 0.3})
    found = because("sign.clips-below-end", level=code)
    return Clue("picture", found, {HLG: 0.6, SDR: 0.4})
