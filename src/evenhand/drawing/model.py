"""What the report page shows, as data: filled by a job, drawn by `report.report_html`.

Everything that may not have been done yet is optional or empty, so that a shoot that has only been
scanned makes a page too. Numbers carry their unit in their name or docstring; texts are plain and
are escaped when drawn. Pictures are bytes in memory: nothing here names a file to be opened.
"""

from __future__ import annotations

from typing import Literal

import msgspec

from evenhand.drawing.evenness_record import Evenness

Verdict = Literal["pass", "warn", "fail", "note"]
Outcome = Literal["levelled", "reference", "left alone", "by hand"]


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
    `points_to` the encodings that it supports, `weight` how much it counts (-1 against .. 1 for;
    None where it was not weighed).
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


class LevellingDecision(msgspec.Struct, frozen=True):
    """Exposure and white of one clip, and why.

    `stops` is the correction applied (light x 2^stops); `kelvin` and `duv` are the white that the
    clip had, None where the white was left as it was. `proposal` says what could be tried where
    the clip was left alone, and how unsure that is.
    """

    outcome: Outcome
    why: str = ""
    stops: float | None = None
    kelvin: float | None = None
    duv: float | None = None
    method: str = ""  # "shared view with A002", "24-patch chart"
    confidence: float | None = None  # 0..1
    would_change: str = ""  # what would change the decision
    proposal: str = ""


class LookLine(msgspec.Struct, frozen=True):
    """The look of one clip. `strength` is a share 0..1."""

    title: str
    strength: float = 1.0
    purpose: str = ""


class CompileError(msgspec.Struct, frozen=True):
    """The compiled transform against the exact one, on the clip's own pixels.

    Codes are 10-bit narrow range; colour difference is CIEDE2000; `size` is lattice points a side.
    """

    luma_p999: float
    chroma_p999: float
    de_p999: float
    de_max: float
    size: int
    within_bound: bool


class Ends(msgspec.Struct, frozen=True):
    """Percent of the picture at the ends of the clip's range as shot (0..100)."""

    clipped_percent: float
    crushed_percent: float


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
    """One output file. `facts` is a line such as "HEVC, 3840 x 2160, 25/1, BT.709"."""

    name: str
    spec: str
    facts: str = ""
    bytes: int | None = None
    checks: tuple[MasterCheck, ...] = ()


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
    levelling: LevellingDecision | None = None
    adjustment: tuple[Figure, ...] = ()  # what a person changed by hand
    rendering: str = ""
    look: LookLine | None = None
    compile_error: CompileError | None = None
    ends: Ends | None = None
    before: Picture | None = None
    after: Picture | None = None
    scopes_before: ScopeSet | None = None
    scopes_after: ScopeSet | None = None
    masters: tuple[MasterFile, ...] = ()
    notes: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()


class SetupReport(msgspec.Struct, frozen=True):
    """One setup: its clips in order, by id."""

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


class TruthScore(msgspec.Struct, frozen=True):
    """How far one clip of the demo card is from its written truth, before and after levelling.

    In stops, mired and Duv; None where nothing was applied or nothing is known.
    """

    clip: str
    before_stops: float | None = None
    before_mired: float | None = None
    before_duv: float | None = None
    after_stops: float | None = None
    after_mired: float | None = None
    after_duv: float | None = None
    note: str = ""


class ReportModel(msgspec.Struct, frozen=True):
    """The whole page. Clips that are in no setup are shown after the setups."""

    shoot: str
    card: str = ""
    date: str = ""  # as it is to be printed
    version: str = ""  # of the program
    clips: tuple[ClipReport, ...] = ()
    setups: tuple[SetupReport, ...] = ()
    unreadable: tuple[UnreadableFile, ...] = ()
    notes: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    truth: tuple[TruthScore, ...] = ()
