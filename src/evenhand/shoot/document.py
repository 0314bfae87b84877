"""The shoot document: what was found and decided, one readable JSON file.

Measurements are not here: they live in the cache and can be made again at any time.
"""

from __future__ import annotations

from pathlib import Path, PurePosixPath
from typing import Literal

import msgspec

from evenhand.colourmath.encodings import Encoding, transfer_of
from evenhand.errors import EncodingUnknownError, UsageError
from evenhand.grade.document import Adjustment, Grade, Levelling, LookUse, OutputTransform
from evenhand.grade.fidelity import CompileReport
from evenhand.measure.decisions import Evenness, LevelDecision, Member
from evenhand.measure.findings import Findings
from evenhand.reasons import Why

FORMAT = "evenhand shoot"
VERSION = 1


class ClipEntry(msgspec.Struct, frozen=True, kw_only=True):
    """One file of a card and all that was decided about it.

    `id` is what a person types. `path` is relative to the card, with forward slashes. `fingerprint`
    finds the file again when the drive comes back under another name. `unreadable` holds the reason
    where the file is no clip; nothing else is then set.
    """

    id: str
    card: str
    path: str
    bytes: int
    fingerprint: str
    unreadable: str | None = None
    damaged: str | None = None
    created: str | None = None
    encoding: Encoding | None = None
    encoding_by: Literal["evidence", "person"] | None = None
    confidence: float = 0.0
    place: str | None = None
    levelling: Levelling = Levelling()
    decision: LevelDecision | None = None
    findings: Findings | None = None
    adjustment: Adjustment = Adjustment()
    output_transform: OutputTransform | None = None
    look: LookUse | None = None


class PlaceEntry(msgspec.Struct, frozen=True, kw_only=True):
    """A place: its name, its clips by id, its reference clip, and who decided.

    `by` says who put the clips into it, `named_by` who gave it its name. `members` says why each
    clip belongs to it; `evenness` how alike they are, before and after.
    """

    name: str
    clips: tuple[str, ...]
    reference: str
    why_reference: Why = ()
    by: Literal["measurement", "person"] = "measurement"
    named_by: Literal["measurement", "person"] = "measurement"
    reference_by: Literal["measurement", "person"] = "measurement"
    members: tuple[Member, ...] = ()
    evenness: Evenness | None = None


class GreyEntry(msgspec.Struct, frozen=True):
    """A grey card that a person pointed at: "25/2" seconds from the first frame, and fractions of
    the upright picture's width and height from the top left.
    """

    clip: str
    seconds: str
    x: float
    y: float


class LevelWishes(msgspec.Struct, frozen=True):
    """What a person wants of levelling: asked once, and kept until it is asked otherwise.

    `keep_warmth` is the share 0..1 of the light's warmth that stays where a chart or a grey card
    sets the white. `use_charts`: charts are looked for. `steady`: light that changes inside a clip
    is evened out.
    """

    keep_warmth: float = 0.0
    use_charts: bool = True
    steady: bool = True


class LookEntry(msgspec.Struct, frozen=True, kw_only=True):
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


class CardEntry(msgspec.Struct, frozen=True):
    """A card: its name and where it was last seen."""

    name: str
    path: str


class MasterCheck(msgspec.Struct, frozen=True):
    """One line of a master's verification."""

    name: str
    expected: str
    found: str
    ok: bool


class MasterEntry(msgspec.Struct, frozen=True, kw_only=True):
    """A master that was verified and handed over, and how it was made.

    `grade` is the digest of the grade. `repeated` and `dropped` count frames of the conform,
    `worst_time_error` (seconds) is how far a frame is shown from when it was shot, `lost` counts
    frames that could not be decoded, `seconds` is how long it took. `settings` are the encoder's.
    """

    clip: str
    spec: str
    quality: str
    path: str
    bytes: int
    grade: str
    frames: int
    repeated: int
    dropped: int
    worst_time_error: float
    lost: int
    seconds: float
    size: tuple[int, int]
    settings: dict[str, str]
    compiled: CompileReport
    checks: tuple[MasterCheck, ...]


class Shoot(msgspec.Struct, frozen=True, kw_only=True):
    """The whole document. `format` and `version` come first so that a reader can refuse early."""

    format: str = FORMAT
    version: int = VERSION
    name: str
    cards: tuple[CardEntry, ...] = ()
    clips: tuple[ClipEntry, ...] = ()
    places: tuple[PlaceEntry, ...] = ()
    greys: tuple[GreyEntry, ...] = ()
    wishes: LevelWishes = LevelWishes()
    looks: tuple[LookEntry, ...] = ()
    masters: tuple[MasterEntry, ...] = ()

    def readable(self) -> tuple[ClipEntry, ...]:
        """The entries that are clips."""
        return tuple(clip for clip in self.clips if clip.unreadable is None)

    def clip(self, name: str) -> ClipEntry:
        """The clip that a person names: its id, file name or path on the card, or the file's path.

        The beginning of an id, up to a sign between words, will do where it fits one clip alone.

        Raises UsageError with the nearest names.
        """
        exact = [c for c in self.clips if name in (c.id, c.path)]
        loose = [
            c
            for c in self.clips
            if name in (PurePosixPath(c.path).name, PurePosixPath(c.path).stem)
        ]
        cards = {card.name: Path(card.path) for card in self.cards}
        file = Path(name).absolute()
        here = [c for c in self.clips if c.card in cards and cards[c.card] / c.path == file]
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

        A place that holds any scene-referred clip is rendered in one way, or its clips could not
        match; a place of display-referred clips alone keeps the tone they already carry.
        """
        mates = [c.encoding for c in self.clips if c.place and c.place == clip.place and c.encoding]
        mates = mates or ([clip.encoding] if clip.encoding else [])
        display = all(transfer_of(encoding).kind == "display" for encoding in mates)
        return "plain-sdr" if display else "aces2-sdr"
