"""Lines of the history in words."""

from __future__ import annotations

from typing import Any, Final

from evenhand.grade.document import White
from evenhand.wording.figures import strength, white
from evenhand.wording.levelling import status_words

_NAMES: Final = {
    "encoding_by": "encoding settled by",
    "left_out": "left out of masters",
    "refused": "not to be used",
    "output_transform": "output transform",
    "grey_cards": "grey card",
    "leave_warmth": "share of warmth left in",
    "use_charts": "charts looked for",
    "level_drift": "drift levelled",
    "named_by": "named by",
    "reference_by": "reference chosen by",
    "by": "put together by",
    "steadying": "drift",
    "levelled": "levelled by",
}
_SUBJECTS: Final = {
    "clips": "",
    "places": "place ",
    "grey_cards": "grey card of ",
    "looks": "look ",
}


def edit_words(at: tuple[str, ...], before: Any, after: Any) -> str:
    """One value that became another: "A001: adjustment, exposure: none → 0.3"."""
    first, *rest = at
    subject = f"{_SUBJECTS[first]}{rest.pop(0)}" if first in _SUBJECTS and rest else first
    names = [_NAMES.get(name, name.replace("_", " ")) for name in rest]
    told = f"{subject}: {', '.join(names)}: " if names else f"{subject}: "
    return f"{told}{value_words(before)} → {value_words(after)}"


def value_words(value: Any) -> str:
    """A value of the document in a few words."""
    if value is None:
        return "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.4g}"
    if isinstance(value, dict):
        if "status" in value:
            return status_words(value["status"])
        if "name" in value:
            share = value.get("strength")
            return f"{value['name']} at {strength(share)}" if share is not None else value["name"]
        if value.keys() == {"kelvin", "duv"}:
            return white(White(**value))
        return ", ".join(f"{k} {value_words(v)}" for k, v in value.items() if v is not None)
    if isinstance(value, list | tuple):
        shown = ", ".join(value_words(v) for v in value[:8])
        return f"{shown}, …" if len(value) > 8 else shown
    return str(value)
