"""What a scan saw of a card, put into the document: nothing that was decided is ever forgotten.

A file is the clip that it was by its fingerprint, whatever its name is now. A clip whose file is
not there, or cannot be read this time, keeps all that was decided and is marked away. Another file
under the name of a known clip is another clip.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import msgspec

from evenhand.colourmath.encodings import Encoding
from evenhand.names import short_ids
from evenhand.reasons import Why
from evenhand.shoot.document import CardEntry, ClipEntry, Shoot


class Seen(msgspec.Struct, frozen=True, kw_only=True):
    """One file of a card: its path on it, and what was found.

    `encoding` is what the evidence settles on, `trouble` why the file is no clip, or could not be
    read this time; `fingerprint` is empty where it could not even be opened.
    """

    path: str
    bytes: int
    fingerprint: str
    encoding: Encoding | None = None
    confidence: float = 0.0
    trouble: Why = ()


def with_card(shoot: Shoot, card: CardEntry, seen: Sequence[Seen]) -> Shoot:
    """The document with a card as it was seen, in the order of its paths; other cards untouched."""
    known = [clip for clip in shoot.clips if clip.card == card.name]
    others = [clip for clip in shoot.clips if clip.card != card.name]
    matched = _matched(known, seen)
    ids = short_ids([f.path for f in seen], {c.id for c in shoot.clips}, matched)
    entries = []
    for file in seen:
        before = matched.get(file.path)
        if before is None:
            blank = ClipEntry(id=ids[file.path], card=card.name, path="", bytes=0, fingerprint="")
            entries.append(_as_seen(blank, file))
        else:
            entries.append(_as_seen(before, file))
    found = {clip.id for clip in matched.values()}
    gone = [msgspec.structs.replace(c, state="away") for c in known if c.id not in found]
    kept = [clip for clip in gone if not _never_a_clip(clip)]
    mine = sorted([*entries, *kept], key=lambda clip: clip.path)
    names = {clip.id for clip in (*others, *mine)}
    return msgspec.structs.replace(
        shoot,
        cards=(*(c for c in shoot.cards if c.name != card.name), card),
        clips=(*others, *mine),
        grey_cards=tuple(g for g in shoot.grey_cards if g.clip in names),
    )


def entry_of(shoot: Shoot, card: str, file: Seen) -> ClipEntry:
    """The entry of a file that was seen, in the document that it was put into."""
    return next(
        c
        for c in shoot.clips
        if c.card == card
        and c.path == file.path
        and (c.fingerprint == file.fingerprint or not file.fingerprint)
    )


def _matched(known: Sequence[ClipEntry], seen: Sequence[Seen]) -> Mapping[str, ClipEntry]:
    """Known clips by the path under which they were seen now: by content, first in place."""
    left = list(known)
    found: dict[str, ClipEntry] = {}
    for same_path in (True, False):
        for file in seen:
            if file.path in found:
                continue
            for clip in left:
                here = clip.path == file.path
                if (here or not same_path) and file.fingerprint == clip.fingerprint:
                    break
                if here and not file.fingerprint:  # it cannot be opened: its name must do
                    break
            else:
                continue
            found[file.path] = clip
            left.remove(clip)
    return found


def _as_seen(entry: ClipEntry, file: Seen) -> ClipEntry:
    """An entry with what was seen of its file now; what a person said of it stays."""
    was_clip = bool(entry.fingerprint) and entry.state != "unreadable"
    if file.trouble:
        changed = msgspec.structs.replace(
            entry, state="away" if was_clip else "unreadable", trouble=file.trouble, path=file.path
        )
        if file.fingerprint:
            changed = msgspec.structs.replace(
                changed, bytes=file.bytes, fingerprint=file.fingerprint
            )
        return (
            changed
            if changed.fingerprint
            else msgspec.structs.replace(
                changed, bytes=file.bytes, fingerprint=f"unread {file.path}"
            )
        )
    changed = msgspec.structs.replace(
        entry,
        path=file.path,
        bytes=file.bytes,
        fingerprint=file.fingerprint,
        state="here",
        trouble=(),
    )
    if entry.encoding_by == "person":
        return changed
    by = "evidence" if file.encoding is not None else None
    return msgspec.structs.replace(
        changed, encoding=file.encoding, encoding_by=by, confidence=file.confidence
    )


def _never_a_clip(clip: ClipEntry) -> bool:
    """Whether an entry that is gone holds nothing that anybody decided."""
    bare = ClipEntry(
        id=clip.id,
        card=clip.card,
        path=clip.path,
        bytes=clip.bytes,
        fingerprint=clip.fingerprint,
        state=clip.state,
        trouble=clip.trouble,
    )
    return clip == bare
