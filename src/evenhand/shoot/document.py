"""The shoot document: what a person or a rule decided, one readable JSON file.

Nothing that was measured or made is here: that lies in the measurement database, and comes back the
same when it is lost. What is kept are facts and codes; they become sentences when they are shown.
"""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path, PurePosixPath
from typing import Literal

import msgspec

from evenhand.colourmath.encodings import Encoding, is_display
from evenhand.errors import EncodingUnknownError, UsageError
from evenhand.grade.document import Adjustment, Grade, Levelling, LookUse, OutputTransform
from evenhand.measure.decisions import Status
from evenhand.names import kept_path, real_path
from evenhand.reasons import Why

FORMAT = "evenhand shoot"
VERSION = 2
Refusable = Literal["chart", "grey_card"]


class Levelled(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """By what a clip was levelled, and how sure that is.

    `reference` is the clip that its place is matched to, `via` the clips that the match went
    through, `confidence` a probability, the errors one standard error.
    """

    status: Status
    reference: str = ""
    via: tuple[str, ...] = ()
    confidence: float = 0.0
    stops_error: float = 0.0
    mired_error: float = 0.0


class ClipEntry(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One file of a card and all that was decided about it.

    `id` is what a person types. `path` is relative to the card, with forward slashes, written as
    `names.kept_path` does: so are all paths of the document. `fingerprint` finds the file again
    when the drive comes back under another name.

    `state` is how the last scan found it: "away" where it was not on its card, "unreadable" with
    the reasons in `trouble`. What was decided stays in every state. `left_out` keeps it out of
    masters; `refused` is what levelling found in it and a person does not want used.
    """

    id: str
    card: str
    path: str
    bytes: int
    fingerprint: str
    state: Literal["here", "away", "unreadable"] = "here"
    trouble: Why = ()
    encoding: Encoding | None = None
    encoding_by: Literal["evidence", "person"] | None = None
    confidence: float = 0.0
    left_out: bool = False
    refused: tuple[Refusable, ...] = ()
    levelling: Levelling = Levelling()
    levelled: Levelled | None = None
    adjustment: Adjustment = Adjustment()
    output_transform: OutputTransform | None = None
    look: LookUse | None = None


class PlaceEntry(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A place: its name, its clips by id, its reference clip, and who decided each of these."""

    name: str
    clips: tuple[str, ...]
    reference: str = ""
    by: Literal["measurement", "person"] = "measurement"
    named_by: Literal["measurement", "person"] = "measurement"
    reference_by: Literal["measurement", "person"] = "measurement"


class GreyCardEntry(msgspec.Struct, frozen=True):
    """A grey card that a person pointed at: "25/2" seconds from the first frame, and fractions of
    the upright picture's width and height from the top left.
    """

    clip: str
    seconds: str
    x: float
    y: float


class LevelWishes(msgspec.Struct, frozen=True, omit_defaults=True):
    """What a person wants of levelling: asked once, and kept until it is asked otherwise.

    `leave_warmth` is the share 0..1 of the light's warmth that stays where a chart or a grey card
    sets the white. `use_charts`: charts are looked for. `level_drift`: light that changes inside a
    clip is evened out.
    """

    leave_warmth: float = 0.0
    use_charts: bool = True
    level_drift: bool = True


class LookEntry(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A look in use, of which the shoot keeps a copy: `file` in its `looks` folder.

    `digest` is the SHA-256 of the look's content, by which a use finds it, `bytes` that of the
    copy. `source` is the file that it came from, None for a look that evenhand brings. `space` and
    `gives` are the spaces of a table; `correction` picks one of a collection.
    """

    name: str
    digest: str
    bytes: str
    file: str
    source: str | None = None
    space: str = ""
    gives: str = ""
    correction: str | None = None


class FolderEntry(msgspec.Struct, frozen=True, omit_defaults=True):
    """A folder outside the shoot: where it was last seen, and how it lies from the shoot's folder.

    `beside` is empty where the two share no folder but the drive's root: moving one then says
    nothing of the other.
    """

    path: str
    beside: str = ""


class CardEntry(msgspec.Struct, frozen=True, omit_defaults=True):
    """A card: its name in the shoot and where it was last seen, as in FolderEntry."""

    name: str
    path: str
    beside: str = ""


class Shoot(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """The whole document. `format` and `version` come first so that a reader can refuse early.

    `revision` counts changes. `master_folders` are where masters were written to: they are known
    again there by what they carry in themselves.
    """

    format: str
    version: int
    name: str
    revision: int = 0
    cards: tuple[CardEntry, ...] = ()
    clips: tuple[ClipEntry, ...] = ()
    places: tuple[PlaceEntry, ...] = ()
    grey_cards: tuple[GreyCardEntry, ...] = ()
    wishes: LevelWishes = LevelWishes()
    looks: tuple[LookEntry, ...] = ()
    master_folders: tuple[FolderEntry, ...] = ()

    def usable(self) -> tuple[ClipEntry, ...]:
        """The entries that are clips, whether their card is here or away."""
        return tuple(clip for clip in self.clips if clip.state != "unreadable")

    def levellable(self) -> tuple[ClipEntry, ...]:
        """The clips that are here and whose encoding is settled."""
        return tuple(c for c in self.clips if c.state == "here" and c.encoding is not None)

    def place_of(self, clip: str) -> PlaceEntry | None:
        """The place that a clip (id) belongs to."""
        return next((place for place in self.places if clip in place.clips), None)

    def clip(self, name: str) -> ClipEntry:
        """The clip that a person names: its id, file name or path on the card, or the file's path.

        The beginning of an id, up to a sign between words, will do where it fits one clip alone.

        Raises UsageError with the nearest names.
        """
        for clip in self.clips:
            if clip.id == name:
                return clip
        kept = kept_path(name)
        exact = [c for c in self.clips if c.path in (name, kept)]
        loose = [c for c in self.clips if {name, kept} & _file_names(c.path)]
        cards = {card.name: Path(real_path(card.path)) for card in self.cards}
        file = Path(name).absolute()
        here = [
            c for c in self.clips if c.card in cards and cards[c.card] / real_path(c.path) == file
        ]
        starts = [c for c in self.clips if name and c.id.startswith(name)]
        brief = [c for c in starts if not c.id[len(name) :][:1].isalnum()]
        for found in (exact, loose, here, brief):
            if len(found) == 1:
                return found[0]
            if found:
                paths = ", ".join(c.path for c in found)
                raise UsageError(
                    name, f"this name fits {len(found)} clips ({paths})", "Name one by its path"
                )
        from difflib import get_close_matches

        near = get_close_matches(name, [c.id for c in self.clips], 3, 0.4)
        remedy = (
            f"Did you mean {' or '.join(near)}?" if near else "`evenhand scan CARD` lists the clips"
        )
        raise UsageError(name, "the shoot has no clip of this name", remedy)

    def with_clips(self, *changed: ClipEntry) -> Shoot:
        """A copy in which the entries of the same id are replaced."""
        new = {c.id: c for c in changed}
        return msgspec.structs.replace(self, clips=tuple(new.get(c.id, c) for c in self.clips))

    def grade(self, clip: ClipEntry) -> Grade:
        """The grade of a clip as decided so far.

        Raises EncodingUnknownError while its encoding is not settled.
        """
        if clip.encoding is None:
            raise EncodingUnknownError(
                clip.path,
                "its encoding is not settled",
                f"Name it: evenhand scan CARD --encoding {clip.id}=NAME",
            )
        return Grade(
            encoding=clip.encoding,
            levelling=clip.levelling,
            adjustment=clip.adjustment,
            output_transform=clip.output_transform or self._output_transform(clip),
            look=clip.look,
        )

    def _output_transform(self, clip: ClipEntry) -> OutputTransform:
        """The output transform where nobody chose one.

        A place that holds any scene-referred clip is converted in one way, or its clips could not
        match; a place of display-referred clips alone keeps the tone they already carry.
        """
        place = self.place_of(clip.id)
        inside: Collection[str] = place.clips if place is not None else (clip.id,)
        encodings = [c.encoding for c in self.clips if c.id in inside and c.encoding]
        return "plain-sdr" if all(is_display(e) for e in encodings) else "aces2-sdr"


def _file_names(path: str) -> set[str]:
    """The name of a file (path on the card) with and without its suffix."""
    return {PurePosixPath(path).name, PurePosixPath(path).stem}


def empty(name: str) -> Shoot:
    """A shoot of which nothing is known yet."""
    return Shoot(format=FORMAT, version=VERSION, name=name)
