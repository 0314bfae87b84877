"""Levelling a shoot: places, reference clips, exposure and white, each with its numbers."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field
from pathlib import Path

import msgspec

from evenhand.errors import UsageError
from evenhand.grade.document import Adjustment, Levelling, Steadying
from evenhand.jobs.changes import Change, changes
from evenhand.jobs.greys import GreyPoint, with_greys
from evenhand.jobs.levels import Failure, Levels, forget_levels, keep_levels, worked_out
from evenhand.jobs.progress import Progress, silent
from evenhand.measure.decisions import Evenness, LevelDecision, Place
from evenhand.measure.findings import Findings
from evenhand.measure.levelling import grey_refusal
from evenhand.measure.reference import BY_HAND
from evenhand.reasons import Why
from evenhand.shoot import store
from evenhand.shoot.document import ClipEntry, Levelled, PlaceEntry, Refusable, Shoot
from evenhand.shoot.history import Origin
from evenhand.shoot.measurements import Measurements
from evenhand.shoot.places import joined, put, renamed, split
from evenhand.wording.findings import light_told, remarks, warnings

__all__ = ["GreyPoint", "LevelOptions", "LevelResult", "Regrouping", "level"]


@dataclass(frozen=True, slots=True)
class Regrouping:
    """What a person says of places, done in this order.

    rename: old and new names; join: the second place goes into the first; split: the clips leave
    this place for one of their own; place: the clips go into the place of this name, which is also
    the name of what was split off.
    """

    rename: tuple[tuple[str, str], ...] = ()
    join: tuple[tuple[str, str], ...] = ()
    split: str | None = None
    place: str | None = None


@dataclass(frozen=True, slots=True)
class LevelOptions:
    """What a person says about levelling; everything else is measured.

    All of it is remembered, until it is said otherwise or forgotten. `clips` are
    those that `places.split`, `places.place`, `refuse` and `accept` are about: a chart or grey card
    that is not to be used, a proposal that is taken as the clip's own white. `keep_warmth` is the
    share 0..1 of the light's warmth that stays where a chart or a grey card sets the white; without
    `use_charts` no chart is looked for, without `steady` light that changes inside a clip is left;
    None leaves these as they were. `greys` come beside those pointed at before, one a clip. `again`
    measures anew what was measured before.
    """

    references: tuple[str, ...] = ()
    places: Regrouping = field(default_factory=Regrouping)
    clips: tuple[str, ...] = ()
    greys: tuple[GreyPoint, ...] = ()
    refuse: tuple[Refusable, ...] = ()
    accept: bool = False
    keep_warmth: float | None = None
    use_charts: bool | None = None
    steady: bool | None = None
    again: bool = False
    dry_run: bool = False


class ClipTold(msgspec.Struct, frozen=True):
    """What has to be known of one clip beside its decision.

    `findings` are as shot; `steadying` evens its light out before levelling; `remarks` and
    `warnings` say in words what of them matters. `by_hand` is what a person set on top of
    levelling, where there is anything.
    """

    clip: str
    findings: Findings
    steadying: Steadying | None = None
    remarks: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    by_hand: Adjustment | None = None


class LevelResult(msgspec.Struct, frozen=True):
    """Places, decisions and evenness, what is told of the clips, and what changed.

    `left_out` are clips whose encoding is not settled or that are away, `failures` those that
    something went wrong with, `greys_refused` the grey cards that were not used, as reasons.
    `changes` is against what was decided before.
    """

    places: tuple[Place, ...]
    decisions: tuple[LevelDecision, ...]
    evenness: tuple[Evenness, ...]
    clips: tuple[ClipTold, ...]
    changes: tuple[Change, ...]
    left_out: tuple[str, ...]
    saved: bool
    failures: tuple[Failure, ...] = ()
    greys_refused: Why = ()


def level(
    folder: Path, options: LevelOptions, progress: Progress = silent, by: Origin | None = None
) -> LevelResult:
    """Level all clips of a shoot whose encoding is settled, and save unless it is a dry run.

    What was measured before is recalled, unless `options.again`; the decisions are the same either
    way. What a person said before is kept. A clip that cannot be measured is told in `failures` and
    keeps what was decided of it. Raises UsageError for clips and places that do not exist, grey
    points outside the picture, and a share of warmth that is none.
    """
    kept = options.keep_warmth
    if kept is not None and not 0 <= kept <= 1:
        raise UsageError("--keep-warmth", f"{kept:.0%} is not a share", "Write 0% to 100%")
    before = store.load(folder)
    shoot = _said(before, options)
    with Measurements(folder) as measurements:
        clips = shoot.levellable()
        if options.again:
            forget_levels(measurements, clips)
        references = [shoot.clip(name).id for name in options.references]
        levels = worked_out(measurements, folder, shoot, clips, references, progress)
        if not options.dry_run:
            after = store.change(
                folder,
                by or Origin("level"),
                lambda now: _decided(_said(now, options), shoot, levels, options),
            )
            keep_levels(measurements, after, levels)
    return LevelResult(
        places=levels.places,
        decisions=levels.decisions,
        evenness=levels.evenness,
        clips=tuple(_told(shoot, levels, d) for d in levels.decisions),
        changes=changes(before, levels.places, levels.decisions, levels.drift),
        left_out=tuple(c.id for c in shoot.usable() if c not in clips),
        saved=not options.dry_run,
        failures=levels.failures,
        greys_refused=tuple(why for g in levels.greys if (why := grey_refusal(g))),
    )


def _said(shoot: Shoot, options: LevelOptions) -> Shoot:
    """The document with what a person says this time."""
    clips = tuple(shoot.clip(name).id for name in options.clips)
    said = options.places
    for old, new in said.rename:
        shoot = renamed(shoot, old, new)
    for first, second in said.join:
        shoot = joined(shoot, first, second)
    if (said.split or said.place or options.refuse or options.accept) and not clips:
        raise UsageError("level", "no clip is named", "Name the clips that this is about: CLIP…")
    if said.split is not None:
        shoot = split(shoot, said.split, clips, said.place)
    elif said.place is not None:
        shoot = put(shoot, said.place, clips)
    if options.refuse:
        shoot = shoot.with_clips(
            *(
                msgspec.structs.replace(c, refused=tuple(sorted({*c.refused, *options.refuse})))
                for c in shoot.clips
                if c.id in clips
            )
        )
    return _wished(with_greys(shoot, options.greys), options)


def _wished(shoot: Shoot, options: LevelOptions) -> Shoot:
    asked = {
        "leave_warmth": options.keep_warmth,
        "use_charts": options.use_charts,
        "level_drift": options.steady,
    }
    wishes = msgspec.structs.replace(
        shoot.wishes, **{name: value for name, value in asked.items() if value is not None}
    )
    return msgspec.structs.replace(shoot, wishes=wishes)


def _told(shoot: Shoot, levels: Levels, decision: LevelDecision) -> ClipTold:
    adjustment = shoot.clip(decision.clip).adjustment
    findings = levels.findings[decision.clip]
    return ClipTold(
        clip=decision.clip,
        findings=findings,
        steadying=levels.drift[decision.clip],
        remarks=(*light_told(findings), *remarks(findings)),
        warnings=warnings(findings, decision.stops + adjustment.exposure),
        by_hand=adjustment if adjustment != Adjustment() else None,
    )


def _decided(shoot: Shoot, measured: Shoot, levels: Levels, options: LevelOptions) -> Shoot:
    """The document with what was decided in it.

    `measured` is the document that was measured by: a clip whose encoding was changed meanwhile
    keeps what it had.
    """
    then = {clip.id: clip for clip in measured.clips}
    decisions = {decision.clip: decision for decision in levels.decisions}
    changed = [
        _levelled(clip, decisions[clip.id], levels)
        for clip in shoot.clips
        if clip.id in decisions and clip.encoding == then[clip.id].encoding
    ]
    if options.accept:
        names = {shoot.clip(name).id for name in options.clips}
        changed = [_accepted(c, decisions[c.id]) if c.id in names else c for c in changed]
    places = _entries(shoot, levels)
    return msgspec.structs.replace(shoot.with_clips(*changed), places=places)


def _levelled(clip: ClipEntry, decision: LevelDecision, levels: Levels) -> ClipEntry:
    return msgspec.structs.replace(
        clip,
        levelling=Levelling(decision.stops, decision.white, levels.drift[clip.id]),
        levelled=Levelled(
            status=decision.status,
            reference=decision.reference,
            via=decision.via,
            confidence=decision.confidence,
            stops_error=decision.stops_error,
            mired_error=decision.mired_error,
        ),
    )


def _accepted(clip: ClipEntry, decision: LevelDecision) -> ClipEntry:
    """The clip with the white that was proposed, as a person's own."""
    if decision.proposal is None:
        raise UsageError(
            clip.id, "nothing is proposed for it", "`evenhand level --explain CLIP` shows proposals"
        )
    adjustment = msgspec.structs.replace(clip.adjustment, white=decision.proposal.white)
    return msgspec.structs.replace(clip, adjustment=adjustment)


def _entries(shoot: Shoot, levels: Levels) -> tuple[PlaceEntry, ...]:
    """The places as they are now; clips that were not measured this time stay where they were."""
    by_person = {p.name for p in shoot.places if p.named_by == "person"}
    measured = {clip for place in levels.places for clip in place.clips}
    away = {p.name: [c for c in p.clips if c not in measured] for p in shoot.places}
    entries = [
        PlaceEntry(
            name=place.name,
            clips=_in_order(shoot, (*place.clips, *away.pop(place.name, ()))),
            reference=place.reference,
            by="person" if any(m.how == "named" for m in place.members) else "measurement",
            named_by="person" if place.name in by_person else "measurement",
            reference_by="person" if place.why_reference == BY_HAND else "measurement",
        )
        for place in levels.places
    ]
    for place in shoot.places:
        left = away.get(place.name)
        if left:
            entries.append(msgspec.structs.replace(place, clips=tuple(left)))
    return tuple(entries)


def _in_order(shoot: Shoot, clips: Collection[str]) -> tuple[str, ...]:
    return tuple(c.id for c in shoot.clips if c.id in clips)
