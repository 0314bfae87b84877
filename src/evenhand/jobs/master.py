"""Masters: each clip graded, encoded, read again, compared, and only then named."""

from __future__ import annotations

import time
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import product
from pathlib import Path

import msgspec

from evenhand.errors import (
    ClipError,
    EvenhandError,
    NameTakenError,
    TargetError,
    UsageError,
)
from evenhand.grade.compiled import CompiledGrade, compile_grade, grade_digest
from evenhand.grade.document import Grade
from evenhand.grade.effects import Effects, effects_in
from evenhand.grade.exact import FindLook
from evenhand.grade.output_transforms import output_encoding
from evenhand.jobs.looks import ShootLooks, look_notices
from evenhand.jobs.progress import Progress, Step, silent
from evenhand.kernels.frame import PlaneFormat
from evenhand.measure.timing import ConformPlan, conform
from evenhand.media.analysis import sampled_signals
from evenhand.media.encode import MasterOrder, MasterWriter, room_needed
from evenhand.media.pipeline import Grading, write_pictures
from evenhand.media.probe import probe
from evenhand.media.records import ClipFacts
from evenhand.media.sound import plan_sound
from evenhand.media.spec import MasterSpec, load_spec, plan_picture
from evenhand.media.target import check_target, made_folder
from evenhand.shoot import store, whereabouts
from evenhand.shoot.document import ClipEntry, Shoot
from evenhand.shoot.history import Origin
from evenhand.shoot.masters import MasterCheck, MasterEntry, keep_master, masters_of
from evenhand.shoot.measurements import Measurements


class Undone(msgspec.Struct, frozen=True):
    """A master that was not made, and why."""

    clip: str
    spec: str
    why: str


class MasterResult(msgspec.Struct, frozen=True):
    """Masters made now, those that were there already, and those that could not be made.

    `notices` tell of look files that went missing or changed since they were chosen.
    """

    folder: str
    made: tuple[MasterEntry, ...]
    kept: tuple[MasterEntry, ...]
    undone: tuple[Undone, ...]
    notices: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class MasterOptions:
    """How masters are made. `quality` is a level of the spec, None its default."""

    specs: tuple[str, ...]
    to: Path
    clips: tuple[str, ...] = ()
    quality: str | None = None
    allow_damaged: bool = False
    overwrite: bool = False


def master(
    folder: Path, options: MasterOptions, progress: Progress = silent, by: Origin | None = None
) -> MasterResult:
    """Make the masters of a shoot; goes on where an earlier run stopped.

    A clip that cannot be mastered is told in `undone` and the others go on. A master that is there
    and was made with the same grade is kept. Raises TargetError where no master can be written.
    """
    shoot = store.load(folder)
    specs = [load_spec(name) for name in options.specs]
    clips = [shoot.clip(name) for name in options.clips] or [
        clip for clip in shoot.usable() if not clip.left_out
    ]
    options = replace(options, to=made_folder(options.to))
    shoot = _with_folder(folder, options.to, by or Origin("master"))
    looks = ShootLooks(folder, shoot)
    made: list[MasterEntry] = []
    kept: list[MasterEntry] = []
    undone: list[Undone] = []
    for spec in specs:
        spec.level(options.quality)
    for number, (spec, clip) in enumerate(product(specs, clips), 1):
        step = Step("master", f"{clip.id} {spec.name}", number, len(specs) * len(clips))
        try:
            done = _already(folder, shoot, clip, spec, options)
            if done is not None:
                kept.append(done)
                continue
            entry = _one(folder, shoot, looks, clip, spec, options, _Teller(step, progress))
            with Measurements(folder) as measurements:
                made.append(keep_master(measurements, folder, clip, entry))
        except NameTakenError as error:
            undone.append(Undone(clip.id, spec.name, str(error)))
        except (TargetError, UsageError):
            raise  # a full or locked disk, or a spec that cannot be: all others would fail alike
        except EvenhandError as error:
            undone.append(Undone(clip.id, spec.name, str(error)))
    return MasterResult(
        str(options.to), tuple(made), tuple(kept), tuple(undone), look_notices(shoot)
    )


@dataclass(frozen=True, slots=True)
class _Teller:
    """Tells of frames done, of one master."""

    step: Step
    progress: Progress

    def __call__(self, done: int, total: int, job: str = "master") -> None:
        self.progress(replace(self.step, job=job, done=done, total=total))


def _with_folder(folder: Path, to: Path, by: Origin) -> Shoot:
    """The shoot, which knows from now on that masters lie in a folder."""
    entry = whereabouts.folder_entry(to, folder)

    def edit(shoot: Shoot) -> Shoot:
        others = tuple(f for f in shoot.master_folders if f.path != entry.path)
        if entry in shoot.master_folders:
            return shoot
        return msgspec.structs.replace(shoot, master_folders=(*others, entry))

    return store.change(folder, by, edit)


def target_name(clip: ClipEntry, spec: MasterSpec) -> str:
    """`<clip>.<spec>.<suffix>`, with the folders of the card in the name where the id has them."""
    return f"{clip.id.replace('/', '_')}.{spec.name}.{spec.container}"


def _already(
    folder: Path, shoot: Shoot, clip: ClipEntry, spec: MasterSpec, options: MasterOptions
) -> MasterEntry | None:
    """The record of a master that is still what it was, of the same grade, spec and quality."""
    if clip.encoding is None:
        return None
    digest = grade_digest(shoot.grade(clip))
    quality = options.quality or spec.default_quality
    target = options.to / target_name(clip, spec)
    with Measurements(folder) as measurements:
        known = list(masters_of(measurements, folder, clip))
    for entry, path in known:
        same = (entry.spec, entry.quality) == (spec.name, quality)
        if same and path == target.absolute() and entry.grade == digest:
            there = target.is_file() and target.stat().st_size == entry.bytes
            return entry if there else None
    return None


def _ours(folder: Path, clip: ClipEntry, target: Path) -> bool:
    """Whether the file under the target's name is a master of this shoot, as it was written."""
    with Measurements(folder) as measurements:
        return any(
            path == target.absolute() and target.stat().st_size == entry.bytes
            for entry, path in masters_of(measurements, folder, clip)
            if target.is_file()
        )


def _one(
    folder: Path,
    shoot: Shoot,
    looks: FindLook,
    clip: ClipEntry,
    spec: MasterSpec,
    options: MasterOptions,
    told: _Teller,
) -> MasterEntry:
    """Make one master; `told` hears of frames done and frames in all."""
    began = time.monotonic()
    grade = shoot.grade(clip)
    _same_kind(clip, grade, spec)
    path = whereabouts.original(shoot, clip, folder)
    facts = probe(path)
    if facts.damage and not options.allow_damaged:
        raise ClipError(
            path,
            "; ".join(facts.damage),
            "Copy it again from the card, or master what is there with --allow-damaged",
        )
    timing = conform(facts.times, spec.frame_rate, Fraction(facts.time_base))
    order = _order(path, facts, spec, timing, options.quality)
    target = options.to / target_name(clip, spec)
    overwrite = options.overwrite or _ours(folder, clip, target)
    check_target(target, overwrite=overwrite, needs=room_needed(order))
    told(0, order.frames)
    steadying = grade.levelling.steadying
    samples = sampled_signals(path, facts, grade.encoding, steadying)
    compiled = compile_grade(grade, samples, looks=looks)
    effects = effects_in(grade, looks)

    def verifying(done: int) -> None:
        told(done, order.frames, "verify")

    with MasterWriter(target, order, overwrite=overwrite, verifying=verifying) as writer:
        written = write_pictures(
            _grading(path, facts, grade, compiled, order, effects),
            timing,
            writer,
            allow_damaged=options.allow_damaged,
            progress=lambda done: told(done, order.frames),
        )
    assert writer.verification is not None
    return MasterEntry(
        clip=clip.id,
        spec=spec.name,
        quality=options.quality or spec.default_quality,
        path=str(target.absolute()),
        bytes=target.stat().st_size,
        grade=compiled.digest,
        frames=order.frames,
        repeated=timing.repeated,
        dropped=timing.dropped,
        worst_time_error=timing.worst_error,
        lost=written.lost,
        seconds=round(time.monotonic() - began, 2),
        size=(order.plan.width, order.plan.height),
        settings=spec.level(options.quality).encoder,
        compiled=compiled.report,
        checks=tuple(
            MasterCheck(c.name, c.expected, c.found, c.ok) for c in writer.verification.checks
        ),
    )


def _same_kind(clip: ClipEntry, grade: Grade, spec: MasterSpec) -> None:
    output = output_encoding(grade.output_transform).name
    if output != spec.encoding:
        raise UsageError(
            f"{clip.id}, {spec.name}",
            f"the spec is {spec.encoding}, the clip is rendered for {output}",
            "Choose another spec, or another output transform: "
            "evenhand adjust CLIP --output-transform NAME",
        )


def _order(
    path: Path, facts: ClipFacts, spec: MasterSpec, timing: ConformPlan, quality: str | None
) -> MasterOrder:
    start = facts.times[0] * Fraction(facts.time_base)
    duration = len(timing.index) / spec.frame_rate
    # A timecode counts frames of its own rate: at another rate it would name other moments.
    same_rate = facts.constant_rate and Fraction(facts.rate) == spec.frame_rate
    return MasterOrder(
        spec=spec,
        plan=plan_picture(spec, *facts.shown_size),
        frames=len(timing.index),
        quality=quality,
        sound=plan_sound(spec.sound, path, facts.audio, start, duration),
        timecode=facts.timecode if same_rate else None,
        created=facts.created,
    )


def _grading(
    path: Path,
    facts: ClipFacts,
    grade: Grade,
    compiled: CompiledGrade,
    order: MasterOrder,
    effects: Effects,
) -> Grading:
    spec, plan = order.spec, order.plan
    return Grading(
        clip=path,
        facts=facts,
        encoding=grade.encoding,
        steadying=grade.levelling.steadying,
        effects=effects,
        table=compiled.table(),
        target=PlaneFormat(spec.bits, 2, 2 if spec.chroma == "4:2:0" else 1),
        width=plan.width,
        height=plan.height,
    )
