"""Why something was decided, as a code and its figures: what records and files hold.

No record that is kept holds a sentence. A reason is made where something is decided, travels
through records, databases and the shoot document as it is, and becomes words in `evenhand.wording`
alone, when a person looks.
"""

from __future__ import annotations

import msgspec


class Reason(msgspec.Struct, frozen=True, omit_defaults=True):
    """A code such as "match.too-few-points" and the figures and names that it is about.

    The part before the dot is the subject that is spoken of. Units of the figures are those of the
    project's interfaces: stops, mired, Duv, kelvin, seconds, shares 0..1.
    """

    code: str
    facts: dict[str, str | int | float | bool | list[str | int | float] | None] = {}


Why = tuple[Reason, ...]
"""Reasons in the order in which they are told."""


def because(
    code: str, **facts: str | int | float | bool | list[str | int | float] | None
) -> Reason:
    """A reason of this code, with its facts by name."""
    return Reason(code, facts)
