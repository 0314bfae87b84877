"""What levelling measures and works out for a whole shoot: it can be lost and comes back the same.

The document holds what was decided. Why, from which matches, and how even the clips of a place came
out follows from the clips and from what a person said, and is kept in the measurement database.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import msgspec

from evenhand.errors import EvenhandError
from evenhand.grade.document import Steadying
from evenhand.jobs.greys import GREY, grey_sample
from evenhand.jobs.links import EVENNESS, PAIR, evenness_of, links_of
from evenhand.jobs.originals import remembered_facts
from evenhand.jobs.progress import Progress, Step
from evenhand.jobs.views import CHART, CLIP, LIGHT, Looked, Looker, Source
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
OF_A_CLIP = (CLIP, CHART, LIGHT, PAIR, EVENNESS, GREY)


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


def worked_out(
    measurements: Measurements,
    folder: Path,
    shoot: Shoot,
    clips: Sequence[ClipEntry],
    references: Sequence[str] = (),
    progress: Progress = lambda _step: None,
) -> Levels:
    """Measure clips, compare them, and decide; a clip that cannot be measured is told and left."""
    looked, failures = _looked(measurements, folder, shoot, clips, progress)
    links = links_of(measurements, looked, progress)
    drift = {one.view.id: one.steadying for one in looked}
    greys, not_seen = _greys(measurements, folder, shoot, drift)
    places = group([one.view for one in looked], links, _named(shoot, references))
    views = {one.view.id: one.view for one in looked}
    charts = [one.chart for one in looked if one.chart is not None]
    decisions = [
        decision
        for place in places
        for decision in level_place(place, views, links, greys, charts, shoot.wishes.leave_warmth)
    ]
    return Levels(
        places=places,
        decisions=tuple(decisions),
        evenness=tuple(evenness_of(measurements, p, decisions, looked, links) for p in places),
        findings={one.view.id: one.findings for one in looked},
        drift=drift,
        greys=tuple(greys),
        failures=(*failures, *not_seen),
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


def _looked(
    measurements: Measurements,
    folder: Path,
    shoot: Shoot,
    clips: Sequence[ClipEntry],
    progress: Progress,
) -> tuple[list[Looked], list[Failure]]:
    looker, order = Looker(measurements), {clip.id: n for n, clip in enumerate(shoot.clips, 1)}
    looked, failures = [], []
    for number, clip in enumerate(clips, 1):
        progress(Step("level", clip.id, number, len(clips)))
        try:
            source = _source(measurements, folder, shoot, clip, order[clip.id])
            looked.append(looker.look(source))
        except EvenhandError as error:
            failures.append(Failure(clip.id, str(error)))
    return looked, failures


def _source(
    measurements: Measurements, folder: Path, shoot: Shoot, clip: ClipEntry, order: int
) -> Source:
    assert clip.encoding is not None
    path = whereabouts.original(shoot, clip, folder)
    return Source(
        id=clip.id,
        order=order,
        path=path,
        facts=remembered_facts(measurements, clip.fingerprint, path),
        fingerprint=clip.fingerprint,
        encoding=clip.encoding,
        use_charts=shoot.wishes.use_charts and "chart" not in clip.refused,
        steady=shoot.wishes.level_drift,
    )


def _greys(
    measurements: Measurements, folder: Path, shoot: Shoot, drift: dict[str, Steadying | None]
) -> tuple[list[GreySample], list[Failure]]:
    """The grey cards of clips that were measured, but those that a person refused."""
    refused = {clip.id for clip in shoot.clips if "grey_card" in clip.refused}
    found, failures = [], []
    for entry in shoot.grey_cards:
        if entry.clip not in drift or entry.clip in refused:
            continue
        try:
            found.append(grey_sample(measurements, folder, shoot, entry, drift[entry.clip]))
        except EvenhandError as error:
            failures.append(Failure(entry.clip, str(error)))
    return found, failures
