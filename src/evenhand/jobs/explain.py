"""Why a clip is levelled as it is: everything that the document knows of the decision."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

import msgspec

from evenhand.errors import EvenhandError, ShootError
from evenhand.grade.document import Adjustment
from evenhand.jobs.hands import hands
from evenhand.jobs.levels import Levels, remembered_levels
from evenhand.jobs.originals import original_and_facts
from evenhand.jobs.progress import Progress, silent
from evenhand.jobs.skin import SkinFinding, faces_skin
from evenhand.measure.decisions import LevelDecision, Place
from evenhand.measure.findings import Findings
from evenhand.reasons import Reason, Why, because
from evenhand.shoot import store
from evenhand.shoot.document import ClipEntry, Shoot
from evenhand.shoot.measurements import Measurements
from evenhand.wording.findings import remarks, warnings


class Trust(msgspec.Struct, frozen=True):
    """One thing that may set exposure and white, what there is of it, and whether it counted."""

    source: Literal["hand", "chart", "grey_card", "reference", "as_shot"]
    found: Reason
    counts: bool


class Explanation(msgspec.Struct, frozen=True, kw_only=True):
    """A clip's decision with what led to it.

    `mates` are all clips of the place. `trust` is in order: the first that there is counts.
    `adjustment` is what a person set on top.
    """

    clip: str
    place: str
    mates: tuple[str, ...]
    membership: Why
    reference: str
    why_reference: Why
    decision: LevelDecision
    trust: tuple[Trust, ...]
    adjustment: Adjustment
    findings: Findings | None
    remarks: tuple[str, ...]
    warnings: tuple[str, ...]
    skin: SkinFinding | None


def explain(folder: Path, name: str, progress: Progress = silent) -> Explanation:
    """What is known of a clip's levelling; measured again where that was lost.

    Raises ShootError where it was not levelled yet.
    """
    shoot = store.load(folder)
    clip = shoot.clip(name)
    with Measurements(folder) as measurements:
        levels = remembered_levels(measurements, folder, shoot, progress)
    decision, place = levels.decision(clip.id), levels.place_of(clip.id)
    if clip.levelled is None or decision is None or place is None:
        raise ShootError(name, "it has not been levelled", "Run: evenhand level")
    found = levels.findings.get(clip.id)
    return Explanation(
        clip=clip.id,
        place=place.name,
        mates=place.clips,
        membership=next((m.why for m in place.members if m.clip == clip.id), ()),
        reference=place.reference,
        why_reference=place.why_reference,
        decision=decision,
        trust=_trust(shoot, levels, clip, place, decision),
        adjustment=clip.adjustment,
        findings=found,
        remarks=remarks(found) if found else (),
        warnings=warnings(found, decision.stops + clip.adjustment.exposure) if found else (),
        skin=_skin(folder, shoot, clip),
    )


def _skin(folder: Path, shoot: Shoot, clip: ClipEntry) -> SkinFinding | None:
    """The skin check of the clip; None where its original is not there or cannot be read."""
    try:
        path, facts = original_and_facts(folder, shoot, clip)
        with hands(1) as pool:
            return pool.call(str(path), faces_skin, path, facts, shoot.grade(clip), clip.id)
    except EvenhandError:
        return None


def _trust(
    shoot: Shoot, levels: Levels, clip: ClipEntry, place: Place, decision: LevelDecision
) -> tuple[Trust, ...]:
    """What could set the exposure and white of a clip, the most trusted first."""
    mates = [levels.decision(c) for c in place.clips]
    by = {d.status: d.clip for d in mates if d is not None and d.status in ("chart", "grey_card")}
    by_hand = clip.adjustment.white is not None
    reached = decision.status != "unchanged"
    charts = by.get("chart")
    greys = [g.clip for g in shoot.grey_cards if g.clip in place.clips]
    hand = because("trust.set") if by_hand else because("trust.none")
    card = because("trust.in-clips", clips=[*greys]) if greys else because("trust.no-card")
    told = [
        Trust("hand", hand, by_hand),
        Trust("chart", _chart(shoot, charts), charts is not None and reached and not by_hand),
        Trust("grey_card", card, charts is None and "grey_card" in by and reached and not by_hand),
    ]
    settled = any(t.counts for t in told)
    reference = because("trust.clip", clip=place.reference)
    told.append(Trust("reference", reference, reached and not settled))
    told.append(Trust("as_shot", because("trust.no-view"), not reached and not settled))
    return tuple(told)


def _chart(shoot: Shoot, clip: str | None) -> Reason:
    if clip is not None:
        return because("trust.in-clips", clips=[clip])
    return because("trust.no-chart" if shoot.wishes.use_charts else "trust.charts-not-wanted")
