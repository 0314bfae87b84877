"""The report of a shoot: one page that needs nothing beside itself."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import msgspec
import numpy as np

from evenhand import __version__
from evenhand.atomic import write_whole
from evenhand.children import Pool, Task
from evenhand.drawing import model
from evenhand.drawing.picture import picture_jpeg
from evenhand.drawing.report import report_html
from evenhand.drawing.scopes import scope_set
from evenhand.errors import EvenhandError, UsageError
from evenhand.grade.document import Grade
from evenhand.grade.exact import FindLook, exact_transform
from evenhand.grade.output_transforms import OUTPUT_TRANSFORMS, output_encoding
from evenhand.jobs.hands import hands, limits
from evenhand.jobs.hands import told as trouble
from evenhand.jobs.identification import remembered_identification
from evenhand.jobs.levels import Levels, remembered_levels
from evenhand.jobs.looks import ShootLooks, look_notices
from evenhand.jobs.originals import remembered_facts
from evenhand.jobs.progress import Progress, Step, silent
from evenhand.jobs.skin import SkinFinding, faces_missing, faces_skin
from evenhand.jobs.standing import Standing, standings
from evenhand.measure.ends import EndsOverTime, ends_over_time
from evenhand.measure.evenness import score
from evenhand.measure.findings import Findings
from evenhand.measure.graticule import skin_line
from evenhand.measure.identity.evidence import Identification
from evenhand.measure.scopes import measure_scopes
from evenhand.media.analysis import seconds_of, shot_and_steadied
from evenhand.media.decode import sample
from evenhand.media.records import ClipFacts
from evenhand.media.target import check_target
from evenhand.shoot import store, whereabouts
from evenhand.shoot.document import ClipEntry, Shoot
from evenhand.shoot.measurements import Measurements
from evenhand.smallfiles import read_small
from evenhand.wording.adjusting import adjusted
from evenhand.wording.findings import light_told, remarks, warnings
from evenhand.wording.saying import clause, said, sentences

LONGEST = 960  # pixels of the longer side of the pictures on the page
LARGEST = 16 << 20  # bytes of a truth file; that of the demo card has some thousand
SHOWN = 0.5  # of a clip's length: the picture that is shown


class ReportResult(msgspec.Struct, frozen=True):
    """Where the page is and how large it came out, in bytes."""

    path: str
    bytes: int
    clips: int


def report(
    folder: Path, to: Path | None = None, truth: Path | None = None, progress: Progress = silent
) -> ReportResult:
    """Write the report of a shoot, by default `report.html` in its folder.

    `truth` is the truth file of a card that was made, to score levelling against. A clip whose
    original is not there is told without pictures.
    """
    shoot = store.load(folder)
    target = to or folder / "report.html"
    check_target(target, overwrite=True)
    known = _truth(truth)
    clips = shoot.usable()
    with Measurements(folder) as measurements, hands() as pool:
        levels = remembered_levels(measurements, folder, shoot, progress)
        masters = tuple(standings(measurements, folder, shoot, clips))
        looks = ShootLooks(folder, shoot)
        known_of = _Known(folder, shoot, looks, levels, measurements, pool, masters)
        told = _clips(known_of, clips, progress)
    page = report_html(_page(shoot, levels, told, known)).encode()
    write_whole(target, page)
    return ReportResult(str(target), len(page), len(clips))


@dataclass(frozen=True, slots=True)
class _Known:
    """What the page is made from: decisions, what led to them, and what was measured and made."""

    folder: Path
    shoot: Shoot
    looks: FindLook
    levels: Levels
    measurements: Measurements
    pool: Pool
    masters: tuple[Standing, ...]

    def masters_of(self, clip: ClipEntry) -> list[Standing]:
        return [m for m in self.masters if m.clip == clip.id]


def _truth(path: Path | None) -> Mapping[str, Any] | None:
    if path is None:
        return None

    def refused(found: str) -> UsageError:
        return UsageError(path, found, "Name the .truth.json beside a demo card")

    content = read_small(path, LARGEST, refused)
    try:
        found: dict[str, Any] = msgspec.json.decode(content, type=dict[str, Any])
        whole = all({"file", "fault_matrix_bt2020"} <= set(clip) for clip in found["clips"])
    except (msgspec.MsgspecError, KeyError, TypeError, RecursionError):
        whole = False
    if not whole:
        raise refused("this is not the truth of a card")
    return found


def _page(
    shoot: Shoot, levels: Levels, clips: list[model.ClipReport], truth: Mapping[str, Any] | None
) -> model.ReportModel:
    even = {record.place: record for record in levels.evenness}
    today = datetime.now().astimezone()
    return model.ReportModel(
        shoot=shoot.name,
        card=", ".join(card.name for card in shoot.cards),
        date=f"{today.day} {today:%B %Y}",
        version=__version__,
        clips=tuple(clips),
        places=tuple(
            model.PlaceReport(
                name=place.name,
                clips=place.clips,
                reference=place.reference,
                evenness=even.get(place.name),
                note=f"Reference {place.reference}: {said(place.why_reference)}.",
            )
            for place in levels.places
        ),
        unreadable=tuple(
            model.UnreadableFile(clip.path, said(clip.trouble))
            for clip in shoot.clips
            if clip.state == "unreadable"
        ),
        notes=_notes(shoot),
        truth=score(levels.decisions, truth) if truth is not None else (),
    )


def _notes(shoot: Shoot) -> tuple[str, ...]:
    why = faces_missing()
    unchecked = (f"Skin was not checked. {sentences(why)}",) if why else ()
    return (*unchecked, *look_notices(shoot))


def _clips(known: _Known, clips: Sequence[ClipEntry], progress: Progress) -> list[model.ClipReport]:
    """The clips of the page in their order; pictures are made in children as the clips come."""
    told: dict[str, model.ClipReport] = {}
    tasks = []
    for clip in clips:
        told[clip.id], task = _clip(known, clip)
        tasks += [task] if task is not None else []
    for number, outcome in enumerate(known.pool.run(tasks), len(clips) - len(tasks) + 1):
        clip = outcome.key
        progress(Step("report", clip.id, number, len(clips)))
        base = told[clip.id]
        if outcome.error is None:
            told[clip.id] = _with_pictures(base, known, clip, outcome.got())
        else:
            line = trouble(known.folder, outcome.error)
            told[clip.id] = msgspec.structs.replace(base, warnings=(*base.warnings, line))
    return [told[clip.id] for clip in clips]


def _clip(known: _Known, clip: ClipEntry) -> tuple[model.ClipReport, Task[ClipEntry] | None]:
    """What is known of a clip, and what is to be done for its pictures."""
    found = known.levels.findings.get(clip.id)
    base = model.ClipReport(
        id=clip.id,
        file=clip.path,
        levelling=known.levels.decision(clip.id),
        adjustment=tuple(
            model.Figure(name.capitalize(), value) for name, value in adjusted(clip.adjustment)
        ),
        masters=tuple(_master(m) for m in known.masters_of(clip)),
        notes=(*light_told(found), *remarks(found)) if found else (),
    )
    try:
        base = msgspec.structs.replace(base, look=_look(clip, known.looks))
        path = whereabouts.original(known.shoot, clip, known.folder)
        facts = remembered_facts(known.measurements, known.pool, clip.fingerprint, path)
        verdict = remembered_identification(
            known.measurements, known.pool, clip.fingerprint, path, facts
        )
        base = msgspec.structs.replace(
            _with_facts(base, facts), identification=_identification(clip, verdict)
        )
        if clip.encoding is None:
            return base, None
        arguments = (path, facts, known.shoot.grade(clip), known.looks, clip.id)
        return base, Task(clip, str(path), pictures_of, arguments, limits(facts))
    except EvenhandError as error:
        return msgspec.structs.replace(base, warnings=(*base.warnings, str(error))), None


def _with_facts(base: model.ClipReport, facts: ClipFacts) -> model.ClipReport:
    over, under = (int(part) for part in facts.rate.split("/"))
    rate = f"{over / under:.3f}".rstrip("0").rstrip(".") + " fps"
    width, height = facts.shown_size
    kinds = [f"{t.codec}, {t.channels} ch, {t.rate / 1000:g} kHz" for t in facts.audio]
    return msgspec.structs.replace(
        base,
        codec=f"{facts.codec.upper()} {facts.profile}, {facts.bits} bits {facts.chroma}",
        size=f"{width} x {height}",
        rate=rate if facts.constant_rate else f"variable, mean {rate}",
        duration=facts.duration,
        sound="; ".join(kinds) or "no sound",
        notes=(*base.notes, *_hidden(facts)),
        warnings=(f"damaged: {said(facts.damage)}",) if facts.damage else (),
    )


def _hidden(facts: ClipFacts) -> tuple[str, ...]:
    hides = f"an edit list hides {facts.hidden_frames} frames"
    return (hides,) if facts.hidden_frames else ()


def _identification(clip: ClipEntry, verdict: Identification) -> model.Identification:
    return model.Identification(
        encoding=clip.encoding.name if clip.encoding else None,
        why="; ".join(f"assumed: {clause(a)}" for a in verdict.assumed),
        confidence=clip.confidence,
        evidence=tuple(
            model.Evidence(item.kind, clause(item.found), clause(item.says), item.weight)
            for item in verdict.evidence
        ),
        conflicts=tuple(clause(conflict) for conflict in verdict.conflicts),
        by_person=clip.encoding_by == "person",
    )


@dataclass(frozen=True, slots=True)
class Pictures:
    """One frame of a clip as shot and graded, its scopes, and the skin of the clip."""

    seconds: float
    ends: EndsOverTime
    skin: SkinFinding
    shot: model.Picture
    graded: model.Picture
    scopes_shot: model.ScopeSet
    scopes_graded: model.ScopeSet


def pictures_of(path: Path, facts: ClipFacts, grade: Grade, looks: FindLook, clip: str) -> Pictures:
    """Decode and draw what the page shows of a clip; for a child process."""
    [frame] = sample(path, facts, [SHOWN])
    steadying = grade.levelling.steadying
    signal, steady = shot_and_steadied(frame, facts, grade.encoding, LONGEST, steadying)
    after = exact_transform(grade, looks)(steady).astype(np.float32)
    output = output_encoding(grade.output_transform)
    matrix = grade.encoding.matrix if grade.encoding.matrix != "rgb" else "bt709"
    seconds = seconds_of(frame, facts)
    return Pictures(
        seconds=seconds,
        ends=ends_over_time([(seconds, signal)], grade.encoding),
        skin=faces_skin(path, facts, grade, clip, looks),
        shot=picture_jpeg(np.clip(signal, 0, 1), LONGEST),
        graded=picture_jpeg(after, LONGEST),
        scopes_shot=scope_set(measure_scopes(signal, matrix), skin=skin_line(grade.encoding)),
        scopes_graded=scope_set(measure_scopes(after, output.matrix), skin=skin_line(output)),
    )


def _with_pictures(
    base: model.ClipReport, known: _Known, clip: ClipEntry, made: Pictures
) -> model.ClipReport:
    found = known.levels.findings.get(clip.id)
    transform = known.shoot.grade(clip).output_transform
    mine = [m.entry.compiled for m in known.masters_of(clip) if m.entry and m.state == "passed"]
    return msgspec.structs.replace(
        base,
        shown_at=f"{made.seconds:.2f} s",
        output_transform=OUTPUT_TRANSFORMS[transform].title,
        compiled=mine[-1] if mine else None,
        ends=found.ends if found else made.ends,
        ends_notes=_ends_notes(clip, found),
        skin=made.skin.check,
        skin_note=""
        if faces_missing()
        else said(made.skin.why_none),  # told once for the whole page
        before=made.shot,
        after=made.graded,
        scopes_before=made.scopes_shot,
        scopes_after=made.scopes_graded,
    )


def _ends_notes(clip: ClipEntry, found: Findings | None) -> tuple[str, ...]:
    """What levelling and a person's exposure together cannot restore, or bring to light."""
    return warnings(found, clip.levelling.stops + clip.adjustment.exposure) if found else ()


def _look(clip: ClipEntry, looks: FindLook) -> model.LookLine | None:
    if clip.look is None:
        return None
    look = looks(clip.look)
    title = str(getattr(look, "title", "")) or clip.look.name
    return model.LookLine(title, clip.look.strength, str(getattr(look, "purpose", "")))


def _master(standing: Standing) -> model.MasterFile:
    name, outdated = Path(standing.path).name, standing.state == "outdated"
    entry = standing.entry
    if entry is None:
        facts = f"quality {standing.quality}"
        return model.MasterFile(name, standing.spec, facts, outdated=outdated)
    conform = (
        f"{entry.repeated} frames repeated, {entry.dropped} dropped"
        if entry.repeated or entry.dropped
        else "every frame once"
    )
    return model.MasterFile(
        name=name,
        spec=entry.spec,
        facts=f"{entry.size[0]} x {entry.size[1]}, {entry.frames} frames, {conform}, "
        f"quality {entry.quality}",
        bytes=entry.bytes,
        checks=tuple(
            model.MasterCheck(c.name, c.found, c.expected, "pass" if c.ok else "fail")
            for c in entry.checks
        ),
        outdated=outdated,
    )
