"""What levelling finds and decides, as records: no arrays, so that the document can hold them.

Units: stops (positive is brighter), mired (positive is warmer), Duv in CIE 1960 uv (positive is
greener), white in kelvin and Duv. A difference is that of a clip from a reference.
"""

from __future__ import annotations

from typing import Literal

import msgspec

from evenhand.grade.document import White
from evenhand.reasons import Why

Triple = tuple[float, float, float]
Status = Literal["reference", "matched", "chart", "grey_card", "unchanged"]


class Difference(msgspec.Struct, frozen=True):
    """How one picture differs from another: positive is brighter, warmer, greener.

    stops of luminance; mired and Duv of where a D65 neutral lands, minus those of D65.
    """

    stops: float
    mired: float
    duv: float


class Match(msgspec.Struct, frozen=True):
    """The difference of clip b from clip a, or why there is none.

    stops, mired, duv: b relative to a (positive: b is brighter, warmer, greener). ratio: the linear
    BT.2020 ratio of a D65 neutral; gains: the same as log2 CAT16 cone gains, which add along a
    chain. Errors are one standard error. spread: stops; support, inlier_ratio and coverage: shares
    0..1; likeness: correlation of detail in the overlap; tone: stops of ratio per stop of light;
    hue: mired by which a neutral may differ, as the ratio changes with colour. second and
    second_share: where two lights were found, how the smaller one differs from the one that was
    matched, and its share of the common view.
    `times`: seconds of the frames compared; `homography`: from pixels of a to b, row by row.
    """

    accepted: bool
    why: Why
    stops: float = 0.0
    mired: float = 0.0
    duv: float = 0.0
    ratio: Triple = (1.0, 1.0, 1.0)
    gains: Triple = (0.0, 0.0, 0.0)
    stops_error: float = 0.0
    mired_error: float = 0.0
    spread: float = 0.0
    support: float = 0.0
    inliers: int = 0
    inlier_ratio: float = 0.0
    coverage: float = 0.0
    likeness: float = 0.0
    tone: float = 0.0
    hue: float = 0.0
    times: tuple[float, float] = (0.0, 0.0)
    homography: tuple[float, ...] = ()
    flow: bool = False
    second: Difference | None = None
    second_share: float = 0.0


class Link(msgspec.Struct, frozen=True):
    """What the comparison of two clips gave: `match` is clip `b` relative to clip `a`."""

    a: str
    b: str
    match: Match


class Member(msgspec.Struct, frozen=True):
    """Why a clip belongs to its place."""

    clip: str
    how: Literal["named", "view", "neighbour", "alone"]
    why: Why


class Place(msgspec.Struct, frozen=True):
    """Clips made in one place under one light, in card order, and the one to match them to."""

    name: str
    clips: tuple[str, ...]
    reference: str
    why_reference: Why
    members: tuple[Member, ...]


class GreySample(msgspec.Struct, frozen=True):
    """A grey card that a person pointed at in a clip.

    light: median linear BT.2020 of its unclipped pixels, as shot; spread: stops (robust, of green);
    clipped: whether any channel reaches the clip level there.
    """

    clip: str
    light: Triple
    spread: float
    clipped: bool = False


class ChartSample(msgspec.Struct, frozen=True, kw_only=True):
    """A 24-patch chart that was found in a clip and agreed with the published patches.

    time: seconds after the first frame; corners: fractions of the picture, from the dark skin patch
    clockwise. gains: log2 CAT16 cone gains of its greys over the published ones, with standard
    errors. residual, worst_grey: stops. patch_difference: mean CIEDE2000 of all patches from the
    published ones once the gains are taken off.
    """

    clip: str
    time: float
    corners: tuple[tuple[float, float], ...]
    gains: Triple
    stops_error: float
    mired_error: float
    residual: float
    worst_grey: float
    patch_difference: float
    why: Why


class Proposal(msgspec.Struct, frozen=True):
    """What a person may want to apply to a clip that stays unchanged, and how unsure it is.

    `white` is for grade.document.Levelling. `mired_error` is the typical error, `mired_worst` that
    of one case in ten; both measured. No exposure is proposed: `exposure` says what is known of it.
    """

    white: White
    mired_error: float
    mired_worst: float
    exposure: Why
    why: Why


class LevelDecision(msgspec.Struct, frozen=True, kw_only=True):
    """What levelling decided for one clip, with its reasons.

    `stops` and `white` go into grade.document.Levelling as they are: stops is the correction, white
    the clip's own white, None where it stays as it is. `difference` is the clip's from the
    reference as shot, with standard errors; `via` names the clips that the match went through;
    `closure` is the worst disagreement of the loops of matches that the clip is part of; `chart` is
    the chart in it that the place is set by; `would_change` what would change the decision.
    """

    clip: str
    place: str
    reference: str
    status: Status
    stops: float = 0.0
    white: White | None = None
    confidence: float = 0.0
    difference: Difference | None = None
    stops_error: float = 0.0
    mired_error: float = 0.0
    match: Match | None = None
    via: tuple[str, ...] = ()
    closure: Difference | None = None
    why: Why
    proposal: Proposal | None = None
    chart: ChartSample | None = None
    would_change: Why = ()


class EvennessPoint(msgspec.Struct, frozen=True):
    """One clip from its reference, before and after; None where nothing can be said.

    The errors are one standard error of the levelling.
    """

    clip: str
    status: Status
    before: Difference | None
    after: Difference | None
    stops_error: float = 0.0
    mired_error: float = 0.0


class Spread(msgspec.Struct, frozen=True):
    """How far the clips of a place lie from their reference: worst, and root mean square."""

    worst_stops: float
    worst_mired: float
    rms_stops: float
    rms_mired: float


class Evenness(msgspec.Struct, frozen=True):
    """How alike the clips of a place are, before and after levelling.

    `outlier` is the clip that still stands out after levelling, if any.
    """

    place: str
    reference: str
    clips: tuple[EvennessPoint, ...]
    before: Spread | None
    after: Spread | None
    outlier: str | None = None


class Residual(msgspec.Struct, frozen=True):
    """What is left of a clip's known fault, relative to its reference, after levelling."""

    clip: str
    place: str
    status: Status
    before: Difference
    after: Difference
