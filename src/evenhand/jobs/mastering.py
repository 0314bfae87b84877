"""One master: what it is made from, made and verified, or verified anew where it is there."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from evenhand.children import tell
from evenhand.errors import ClipError, UsageError
from evenhand.grade.compiled import compile_grade
from evenhand.grade.document import Grade
from evenhand.grade.effects import effects_in
from evenhand.grade.exact import FindLook
from evenhand.grade.fidelity import CompileReport
from evenhand.grade.output_transforms import output_encoding
from evenhand.jobs.standing import Wanted
from evenhand.kernels.frame import PlaneFormat
from evenhand.measure.timing import ConformPlan, conform
from evenhand.media.analysis import sampled_signals
from evenhand.media.anew import verify_anew
from evenhand.media.encode import MasterOrder, MasterWriter, room_needed
from evenhand.media.pipeline import Grading, write_pictures
from evenhand.media.probe import probe
from evenhand.media.records import ClipFacts
from evenhand.media.sound import plan_sound
from evenhand.media.spec import MasterSpec, plan_picture
from evenhand.media.target import check_target
from evenhand.media.verify import Verification
from evenhand.names import kept_path
from evenhand.shoot.masters import MasterCheck, MasterEntry
from evenhand.wording.saying import said

Told = Callable[[int, int, str], None]
"""Hears of frames done, of frames in all, and of what is done with them: "master", "verify"."""


@dataclass(frozen=True, slots=True)
class Prepared:
    """What a master is made from: the original and its facts, its grade, its frames."""

    wanted: Wanted
    path: Path
    facts: ClipFacts
    grade: Grade
    timing: ConformPlan
    order: MasterOrder
    allow_damaged: bool


def prepare(wanted: Wanted, path: Path, grade: Grade, *, allow_damaged: bool) -> Prepared:
    """Read the original in `path` and plan its master.

    Raises UsageError where the spec does not fit what the clip is rendered for, ClipError for a
    damaged clip, unless `allow_damaged`.
    """
    spec = wanted.spec
    _same_kind(wanted, grade)
    facts = probe(path)
    if facts.damage and not allow_damaged:
        raise ClipError(
            path,
            said(facts.damage),
            "Copy it again from the card, or master what is there with --allow-damaged",
        )
    timing = conform(facts.times, spec.frame_rate, Fraction(facts.time_base))
    order = _order(wanted, path, facts, timing)
    return Prepared(wanted, path, facts, grade, timing, order, allow_damaged)


def make(prepared: Prepared, looks: FindLook, told: Told, *, overwrite: bool) -> MasterEntry:
    """Make the master and verify it; whole under its name, or not there."""
    began, order, target = time.monotonic(), prepared.order, prepared.wanted.target
    check_target(target, overwrite=overwrite, needs=room_needed(order))
    told(0, order.frames, "master")
    grading, compiled = _grading(prepared, looks)

    def verifying(done: int) -> None:
        told(done, order.frames, "verify")

    with MasterWriter(target, order, overwrite=overwrite, verifying=verifying) as writer:
        written = write_pictures(
            grading,
            prepared.timing,
            writer,
            allow_damaged=prepared.allow_damaged,
            progress=lambda done: told(done, order.frames, "master"),
        )
    assert writer.verification is not None
    spent = time.monotonic() - began
    return _entry(prepared, compiled, writer.verification, spent, written.lost)


def look_again(
    prepared: Prepared, looks: FindLook, told: Told
) -> tuple[MasterEntry | None, tuple[str, ...]]:
    """Verify a master that is there anew: its record, or None and the names of what failed."""
    began, order = time.monotonic(), prepared.order
    told(0, order.frames, "verify")
    grading, compiled = _grading(prepared, looks)
    found = verify_anew(
        prepared.wanted.target,
        order,
        grading,
        prepared.timing,
        lambda done: told(done, order.frames, "verify"),
    )
    if not found.ok:
        return None, tuple(check.name for check in found.failures)
    return _entry(prepared, compiled, found, time.monotonic() - began, 0), ()


def made_in_child(
    wanted: Wanted, path: Path, grade: Grade, looks: FindLook, allow_damaged: bool, overwrite: bool
) -> MasterEntry:
    """Prepare and make a master in a child process, which tells how far it is."""
    prepared = prepare(wanted, path, grade, allow_damaged=allow_damaged)
    return make(prepared, looks, _told, overwrite=overwrite)


def seen_in_child(
    wanted: Wanted, path: Path, grade: Grade, looks: FindLook, allow_damaged: bool
) -> tuple[MasterEntry | None, tuple[str, ...]]:
    """Verify a master anew in a child process, which tells how far it is."""
    return look_again(prepare(wanted, path, grade, allow_damaged=allow_damaged), looks, _told)


def _told(done: int, total: int, job: str) -> None:
    tell((done, total, job))


def _same_kind(wanted: Wanted, grade: Grade) -> None:
    spec, output = wanted.spec, output_encoding(grade.output_transform).name
    if output != spec.encoding:
        raise UsageError(
            f"{wanted.clip.id}, {spec.name}",
            f"the spec is {spec.encoding}, the clip is rendered for {output}",
            "Choose another spec, or another output transform: "
            "evenhand adjust CLIP --output-transform NAME",
        )


def _order(wanted: Wanted, path: Path, facts: ClipFacts, timing: ConformPlan) -> MasterOrder:
    spec: MasterSpec = wanted.spec
    start = facts.times[0] * Fraction(facts.time_base)
    duration = len(timing.index) / spec.frame_rate
    # A timecode counts frames of its own rate: at another rate it would name other moments.
    same_rate = facts.constant_rate and Fraction(facts.rate) == spec.frame_rate
    return MasterOrder(
        spec=spec,
        plan=plan_picture(spec, *facts.shown_size),
        frames=len(timing.index),
        quality=wanted.quality,
        sound=plan_sound(spec.sound, path, facts.audio, start, duration),
        timecode=facts.timecode if same_rate else None,
        created=facts.created,
        mark=wanted.mark,
    )


def _grading(prepared: Prepared, looks: FindLook) -> tuple[Grading, CompileReport]:
    """What is done to every picture, and how near it comes to the exact grade."""
    path, facts, grade = prepared.path, prepared.facts, prepared.grade
    spec, plan = prepared.order.spec, prepared.order.plan
    steadying = grade.levelling.steadying
    samples = sampled_signals(path, facts, grade.encoding, steadying)
    compiled = compile_grade(grade, samples, looks=looks)
    grading = Grading(
        clip=path,
        facts=facts,
        encoding=grade.encoding,
        steadying=steadying,
        effects=effects_in(grade, looks),
        table=compiled.table(),
        target=PlaneFormat(spec.bits, 2, 2 if spec.chroma == "4:2:0" else 1),
        width=plan.width,
        height=plan.height,
    )
    return grading, compiled.report


def _entry(
    prepared: Prepared,
    compiled: CompileReport,
    verification: Verification,
    seconds: float,
    lost: int,
) -> MasterEntry:
    wanted, timing, order = prepared.wanted, prepared.timing, prepared.order
    mark = wanted.mark
    return MasterEntry(
        clip=wanted.clip.id,
        spec=wanted.spec.name,
        spec_digest=mark.spec_digest,
        quality=wanted.quality,
        shape=mark.shape,
        part=mark.part,
        path=kept_path(str(wanted.target.absolute())),
        bytes=wanted.target.stat().st_size,
        grade=wanted.grade,
        frames=order.frames,
        repeated=timing.repeated,
        dropped=timing.dropped,
        worst_time_error=timing.worst_error,
        lost=lost,
        seconds=round(seconds, 2),
        size=(order.plan.width, order.plan.height),
        settings=order.spec.level(wanted.quality).encoder,
        compiled=compiled,
        checks=tuple(MasterCheck(c.name, c.expected, c.found, c.ok) for c in verification.checks),
    )
