"""What a clip's file and pictures say of its encoding, in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

from evenhand.reasons import Reason
from evenhand.wording.figures import percent
from evenhand.wording.saying import Clause, clause

# ITU-T H.273 tables 2 to 4, in the trade's words
_TAGS: Final[Mapping[str, Mapping[int, str]]] = {
    "primaries": {
        1: "BT.709",
        2: "unspecified",
        4: "BT.470 M",
        5: "BT.601 625 lines",
        6: "BT.601 525 lines",
        7: "BT.601 525 lines",
        8: "film",
        9: "BT.2020",
        10: "XYZ",
        11: "P3 theatre",
        12: "P3-D65",
        22: "EBU 3213",
    },
    "transfer": {
        1: "BT.709",
        2: "unspecified",
        4: "gamma 2.2",
        5: "gamma 2.8",
        6: "BT.601",
        8: "linear",
        9: "logarithmic 100:1",
        10: "logarithmic 316:1",
        13: "sRGB",
        14: "BT.2020",
        15: "BT.2020",
        16: "PQ",
        17: "ST 428",
        18: "HLG",
    },
    "matrix": {
        0: "RGB",
        1: "BT.709",
        2: "unspecified",
        5: "BT.601",
        6: "BT.601",
        8: "YCgCo",
        9: "BT.2020",
        10: "BT.2020 constant luminance",
        14: "ICtCp",
    },
}
# The families of `measure.identity.clues`.
_FAMILIES: Final[Mapping[str, str]] = {
    "phone-log": "phone log",
    "other-log": "another log",
    "hlg": "HLG",
    "pq": "PQ",
    "sdr": "SDR",
}
_GENERATIONS: Final[Mapping[int, str]] = {1: "first generation", 2: "second generation"}


def tag_words(name: str, code: int) -> str:
    """A code point as people call it, with its number."""
    return f"{_TAGS[name].get(code, 'reserved')} ({code})"


def _range(full: bool) -> str:
    return "full" if full else "narrow"


def _hints(keys: Sequence[str], values: Sequence[str]) -> str:
    return ", ".join(f"…{key} = {value}" for key, value in zip(keys, values, strict=True))


def _contrast(low: float, high: float, black: bool, white: bool) -> str:
    ends = {
        (True, True): "black and white",
        (True, False): "no white",
        (False, True): "no black",
        (False, False): "neither black nor white",
    }[black, white]
    return f"99.8 % lies between codes {low:.0f} and {high:.0f}: {ends}"


def _tags_differ(tag: str, bitstream: int, container: int) -> str:
    return (
        f"{tag}: the bitstream says {tag_words(tag, bitstream)}, the container "
        f"{tag_words(tag, container)}; the bitstream counts, because it was made with the pictures"
    )


def _ranges_differ(bitstream: bool, container: bool) -> str:
    return (
        f"range: the bitstream says {_range(bitstream)}, the container {_range(container)}; "
        "the bitstream counts"
    )


def _range_outside(tagged: bool, share: float) -> str:
    said = "is tagged narrow" if tagged else "has no range tag"
    return (
        f"range: the clip {said}, but {percent(share, 1)} of the picture is outside codes 56 to "
        "950; it may be full range"
    )


def _picture_against(encoding: str, sign: str, **facts: Any) -> str:
    return f"{encoding} fits the tags, but {clause(Reason(sign, facts))}"


CLAUSES: Final[Mapping[str, Clause]] = {
    "sign.transfer": lambda transfer: f"transfer {tag_words('transfer', transfer)}",
    "sign.transfer-open": lambda transfer: (
        f"transfer {tag_words('transfer', transfer)}; H.273 has no code for any camera log"
    ),
    "sign.gamut": lambda primaries, matrix: (
        f"primaries {tag_words('primaries', primaries)}, matrix {tag_words('matrix', matrix)}"
    ),
    "sign.hints": _hints,
    "sign.codec": lambda codec, profile, bits, chroma: f"{codec} {profile}, {bits} bits, {chroma}",
    "sign.cameras-words": lambda: "the camera's own words are in the file, so it is no export",
    "sign.colour": lambda share: (
        f"colour reaches {percent(share)} of its scale in the strongest 5 %"
    ),
    "sign.darker-than-black": lambda share, level: (
        f"{percent(share, 2)} is under code {level}; black of phone log is code 196"
    ),
    "sign.darks-end": lambda level: (
        f"the darks end at code {level:.0f}; black of phone log is code 196"
    ),
    "sign.nothing-dark": lambda level: (
        f"nothing is dark: the lowest thousandth is at code {level:.0f}"
    ),
    "sign.contrast": _contrast,
    "sign.white": lambda share: f"{percent(share, 1)} of the picture is white",
    "sign.clips-at-end": lambda level: f"highlights pile up at code {level}, the end of the scale",
    "sign.clips-below-end": lambda level: (
        f"highlights pile up at code {level}, below the end of the scale"
    ),
    "sign.generation": lambda generation: f"metadata says generation {generation}",
    "sign.before-second": lambda day: f"recorded on {day}, before there was a second generation",
    "sign.first-primaries": lambda: (
        "primaries BT.2020, which are the first generation's; a camera may write them anyhow"
    ),
    "sign.open-primaries": lambda: (
        "primaries left open beside a BT.2020 matrix; H.273 has no code for the second"
    ),
    "sign.impossible": lambda share: (
        f"{percent(share, 1)} of the picture would be colours no light can have in the second"
    ),
    "says.family": lambda families: " or ".join(_FAMILIES[family] for family in families),
    "says.generation": lambda generation: _GENERATIONS[generation],
    "conflict.tags": _tags_differ,
    "conflict.ranges": _ranges_differ,
    "conflict.outside-range": _range_outside,
    "conflict.picture": _picture_against,
    "assumed.usual": lambda what, value: f"{_assumed(what, value)}, as such files usually have",
    "assumed.unsaid": lambda what, value: (
        f"{_assumed(what, value)}, as nothing says {'them' if what == 'primaries' else 'it'}"
    ),
    "assumed.by-height": lambda what, value: (
        f"{_assumed(what, value)}, by the picture's height (common practice)"
    ),
}


def _assumed(what: str, value: str) -> str:
    return f"{value} range" if what == "range" else f"{what} {value}"
