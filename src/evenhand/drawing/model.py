"""What the report page shows, as data: filled by a job, drawn by `report.report_html`.

Everything that may not have been done yet is optional or empty, so that a shoot that has only been
scanned makes a page too. Numbers carry their unit in their name or docstring; texts are plain and
are escaped when drawn. Pictures are bytes in memory: nothing here names a file to be opened.
"""

from __future__ import annotations

from typing import Literal

import msgspec

from evenhand.grade.fidelity import CompileReport
from evenhand.measure.decisions import Evenness, LevelDecision, Residual
from evenhand.measure.ends import EndsOverTime
from evenhand.measure.skin.check import SkinCheck

Verdict = Literal["pass", "warn", "fail", "note"]


class Picture(msgspec.Struct, frozen=True):
    """An encoded picture. `mime` is "image/jpeg", "image/png" or "image/webp"; sizes in pixels."""

    data: bytes
    mime: str
    width: int
    height: int


class Figure(msgspec.Struct, frozen=True):
    """One measured figure, ready to read: `label` "Median luma", `value` "41.2 %"."""

    label: str
    value: str


class Evidence(msgspec.Struct, frozen=True):
    """One witness to a clip's encoding.

    `source` is where it was found ("container tags", "sensor black"), `found` what it says,
    `points_to` the encodings that it supports, `weight` how much it counts (natural
    logarithm of how much likelier; None where it was not weighed).
    """

    source: str
    found: str
    points_to: str = ""
    weight: float | None = None


class Identification(msgspec.Struct, frozen=True):
    """How code values mean light in one clip. `encoding` is the title; None means not sure."""

    encoding: str | None
    why: str = ""
    confidence: float | None = None  # 0..1
    evidence: tuple[Evidence, ...] = ()
    conflicts: tuple[str, ...] = ()
    by_person: bool = False  # True where a person named the encoding


class LookLine(msgspec.Struct, frozen=True):
    """The look of one clip. `strength` is a share 0..1."""

    title: str
    strength: float = 1.0
    purpose: str = ""


class ScopeSet(msgspec.Struct, frozen=True):
    """Scopes of one picture, with a few figures in words."""

    waveform: Picture | None = None
    parade: Picture | None = None
    histogram: Picture | None = None
    vectorscope: Picture | None = None
    figures: tuple[Figure, ...] = ()


class MasterCheck(msgspec.Struct, frozen=True):
    """One measurement of a master against what was meant."""

    name: str
    found: str
    wanted: str = ""
    verdict: Verdict = "pass"


class MasterFile(msgspec.Struct, frozen=True):
    """One output file. `facts` is a line such as "HEVC, 3840 x 2160, 25/1, BT.709".

    `outdated`: the clip's grade has changed since it was made.
    """

    name: str
    spec: str
    facts: str = ""
    bytes: int | None = None
    checks: tuple[MasterCheck, ...] = ()
    outdated: bool = False


class ClipReport(msgspec.Struct, frozen=True):
    """Everything that the page says of one clip. `id` is unique in the shoot."""

    id: str
    file: str  # path inside the card
    codec: str = ""
    size: str = ""  # "3840 x 2160"
    rate: str = ""  # "25/1", "variable, mean 24.7/1"
    duration: float | None = None  # seconds
    sound: str = ""
    shown_at: str = ""  # where in the clip the pictures were taken: a timecode or seconds
    identification: Identification | None = None
    levelling: LevelDecision | None = None
    adjustment: tuple[Figure, ...] = ()  # what a person changed by hand
    output_transform: str = ""
    look: LookLine | None = None
    compiled: CompileReport | None = None
    ends: EndsOverTime | None = None
    ends_notes: tuple[str, ...] = ()  # what levelling cannot restore, or brings to light
    skin: SkinCheck | None = None
    skin_note: str = ""  # why there is no skin to check
    before: Picture | None = None
    after: Picture | None = None
    scopes_before: ScopeSet | None = None
    scopes_after: ScopeSet | None = None
    masters: tuple[MasterFile, ...] = ()
    notes: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()


class PlaceReport(msgspec.Struct, frozen=True):
    """One place: its clips in order, by id."""

    name: str
    clips: tuple[str, ...]
    reference: str | None = None
    evenness: Evenness | None = None
    note: str = ""


class UnreadableFile(msgspec.Struct, frozen=True):
    """A file on the card that could not be read: what was found and what to do next."""

    file: str
    found: str
    remedy: str = ""


class ReportModel(msgspec.Struct, frozen=True):
    """The whole page. Clips that are in no place are shown after the places."""

    shoot: str
    card: str = ""
    date: str = ""  # as it is to be printed
    version: str = ""  # of the program
    clips: tuple[ClipReport, ...] = ()
    places: tuple[PlaceReport, ...] = ()
    unreadable: tuple[UnreadableFile, ...] = ()
    notes: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    truth: tuple[Residual, ...] = ()  # for a card that comes with a written truth
