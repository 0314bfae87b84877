"""Two opinions on the colour of a clip, the container's and the bitstream's, made into one.

The bitstream counts: it was written by the encoder that made the pictures, while containers are
written again by every copy and every cut. The container fills in what the bitstream leaves open.
"""

from __future__ import annotations

from typing import Final

import msgspec

from evenhand.colourmath.codepoints import MATRIX_BY_CODE, PRIMARIES_BY_CODE, UNSPECIFIED
from evenhand.reasons import Why, because

# Code points that mean one thing: a difference between them is no conflict.
_SAME: Final = {
    "primaries": {7: 6},
    "transfer": {6: 1, 14: 1, 15: 1},
    "matrix": {6: 5},
}


class TagSigns(msgspec.Struct, frozen=True):
    """H.273 code points from one place. `full_range` is None where it is not said."""

    primaries: int = UNSPECIFIED
    transfer: int = UNSPECIFIED
    matrix: int = UNSPECIFIED
    full_range: bool | None = None


def resolve(bitstream: TagSigns, container: TagSigns) -> tuple[TagSigns, Why]:
    """One set of tags, and every disagreement that the rule above settled."""
    chosen, conflicts = {}, []
    for name in ("primaries", "transfer", "matrix"):
        inner, outer = getattr(bitstream, name), getattr(container, name)
        chosen[name] = outer if inner == UNSPECIFIED else inner
        same = _SAME[name]
        unsaid = UNSPECIFIED in (inner, outer)
        if not unsaid and same.get(inner, inner) != same.get(outer, outer):
            conflicts.append(because("conflict.tags", tag=name, bitstream=inner, container=outer))
    full = container.full_range if bitstream.full_range is None else bitstream.full_range
    if None not in (bitstream.full_range, container.full_range) and (
        bitstream.full_range != container.full_range
    ):
        conflicts.append(
            because(
                "conflict.ranges",
                bitstream=bitstream.full_range,
                container=container.full_range,
            )
        )
    return TagSigns(chosen["primaries"], chosen["transfer"], chosen["matrix"], full), tuple(
        conflicts
    )


def known_primaries(tags: TagSigns) -> str | None:
    """Our name of the primaries; None where they are unspecified or not ours."""
    return PRIMARIES_BY_CODE.get(tags.primaries)


def known_matrix(tags: TagSigns) -> str | None:
    """Our name of the matrix; None where it is unspecified or not ours."""
    return MATRIX_BY_CODE.get(tags.matrix)
