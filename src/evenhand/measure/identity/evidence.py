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
    sources,
)
from evenhand.measure.identity.tags import TagSigns, known_matrix, known_primaries, resolve

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
    found: str
    says: str
    weight: float


class Identification(msgspec.Struct, frozen=True):
    """The verdict on a clip. `confidence` is 0..1; below `CONFIDENT` the person is asked.

    `encoding` is the best guess even then, and None where nothing fits. `conflicts` are
    disagreements in plain words with the rule that settled them, `assumed` what nothing said.
    """

    encoding: Encoding | None
    confidence: float
    evidence: tuple[Evidence, ...]
    conflicts: tuple[str, ...]
    candidates: tuple[tuple[str, float], ...]
    assumed: tuple[str, ...] = ()

    @property
    def sure(self) -> bool:
        """Whether the clip may be worked on without asking."""
        return self.encoding is not None and self.confidence >= CONFIDENT


class _Choice(msgspec.Struct, frozen=True):
    """A complete encoding, the share of its family it stands for, and what it assumes."""

    encoding: Encoding
    share: float
    assumed: tuple[str, ...] = ()


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


def explain(result: Identification, signs: Signs) -> tuple[str, ...]:
    """The verdict in sentences: what, how sure, the tags of both places, what to ask."""
    lines = [*sources(signs), *result.conflicts, *(f"assumed: {a}" for a in result.assumed)]
    if result.sure and result.encoding is not None:
        return (f"{result.encoding.name}, {100 * result.confidence:.0f} % sure", *lines)
    names = ", ".join(f"{name} {100 * share:.0f} %" for name, share in result.candidates[:4])
    return (f"not sure: {names or 'nothing fits'}", *lines)


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
    return Evidence(clue.kind, clue.found, " or ".join(says), round(weight, 2))


def _generation(signs: Signs, tags: TagSigns) -> tuple[list[Evidence], float]:
    """Evidence for the generation of phone log, and the probability that it is the second."""
    odds, found = math.log(0.2 / 0.8), []

    def add(kind: str, what: str, weight: float) -> None:
        nonlocal odds
        odds += weight
        says = "second generation" if weight > 0 else "first generation"
        found.append(Evidence(kind, what, says, round(abs(weight), 2)))

    number = hinted_generation(signs.log_hints)
    if number is not None:
        what = f"metadata says generation {number}"
        add("metadata", what, math.log(200.0) * (1 if number == 2 else -1))
    day = (signs.created or "")[:10]
    if _FIRST_DATE <= day < _SECOND_SINCE:
        add("date", f"recorded on {day}, before there was a second generation", -math.log(50.0))
    if tags.primaries == 9:
        what = "primaries BT.2020, which are the first generation's; a camera may write them anyhow"
        add("tags", what, -math.log(1.8))
    elif tags.primaries == UNSPECIFIED and tags.matrix == 9:
        what = "primaries left open beside a BT.2020 matrix; H.273 has no code for the second"
        add("tags", what, math.log(6.0))
    if signs.picture is not None and signs.picture.impossible > 0.001:
        share = 100 * signs.picture.impossible
        what = f"{share:.1f} % of the picture would be colours no light can have in the second"
        add("picture", what, -math.log(2.0))
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
        assumed.append("primaries bt2020, as such files usually have")
        share *= 0.9
    matrix = known_matrix(tags)
    if matrix is None:
        assumed.append(f"matrix {encoding.matrix}, as such files usually have")
        share *= 0.85
    full = tags.full_range
    if full is None:
        assumed.append(f"{encoding.range} range, as such files usually have")
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
        assumed.append("transfer BT.709, as nothing says it")
        share *= 0.98 if signs.bits <= 8 else 0.85
    hd = signs.height >= _HD
    primaries, matrix = known_primaries(tags), known_matrix(tags)
    if primaries is None:
        lines = "bt601-525" if tags.matrix == 6 else "bt601-625"
        primaries = {"bt601": lines, "bt2020": "bt2020"}.get(matrix or "", "bt709")
        assumed.append(f"primaries {primaries}, as nothing says them")
        share *= 0.97 if hd else 0.8
    if matrix is None:
        matrix = "bt709" if hd else "bt601"
        assumed.append(f"matrix {matrix}, by the picture's height (common practice)")
        share *= 0.96 if hd else 0.7
    if tags.full_range is None:
        assumed.append("narrow range, as nothing says it")
    usual = (e for e in ENCODINGS.values() if (e.transfer, e.primaries) == (transfer, primaries))
    name = next((e.name for e in usual), f"{transfer}-{primaries}")
    found = Encoding(name, transfer, primaries, matrix, "full" if tags.full_range else "narrow")
    return [_Choice(found, share, tuple(assumed))]


def _candidates(choices: list[tuple[float, _Choice]]) -> tuple[tuple[str, float], ...]:
    likely = [(c.encoding.name, round(share, 3)) for share, c in choices]
    return tuple(pair for pair in likely if pair[1] >= _LEAST_CANDIDATE)


def _range_conflict(signs: Signs, tags: TagSigns) -> tuple[str, ...]:
    """Narrow range has almost nothing outside its ends; a camera's full range does."""
    if signs.picture is None or tags.full_range or signs.picture.outside < 0.01:
        return ()
    share = 100 * signs.picture.outside
    said = "is tagged narrow" if tags.full_range is False else "has no range tag"
    return (
        f"range: the clip {said}, but {share:.1f} % of the picture is outside codes 56 to 950; "
        "it may be full range",
    )


def _picture_conflict(found: list[Clue], best: tuple[float, _Choice] | None) -> tuple[str, ...]:
    """What the picture says strongly against the verdict."""
    if best is None:
        return ()
    encoding = best[1].encoding
    family = _family_of(encoding)
    against = [c for c in found if c.kind == "picture" and c.likelihood.get(family, 1.0) <= 0.05]
    return tuple(f"{encoding.name} fits the tags, but {clue.found}" for clue in against)


def _family_of(encoding: Encoding) -> str:
    if encoding.transfer in CURVES:
        return OTHER
    return {"phone-log": PHONE, "hlg": HLG, "pq": PQ}.get(encoding.transfer, SDR)
