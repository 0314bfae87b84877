"""Levelling a shoot: places, reference clips, exposure and white, each with its numbers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import msgspec

from evenhand.errors import UsageError
from evenhand.grade.document import Adjustment, Levelling, Steadying
from evenhand.jobs.changes import Change, changes
from evenhand.jobs.greys import GreyPoint, grey_sample, with_greys
from evenhand.jobs.links import evenness_of, links_of
from evenhand.jobs.originals import remembered_facts
from evenhand.jobs.progress import Progress, Step, silent
from evenhand.jobs.views import KIND, Looked, Looker, Source
from evenhand.measure.decisions import Evenness, LevelDecision, Place
from evenhand.measure.findings import Findings, light_told, remarks, warnings
from evenhand.measure.levelling import grey_refusal, level_place
from evenhand.measure.places import Named, group
from evenhand.measure.reference import BY_HAND
from evenhand.reasons import Why
from evenhand.shoot import store
from evenhand.shoot.cache import Cache
from evenhand.shoot.document import ClipEntry, PlaceEntry, Shoot
from evenhand.shoot.places import Word, forgotten, joined, put, renamed, split

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

    All of it is remembered, until it is said otherwise or taken back with `forget`. `clips` are
    those that `places.split`, `places.place` and `forget` are about. `keep_warmth` is the share
    0..1 of the light's warmth that stays where a chart or a grey card sets the white; without
    `use_charts` no chart is looked for, without `steady` light that changes inside a clip is left;
    None leaves these as they were. `greys` come beside those pointed at before, one a clip.
    `again` measures anew what was measured before.
    """

    references: tuple[str, ...] = ()
    places: Regrouping = field(default_factory=Regrouping)
    clips: tuple[str, ...] = ()
    greys: tuple[GreyPoint, ...] = ()
    forget: tuple[Word, ...] = ()
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

    `left_out` are clips whose encoding is not settled, `greys_refused` the grey cards that were
    not used, as reasons. `changes` is against what was decided before.
    """

    places: tuple[Place, ...]
    decisions: tuple[LevelDecision, ...]
    evenness: tuple[Evenness, ...]
    clips: tuple[ClipTold, ...]
    changes: tuple[Change, ...]
    left_out: tuple[str, ...]
    saved: bool
    greys_refused: Why = ()


def level(folder: Path, options: LevelOptions, progress: Progress = silent) -> LevelResult:
    """Level all clips of a shoot whose encoding is settled, and save unless it is a dry run.

    What was measured before is taken from the cache, unless `options.again`; the decisions are the
    same either way. What a person said before is kept. Raises UsageError for clips and places that
    do not exist, grey points outside the picture, and a share of warmth that is none.
    """
    kept = options.keep_warmth
    if kept is not None and not 0 <= kept <= 1:
        raise UsageError("--keep-warmth", f"{kept:.0%} is not a share", "Write 0% to 100%")
    before = store.load(folder)
    shoot = _said(before, options)
    with Cache(folder) as cache:
        looked = _looked(cache, shoot, options, progress)
        links = links_of(cache, looked, progress)
        steadying = {one.view.id: one.steadying for one in looked}
        greys = [
            grey_sample(cache, folder, shoot, entry, steadying.get(entry.clip))
            for entry in shoot.greys
        ]
        places = group([one.view for one in looked], links, _named(shoot, options))
        views = {one.view.id: one.view for one in looked}
        charts = [one.chart for one in looked if one.chart is not None]
        warmth = shoot.wishes.keep_warmth
        decisions = [
            decision
            for place in places
            for decision in level_place(place, views, links, greys, charts, warmth)
        ]
        even = [evenness_of(cache, place, decisions, looked, links) for place in places]
    result = LevelResult(
        places=places,
        decisions=tuple(decisions),
        evenness=tuple(even),
        clips=tuple(_told(shoot, one, decisions) for one in looked),
        changes=changes(before, places, decisions, steadying),
        left_out=tuple(c.id for c in shoot.readable() if c.encoding is None),
        saved=not options.dry_run,
        greys_refused=tuple(why for g in greys if (why := grey_refusal(g))),
    )
    if not options.dry_run:
        store.save(folder, _decided(_said(store.load(folder), options), result))
    return result


def _said(shoot: Shoot, options: LevelOptions) -> Shoot:
    """The document with what a person says this time."""
    clips = tuple(shoot.clip(name).id for name in options.clips)
    said = options.places
    shoot = forgotten(shoot, options.forget, clips)
    for old, new in said.rename:
        shoot = renamed(shoot, old, new)
    for first, second in said.join:
        shoot = joined(shoot, first, second)
    if (said.split or said.place) and not clips:
        raise UsageError(
            "--split" if said.split else "--place", "no clip is named", "Name its clips: CLIP…"
        )
    if said.split:
        shoot = split(shoot, said.split, clips, said.place)
    elif said.place:
        shoot = put(shoot, said.place, clips)
    return _wished(with_greys(shoot, options.greys), options)


def _wished(shoot: Shoot, options: LevelOptions) -> Shoot:
    asked = {
        "keep_warmth": options.keep_warmth,
        "use_charts": options.use_charts,
        "steady": options.steady,
    }
    wishes = msgspec.structs.replace(
        shoot.wishes, **{name: value for name, value in asked.items() if value is not None}
    )
    return msgspec.structs.replace(shoot, wishes=wishes)


def _named(shoot: Shoot, options: LevelOptions) -> Named:
    """Places, names and references that a person said, or that were so before."""
    references = [shoot.clip(name).id for name in reversed(options.references)]
    references += [s.reference for s in shoot.places if s.reference_by == "person"]
    return Named(
        places={s.name: s.clips for s in shoot.places if s.by == "person"},
        names={s.name: s.clips for s in shoot.places if s.by != "person" and s.name},
        references=references,
    )


def _looked(cache: Cache, shoot: Shoot, options: LevelOptions, progress: Progress) -> list[Looked]:
    settled = [clip for clip in shoot.readable() if clip.encoding is not None]
    if options.again:
        for clip in settled:
            cache.forget(clip.fingerprint, KIND)
    looker = Looker(cache)
    looked = []
    for number, clip in enumerate(settled, 1):
        progress(Step("level", clip.id, number, len(settled)))
        looked.append(looker.look(_source(cache, shoot, clip, number)))
    return looked


def _source(cache: Cache, shoot: Shoot, clip: ClipEntry, order: int) -> Source:
    assert clip.encoding is not None
    path = store.original(shoot, clip)
    facts = remembered_facts(cache, clip.fingerprint, path)
    wishes = shoot.wishes
    return Source(
        id=clip.id,
        order=order,
        path=path,
        facts=facts,
        fingerprint=clip.fingerprint,
        encoding=clip.encoding,
        use_charts=wishes.use_charts,
        steady=wishes.steady,
    )


def _told(shoot: Shoot, one: Looked, decisions: Sequence[LevelDecision]) -> ClipTold:
    [decision] = [d for d in decisions if d.clip == one.view.id]
    adjustment = shoot.clip(one.view.id).adjustment
    return ClipTold(
        clip=one.view.id,
        findings=one.findings,
        steadying=one.steadying,
        remarks=(*light_told(one.findings), *remarks(one.findings)),
        warnings=warnings(one.findings, decision.stops + adjustment.exposure),
        by_hand=adjustment if adjustment != Adjustment() else None,
    )


def _decided(shoot: Shoot, result: LevelResult) -> Shoot:
    """The document with what was decided in it."""
    told = {one.clip: one for one in result.clips}
    changed = [
        msgspec.structs.replace(
            shoot.clip(decision.clip),
            place=decision.place,
            levelling=Levelling(decision.stops, decision.white, told[decision.clip].steadying),
            decision=decision,
            findings=told[decision.clip].findings,
        )
        for decision in result.decisions
    ]
    by_person = {s.name for s in shoot.places if s.named_by == "person"}
    entries = tuple(
        PlaceEntry(
            name=place.name,
            clips=place.clips,
            reference=place.reference,
            why_reference=place.why_reference,
            by="person" if any(m.how == "named" for m in place.members) else "measurement",
            named_by="person" if place.name in by_person else "measurement",
            reference_by="person" if place.why_reference == BY_HAND else "measurement",
            members=place.members,
            evenness=record,
        )
        for place, record in zip(result.places, result.evenness, strict=True)
    )
    return msgspec.structs.replace(shoot.with_clips(*changed), places=entries)
