"""Reasons as words: each subject's module has a table of codes, and this one finds the right entry.

A table holds, for each code, a function from the facts of a reason (by name) to a clause: no
capital at its beginning, no full stop at its end.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

from evenhand.reasons import Reason

Clause = Callable[..., str]
Clauses = Mapping[str, Clause]


def tables() -> tuple[Clauses, ...]:
    """The tables of all subjects; no code stands in two of them."""
    from evenhand.wording import (
        anchors,
        clips,
        identity,
        levelling,
        light,
        masters,
        matches,
        places,
        skin,
    )

    return (
        anchors.CLAUSES,
        clips.CLAUSES,
        identity.CLAUSES,
        levelling.CLAUSES,
        light.CLAUSES,
        masters.CLAUSES,
        matches.CLAUSES,
        places.CLAUSES,
        skin.CLAUSES,
    )


def clause(reason: Reason) -> str:
    """One reason as a clause. A code that no table knows is shown as it is, with its facts."""
    for table in tables():
        if reason.code in table:
            return table[reason.code](**reason.facts)
    told = ", ".join(f"{name} {value}" for name, value in reason.facts.items())
    return f"{reason.code} ({told})" if told else reason.code


def said(reasons: Iterable[Reason], between: str = "; ") -> str:
    """Reasons as one line, in their order."""
    return between.join(clause(reason) for reason in reasons)


def sentences(reasons: Iterable[Reason]) -> str:
    """Reasons as sentences, in their order."""
    return " ".join(sentence(clause(reason)) for reason in reasons)


def sentence(words: Any) -> str:
    """Words with a capital at the beginning and a full stop at the end."""
    text = str(words).strip()
    if not text:
        return ""
    return text[0].upper() + text[1:] + ("" if text.endswith((".", "?", "…")) else ".")
