"""Taking back what a person said: of some clips, or of all; what is measured then counts again."""

from __future__ import annotations

from collections.abc import Callable, Collection
from itertools import count
from typing import Final, Literal, get_args

import msgspec

from evenhand.grade.document import Adjustment
from evenhand.shoot.document import ClipEntry, LevelWishes, PlaceEntry, Shoot

Word = Literal[
    "encoding", "place", "reference", "grey-card", "refusal", "adjustment", "look", "left-out",
    "wishes",
]  # fmt: skip
WORDS: Final[tuple[Word, ...]] = get_args(Word)

_OF_A_CLIP: Final[dict[Word, Callable[[ClipEntry], ClipEntry]]] = {
    "encoding": lambda clip: (
        msgspec.structs.replace(clip, encoding=None, encoding_by=None, confidence=0.0)
        if clip.encoding_by == "person"
        else clip
    ),
    "refusal": lambda clip: msgspec.structs.replace(clip, refused=()),
    "adjustment": lambda clip: msgspec.structs.replace(
        clip, adjustment=Adjustment(), output_transform=None
    ),
    "look": lambda clip: msgspec.structs.replace(clip, look=None),
    "left-out": lambda clip: msgspec.structs.replace(clip, left_out=False),
}


def forgotten(shoot: Shoot, words: Collection[Word], clips: Collection[str] = ()) -> Shoot:
    """The document without what a person said of these kinds; of all clips where none is named.

    clips: ids. "wishes" are those for levelling as a whole, and stay where clips are named.
    """
    for word in words:
        change = _OF_A_CLIP.get(word)
        if change is not None:
            shoot = shoot.with_clips(
                *(change(clip) for clip in shoot.clips if not clips or clip.id in clips)
            )
    shoot = _places(shoot, words, clips)
    if "grey-card" in words:
        kept = tuple(g for g in shoot.grey_cards if clips and g.clip not in clips)
        shoot = msgspec.structs.replace(shoot, grey_cards=kept)
    if "wishes" in words and not clips:
        shoot = msgspec.structs.replace(shoot, wishes=LevelWishes())
    return shoot


def _places(shoot: Shoot, words: Collection[Word], clips: Collection[str]) -> Shoot:
    places: list[PlaceEntry] = []
    for entry in shoot.places:
        touched = not clips or any(c in clips for c in entry.clips)
        if "place" in words and touched and "person" in (entry.by, entry.named_by):
            # Its clips are grouped and numbered anew; the reference stays said.
            taken = {p.name for p in shoot.places if p is not entry} | {p.name for p in places}
            name = next(n for n in (f"place {i}" for i in count(1)) if n not in taken)
            entry = msgspec.structs.replace(
                entry, name=name, by="measurement", named_by="measurement"
            )
        if "reference" in words and (not clips or entry.reference in clips):
            entry = msgspec.structs.replace(entry, reference_by="measurement")
        places.append(entry)
    return msgspec.structs.replace(shoot, places=tuple(places))
