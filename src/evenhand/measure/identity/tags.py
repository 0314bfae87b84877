"""Two opinions on the colour of a clip, the container's and the bitstream's, made into one.

The bitstream counts: it was written by the encoder that made the pictures, while containers are
written again by every copy and every cut. The container fills in what the bitstream leaves open.
"""

from __future__ import annotations

from typing import Final

import msgspec

from evenhand.colourmath.codepoints import MATRIX_BY_CODE, PRIMARIES_BY_CODE, UNSPECIFIED

# ITU-T H.273 tables 2 to 4, in the trade's words
PRIMARIES_WORDS: Final = {
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
}
TRANSFER_WORDS: Final = {
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
}
MATRIX_WORDS: Final = {
    0: "RGB",
    1: "BT.709",
    2: "unspecified",
    5: "BT.601",
    6: "BT.601",
    8: "YCgCo",
    9: "BT.2020",
    10: "BT.2020 constant luminance",
    14: "ICtCp",
}
# Code points that mean one thing: a difference between them is no conflict.
_SAME: Final = {
    "primaries": {7: 6},
    "transfer": {6: 1, 14: 1, 15: 1},
    "matrix": {6: 5},
}
_WORDS: Final = {
    "primaries": PRIMARIES_WORDS,
    "transfer": TRANSFER_WORDS,
    "matrix": MATRIX_WORDS,
}


class TagSigns(msgspec.Struct, frozen=True):
    """H.273 code points from one place. `full_range` is None where it is not said."""

    primaries: int = UNSPECIFIED
    transfer: int = UNSPECIFIED
    matrix: int = UNSPECIFIED
    full_range: bool | None = None

    @property
    def silent(self) -> bool:
        return (self.primaries, self.transfer, self.matrix) == (UNSPECIFIED,) * 3


def resolve(bitstream: TagSigns, container: TagSigns) -> tuple[TagSigns, tuple[str, ...]]:
    """One set of tags, and every disagreement in plain words with the rule that settled it."""
    chosen, conflicts = {}, []
    for name in ("primaries", "transfer", "matrix"):
        inner, outer = getattr(bitstream, name), getattr(container, name)
        chosen[name] = outer if inner == UNSPECIFIED else inner
        same = _SAME[name]
        unsaid = UNSPECIFIED in (inner, outer)
        if not unsaid and same.get(inner, inner) != same.get(outer, outer):
            conflicts.append(
                f"{name}: the bitstream says {words(name, inner)}, the container "
                f"{words(name, outer)}; the bitstream counts, because it was made with the pictures"
            )
    full = container.full_range if bitstream.full_range is None else bitstream.full_range
    if None not in (bitstream.full_range, container.full_range) and (
        bitstream.full_range != container.full_range
    ):
        conflicts.append(
            f"range: the bitstream says {range_words(bitstream.full_range)}, the container "
            f"{range_words(container.full_range)}; the bitstream counts"
        )
    return TagSigns(chosen["primaries"], chosen["transfer"], chosen["matrix"], full), tuple(
        conflicts
    )


def words(name: str, code: int) -> str:
    """A code point as people call it, with its number."""
    return f"{_WORDS[name].get(code, 'reserved')} ({code})"


def range_words(full: bool | None) -> str:
    return "nothing" if full is None else ("full" if full else "narrow")


def tag_line(tags: TagSigns) -> str:
    """All tags of one place in one line."""
    if tags.silent:
        return "no colour tags"
    return (
        f"primaries {words('primaries', tags.primaries)}, "
        f"transfer {words('transfer', tags.transfer)}, matrix {words('matrix', tags.matrix)}, "
        f"range {range_words(tags.full_range)}"
    )


def known_primaries(tags: TagSigns) -> str | None:
    """Our name of the primaries; None where they are unspecified or not ours."""
    return PRIMARIES_BY_CODE.get(tags.primaries)


def known_matrix(tags: TagSigns) -> str | None:
    """Our name of the matrix; None where it is unspecified or not ours."""
    return MATRIX_BY_CODE.get(tags.matrix)
