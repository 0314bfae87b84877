"""What levelling measures and works out for a whole shoot: it can be lost and comes back the same.

The document holds what was decided. Why, from which matches, and how even the clips of a place came
out follows from the clips and from what a person said, and is kept in the measurement database.
"""

from __future__ import annotations

import traceback
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import msgspec

from evenhand.children import Pool
from evenhand.errors import EvenhandError, FaultError
from evenhand.grade.document import Steadying
from evenhand.jobs.greys import GREY, GreyCard, grey_sample
from evenhand.jobs.hands import hands, told
from evenhand.jobs.links import EVENNESS, PAIR, evenness_of, links_of
from evenhand.jobs.looking import CHART, CLIP, Source
from evenhand.jobs.originals import remembered_facts
from evenhand.jobs.progress import Progress, Step, silent
from evenhand.jobs.views import Looked, Looker
from evenhand.measure.decisions import Evenness, GreySample, LevelDecision, Place
from evenhand.measure.findings import Findings
from evenhand.measure.levelling import level_place
from evenhand.measure.places import Named, group
from evenhand.shoot import whereabouts
from evenhand.shoot.document import ClipEntry, Shoot
from evenhand.shoot.measurements import Measurements
from evenhand.shoot.reading import Reading

_OF_THE_SHOOT = "shoot"  # stands for a fingerprint, where a record is of all clips together


class Failure(msgspec.Struct, frozen=True):
    """A clip that something went wrong with; the others went on."""

    clip: str
    why: str


class Levels(msgspec.Struct, frozen=True, kw_only=True):
    """Everything that levelling knows of a shoot beside its document.

    `findings` and `drift` are by clip; `greys` are the grey cards that a person pointed at.
    """

    places: tuple[Place, ...]
    decisions: tuple[LevelDecision, ...]
    evenness: tuple[Evenness, ...]
    findings: dict[str, Findings]
    drift: dict[str, Steadying | None]
    greys: tuple[GreySample, ...]
    failures: tuple[Failure, ...] = ()

    def decision(self, clip: str) -> LevelDecision | None:
        """The decision of a clip (id)."""
        return next((d for d in self.decisions if d.clip == clip), None)

    def place_of(self, clip: str) -> Place | None:
        """The place of a clip (id)."""
        return next((p for p in self.places if clip in p.clips), None)


LEVELS = Reading(
    "levels",
    2,
    Levels,
    (
        "evenhand.jobs.levels:worked_out",
        "evenhand.measure.places:group",
        "evenhand.measure.levelling:level_place",
    ),
)
# All that levelling remembers of a clip: what `again` measures anew.
OF_A_CLIP = (CLIP, CHART, PAIR, EVENNESS, GREY)


def remembered_levels(
    measurements: Measurements, folder: Path, shoot: Shoot, progress: Progress
) -> Levels:
    """What led to the decisions that the document holds; measured again where it was lost."""
    clips = [clip for clip in shoot.usable() if clip.levelled is not None]
    kept = LEVELS.recall(measurements, _OF_THE_SHOOT, *_depends(shoot))
    if kept is None:
        kept = worked_out(measurements, folder, shoot, clips, progress=progress)
        if not kept.failures:
            LEVELS.keep(measurements, _OF_THE_SHOOT, kept, *_depends(shoot))
    return kept


def keep_levels(measurements: Measurements, shoot: Shoot, levels: Levels) -> None:
    """Keep what led to the decisions of a shoot, as it is after they were made."""
    if not levels.failures:
        measurements.forget(_OF_THE_SHOOT, LEVELS.name)
        LEVELS.keep(measurements, _OF_THE_SHOOT, levels, *_depends(shoot))


@dataclass(slots=True)
class Measuring:
    """What measuring a shoot needs, and what went wrong on the way, by clip."""

    measurements: Measurements
    folder: Path
    shoot: Shoot
    pool: Pool
    progress: Progress
    failures: dict[str, str] = field(default_factory=dict)

    def failed(self, clip: str, error: Exception) -> None:
        """Note a clip that something went wrong with; its first line counts."""
        if clip in self.failures:
            return
        if not isinstance(error, EvenhandError):
            trace = "".join(traceback.format_exception(error))
            error = FaultError(clip, type(error).__name__, trace)
        self.failures[clip] = told(self.folder, error)


def worked_out(
    measurements: Measurements,
    folder: Path,
    shoot: Shoot,
    clips: Sequence[ClipEntry],
    references: Sequence[str] = (),
    progress: Progress = silent,
) -> Levels:
    """Measure clips, compare them, and decide; a clip that cannot be measured is told and left."""
    with hands() as pool:
        job = Measuring(measurements, folder, shoot, pool, progress)
        looker = Looker(measurements, pool)
        looked = _looked(job, looker, clips)
        links = links_of(measurements, looked, progress, job.failed)
        drift = {one.view.id: one.steadying for one in looked}
        greys = _greys(job, drift)
        places = group([one.view for one in looked], links, _named(shoot, references))
        views = {one.view.id: one.view for one in looked}
        charts = [one.chart for one in looked if one.chart is not None]
        warmth = shoot.wishes.leave_warmth
        decisions: list[LevelDecision] = []
        even: list[Evenness] = []
        for place in places:
            try:
                decisions += level_place(place, views, links, greys, charts, warmth)
                even.append(evenness_of(measurements, place, decisions, looked, links))
            except Exception as error:
                job.failed(place.reference, error)
        for clip, lost in looker.lost.items():
            job.failed(clip, lost)
    return Levels(
        places=places,
        decisions=tuple(decisions),
        evenness=tuple(even),
        findings={one.view.id: one.findings for one in looked},
        drift=drift,
        greys=tuple(greys),
        failures=tuple(Failure(clip, why) for clip, why in job.failures.items()),
    )


def forget_levels(measurements: Measurements, clips: Sequence[ClipEntry]) -> None:
    """Have all that levelling remembers of these clips measured anew."""
    for clip in clips:
        for reading in OF_A_CLIP:
            measurements.forget(clip.fingerprint, f"{reading.name} ")


def _depends(shoot: Shoot) -> tuple[object, ...]:
    """Everything that a shoot's levels follow from."""
    clips = [
        (clip.id, clip.fingerprint, clip.encoding, clip.refused)
        for clip in shoot.usable()
        if clip.levelled is not None
    ]
    said = [(p.name, p.clips, p.by, p.reference_by, p.reference) for p in shoot.places]
    numbers = [reading.number for reading in OF_A_CLIP]
    return numbers, clips, said, shoot.grey_cards, shoot.wishes


def _named(shoot: Shoot, references: Sequence[str]) -> Named:
    """Places, names and references that a person said, or that were so before."""
    before = [p.reference for p in shoot.places if p.reference_by == "person"]
    return Named(
        places={p.name: p.clips for p in shoot.places if p.by == "person"},
        names={p.name: p.clips for p in shoot.places if p.by != "person" and p.name},
        references=[*reversed(references), *before],
    )


def _looked(job: Measuring, looker: Looker, clips: Sequence[ClipEntry]) -> list[Looked]:
    """The clips that could be looked at, in their order."""
    order = {clip.id: number for number, clip in enumerate(job.shoot.clips, 1)}
    sources = []
    for clip in clips:
        try:
            sources.append(_source(job, clip, order[clip.id]))
        except EvenhandError as error:
            job.failed(clip.id, error)
    found: dict[str, Looked] = {}
    for number, (source, one) in enumerate(looker.look(sources), 1):
        job.progress(Step("level", source.id, number, len(sources)))
        if isinstance(one, Looked):
            found[source.id] = one
        else:
            job.failed(source.id, one)
    return [found[clip.id] for clip in clips if clip.id in found]


def _source(job: Measuring, clip: ClipEntry, order: int) -> Source:
    assert clip.encoding is not None
    path = whereabouts.original(job.shoot, clip, job.folder)
    wishes = job.shoot.wishes
    return Source(
        id=clip.id,
        order=order,
        path=path,
        facts=remembered_facts(job.measurements, job.pool, clip.fingerprint, path),
        fingerprint=clip.fingerprint,
        encoding=clip.encoding,
        use_charts=wishes.use_charts and "chart" not in clip.refused,
        steady=wishes.level_drift,
    )


def _greys(job: Measuring, drift: dict[str, Steadying | None]) -> list[GreySample]:
    """The grey cards of clips that were measured, but those that a person refused."""
    refused = {clip.id for clip in job.shoot.clips if "grey_card" in clip.refused}
    found = []
    for entry in job.shoot.grey_cards:
        if entry.clip not in drift or entry.clip in refused:
            continue
        clip = job.shoot.clip(entry.clip)
        try:
            path = whereabouts.original(job.shoot, clip, job.folder)
            facts = remembered_facts(job.measurements, job.pool, clip.fingerprint, path)
            card = GreyCard(path, facts, entry, drift[entry.clip])
            found.append(grey_sample(job.measurements, job.pool, clip, card))
        except EvenhandError as error:
            job.failed(entry.clip, error)
    return found
