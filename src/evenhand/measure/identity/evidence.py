"""Which encoding a clip has, how sure that is, and why.

Signs are weighed as likelihoods of families of encodings (see `clues`), and the family's encoding
is completed from the tags. Nothing is identified by a camera's name. Two things are never guessed:
which camera log a clip has (grey and black of several published curves are the same code), and the
generation of phone log beyond what dates, tags and metadata allow, since both have one curve.
"""

from __future__ import annotations

import math
import re
from typing import Final

import msgspec

from evenhand.colourmath.codepoints import TRANSFER_BY_CODE, UNSPECIFIED
from evenhand.colourmath.encodings import ENCODINGS, Encoding
from evenhand.measure.identity.clues import (
    CURVES,
    FAMILIES,
    HLG,
    OTHER,
    PHONE,
    PQ,
    PRIOR,
    SDR,
    Clue,
    Signs,
    clues,
    darks_end_at_phone_black,
    named_curve,
)
from evenhand.measure.identity.tags import TagSigns, known_matrix, known_primaries, resolve
from evenhand.reasons import Reason, Why, because

CONFIDENT: Final = 0.9
_BY_DARKS: Final = 0.96
_BY_TAGS: Final = 0.88
_MOST: Final = 0.99  # nothing read from a file is certain
_LEAST_CANDIDATE: Final = 0.005
# The second generation was published in September 2025 (from memory).
_SECOND_SINCE: Final = "2025-09"
_FIRST_DATE: Final = "2015"  # before it a camera's clock was not set
_HD: Final = 720
_NUMBERED: Final = re.compile(
    r"(?:log|gen|generation)\W{0,3}(?:generation|gen|version|v)?\W{0,3}([12])(?![0-9.])"
)
_WORDED: Final = re.compile(r"(first|second)[ -]generation")


class Evidence(msgspec.Struct, frozen=True):
    """One piece of evidence: where from, what was found, what it says, and its weight.

    `weight` is the natural logarithm of how much likelier the sign is if `says` is true than on
    average of the others; 0 says nothing, 2.3 is ten to one.
    """

    kind: str
    found: Reason
    says: Reason
    weight: float


class Identification(msgspec.Struct, frozen=True):
    """The verdict on a clip. `confidence` is 0..1; below `CONFIDENT` the person is asked.

    `encoding` is the best guess even then, and None where nothing fits. `conflicts` are
    disagreements that a rule settled, `assumed` what nothing said.
    """

    encoding: Encoding | None
    confidence: float
    evidence: tuple[Evidence, ...]
    conflicts: Why
    candidates: tuple[tuple[str, float], ...]
    assumed: Why = ()

    @property
    def sure(self) -> bool:
        """Whether the clip may be worked on without asking."""
        return self.encoding is not None and self.confidence >= CONFIDENT


class _Choice(msgspec.Struct, frozen=True):
    """A complete encoding, the share of its family it stands for, and what it assumes."""

    encoding: Encoding
    share: float
    assumed: Why = ()


def identify(signs: Signs) -> Identification:
    """Weighs all signs of a clip; never raises."""
    tags, conflicts = resolve(signs.bitstream, signs.container)
    found = list(clues(signs))
    shares = _posterior(found)
    generation, second = _generation(signs, tags)
    choices = [
        (shares[family] * choice.share, choice)
        for family in FAMILIES
        for choice in _choices(family, signs, tags, second)
    ]
    choices.sort(key=lambda pair: -pair[0])
    evidence = [_as_evidence(clue) for clue in found if clue.likelihood]
    if shares[PHONE] > 0.05:
        evidence += generation
    best = choices[0] if choices and choices[0][0] > 0 else None
    conflicts += _range_conflict(signs, tags) + _picture_conflict(found, best)
    if best is None:
        return Identification(None, 0.0, tuple(evidence), conflicts, ())
    confidence = min(best[0], _MOST)
    if _range_conflict(signs, tags):
        confidence = min(confidence, 0.8)
    return Identification(
        encoding=None if _is_unnamed_log(best[1].encoding, signs) else best[1].encoding,
        confidence=round(confidence, 3),
        evidence=tuple(evidence),
        conflicts=conflicts,
        candidates=_candidates(choices),
        assumed=best[1].assumed,
    )


def _is_unnamed_log(encoding: Encoding, signs: Signs) -> bool:
    return _family_of(encoding) == OTHER and named_curve(signs) is None


def _posterior(found: list[Clue]) -> dict[str, float]:
    score = {
        family: math.log(PRIOR[family]) + sum(math.log(c.likelihood.get(family, 1)) for c in found)
        for family in FAMILIES
    }
    top = max(score.values())
    weight = {family: math.exp(value - top) for family, value in score.items()}
    total = sum(weight.values())
    return {family: value / total for family, value in weight.items()}


def _as_evidence(clue: Clue) -> Evidence:
    values = {family: clue.likelihood.get(family, 1.0) for family in FAMILIES}
    most = max(values.values())
    says = [family for family, value in values.items() if value == most]
    others = [value for family, value in values.items() if family not in says]
    weight = math.log(most / (sum(others) / len(others))) if others else 0.0
    told = because("says.family", families=[*says])
    return Evidence(clue.kind, clue.found, told, round(weight, 2))


def _generation(signs: Signs, tags: TagSigns) -> tuple[list[Evidence], float]:
    """Evidence for the generation of phone log, and the probability that it is the second."""
    odds, found = math.log(0.2 / 0.8), []

    def add(kind: str, what: Reason, weight: float) -> None:
        nonlocal odds
        odds += weight
        says = because("says.generation", generation=2 if weight > 0 else 1)
        found.append(Evidence(kind, what, says, round(abs(weight), 2)))

    number = hinted_generation(signs.log_hints)
    if number is not None:
        what = because("sign.generation", generation=number)
        add("metadata", what, math.log(200.0) * (1 if number == 2 else -1))
    day = (signs.created or "")[:10]
    if _FIRST_DATE <= day < _SECOND_SINCE:
        add("date", because("sign.before-second", day=day), -math.log(50.0))
    if tags.primaries == 9:
        add("tags", because("sign.first-primaries"), -math.log(1.8))
    elif tags.primaries == UNSPECIFIED and tags.matrix == 9:
        add("tags", because("sign.open-primaries"), math.log(6.0))
    if signs.picture is not None and signs.picture.impossible > 0.001:
        add("picture", because("sign.impossible", share=signs.picture.impossible), -math.log(2.0))
    return found, 1.0 / (1.0 + math.exp(-odds))


def hinted_generation(hints: dict[str, str]) -> int | None:
    """The generation, 1 or 2, that metadata about log gives; None where it says none or both."""
    numbers = set()
    for key, value in hints.items():
        said = f"{key} {value}".lower()
        if any(curve in re.sub(r"[^a-z0-9]", "", said) for curve in CURVES):
            continue
        numbers |= {int(n) for n in _NUMBERED.findall(said)}
        numbers |= {1 if word == "first" else 2 for word in _WORDED.findall(said)}
    return numbers.pop() if len(numbers) == 1 else None


def _choices(family: str, signs: Signs, tags: TagSigns, second: float) -> list[_Choice]:
    if family == PHONE:
        sure = _corroborated(signs)
        return [
            _complete(ENCODINGS["phone-log-1"], tags, sure * (1.0 - second)),
            _complete(ENCODINGS["phone-log-2"], tags, sure * second),
        ]
    if family in (HLG, PQ):
        return [_complete(ENCODINGS["hlg" if family == HLG else "pq"], tags, 1.0)]
    if family == OTHER:
        return _camera_logs(signs, tags)
    return _display_referred(signs, tags)


def _corroborated(signs: Signs) -> float:
    """Tags alone never settle on phone log: metadata or the picture's darks must agree."""
    if signs.log_hints:
        return 1.0
    darks = signs.picture is not None and darks_end_at_phone_black(signs.picture)
    return _BY_DARKS if darks else _BY_TAGS


def _complete(encoding: Encoding, tags: TagSigns, share: float) -> _Choice:
    """The usual encoding with the file's own matrix and range, where it says them."""
    assumed = []
    if tags.primaries == UNSPECIFIED and encoding.primaries == "bt2020":
        assumed.append(because("assumed.usual", what="primaries", value=encoding.primaries))
        share *= 0.9
    matrix = known_matrix(tags)
    if matrix is None:
        assumed.append(because("assumed.usual", what="matrix", value=encoding.matrix))
        share *= 0.85
    full = tags.full_range
    if full is None:
        assumed.append(because("assumed.usual", what="range", value=encoding.range))
    complete = msgspec.structs.replace(
        encoding,
        matrix=matrix or encoding.matrix,
        range=encoding.range if full is None else ("full" if full else "narrow"),
    )
    return _Choice(complete, share, tuple(assumed))


def _camera_logs(signs: Signs, tags: TagSigns) -> list[_Choice]:
    """The published logs: one where metadata names its curve and one gamut goes with it."""
    curve = named_curve(signs)
    usual = [e for e in ENCODINGS.values() if e.transfer in ((curve,) if curve else CURVES)]
    return [_complete(encoding, tags, 1.0 / len(usual)) for encoding in usual]


def _display_referred(signs: Signs, tags: TagSigns) -> list[_Choice]:
    transfer = TRANSFER_BY_CODE.get(tags.transfer, "bt1886")
    if tags.transfer not in (UNSPECIFIED, 1, 6, 13, 14, 15):
        return []  # a transfer that is tagged, and that we have no curve for
    if tags.matrix not in (UNSPECIFIED, 0, 1, 5, 6, 9):
        return []
    assumed, share = [], 1.0
    if tags.transfer == UNSPECIFIED:
        assumed.append(because("assumed.unsaid", what="transfer", value="bt709"))
        share *= 0.98 if signs.bits <= 8 else 0.85
    hd = signs.height >= _HD
    primaries, matrix = known_primaries(tags), known_matrix(tags)
    if primaries is None:
        lines = "bt601-525" if tags.matrix == 6 else "bt601-625"
        primaries = {"bt601": lines, "bt2020": "bt2020"}.get(matrix or "", "bt709")
        assumed.append(because("assumed.unsaid", what="primaries", value=primaries))
        share *= 0.97 if hd else 0.8
    if matrix is None:
        matrix = "bt709" if hd else "bt601"
        assumed.append(because("assumed.by-height", what="matrix", value=matrix))
        share *= 0.96 if hd else 0.7
    if tags.full_range is None:
        assumed.append(because("assumed.unsaid", what="range", value="narrow"))
    usual = (e for e in ENCODINGS.values() if (e.transfer, e.primaries) == (transfer, primaries))
    name = next((e.name for e in usual), f"{transfer}-{primaries}")
    found = Encoding(name, transfer, primaries, matrix, "full" if tags.full_range else "narrow")
    return [_Choice(found, share, tuple(assumed))]


def _candidates(choices: list[tuple[float, _Choice]]) -> tuple[tuple[str, float], ...]:
    likely = [(c.encoding.name, round(share, 3)) for share, c in choices]
    return tuple(pair for pair in likely if pair[1] >= _LEAST_CANDIDATE)


def _range_conflict(signs: Signs, tags: TagSigns) -> Why:
    """Narrow range has almost nothing outside its ends; a camera's full range does."""
    if signs.picture is None or tags.full_range or signs.picture.outside < 0.01:
        return ()
    tagged = tags.full_range is not None
    return (because("conflict.outside-range", tagged=tagged, share=signs.picture.outside),)


def _picture_conflict(found: list[Clue], best: tuple[float, _Choice] | None) -> Why:
    """What the picture says strongly against the verdict."""
    if best is None:
        return ()
    encoding = best[1].encoding
    family = _family_of(encoding)
    against = [c for c in found if c.kind == "picture" and c.likelihood.get(family, 1.0) <= 0.05]
    return tuple(
        because("conflict.picture", encoding=encoding.name, sign=c.found.code, **c.found.facts)
        for c in against
    )


def _family_of(encoding: Encoding) -> str:
    if encoding.transfer in CURVES:
        return OTHER
    return {"phone-log": PHONE, "hlg": HLG, "pq": PQ}.get(encoding.transfer, SDR)
