"""Masters: each clip graded, encoded, read again, compared, and only then named."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from itertools import product
from pathlib import Path
from typing import Any, Final

import msgspec

from evenhand.children import Limits, Pool, Task
from evenhand.errors import TRACE, EvenhandError, fault
from evenhand.grade.compiled import grade_digest
from evenhand.jobs.hands import hands
from evenhand.jobs.hands import told as trouble
from evenhand.jobs.looks import ShootLooks, look_notices
from evenhand.jobs.mastering import Told, made_in_child, seen_in_child
from evenhand.jobs.progress import Progress, Step, silent
from evenhand.jobs.standing import Standing, There, Wanted, standings, there
from evenhand.media.claim import claimed
from evenhand.media.marks import MasterMark
from evenhand.media.spec import MasterSpec, load_spec
from evenhand.media.target import made_folder
from evenhand.names import short_name
from evenhand.reasons import Reason, because
from evenhand.shoot import store, whereabouts
from evenhand.shoot.document import ClipEntry, Shoot
from evenhand.shoot.history import Origin
from evenhand.shoot.masters import MasterEntry, keep_master
from evenhand.shoot.measurements import Measurements


class Undone(msgspec.Struct, frozen=True):
    """A master that was not made, and why."""

    clip: str
    spec: str
    why: str


class Remark(msgspec.Struct, frozen=True):
    """What is to be known of a master that was made or kept."""

    clip: str
    spec: str
    why: Reason


class MasterResult(msgspec.Struct, frozen=True):
    """Masters made now, those that were there already, and those that could not be made.

    `remarks` say what a made one replaced, and why one that is not just what was asked for was
    kept. `outdated` are masters of these clips that are there still and whose grade has changed
    since. `notices` tell of look files that went missing or changed since they were chosen.
    """

    folder: str
    made: tuple[MasterEntry, ...]
    kept: tuple[MasterEntry, ...]
    undone: tuple[Undone, ...]
    remarks: tuple[Remark, ...] = ()
    outdated: tuple[Standing, ...] = ()
    notices: tuple[str, ...] = ()


# A master takes as long as it takes; a UHD one holds up to 1.5 GiB.
LIMITS: Final = Limits(memory=8 << 30, seconds=float("inf"))


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

    Whatever goes wrong with one clip and spec is told in `undone`, and the others go on. A master
    of today's grade is kept, unless a higher quality is asked for; one of an older grade is
    replaced. Raises UsageError for a spec, quality or clip that does not exist, TargetError where
    the folder cannot be made.
    """
    shoot = store.load(folder)
    specs = [load_spec(name) for name in options.specs]
    for spec in specs:
        spec.level(options.quality)
    clips = [shoot.clip(name) for name in options.clips] or [
        clip for clip in shoot.usable() if not clip.left_out
    ]
    options = replace(options, to=made_folder(options.to))
    shoot = _with_folder(folder, options.to, by or Origin("master"))
    with hands(1) as pool:
        run = _Run(folder, options, shoot, ShootLooks(folder, shoot), pool)
        for number, (spec, clip) in enumerate(product(specs, clips), 1):
            step = Step("master", f"{clip.id} {spec.name}", number, len(specs) * len(clips))
            run.pair(clip, spec, _Teller(step, progress))
    return run.result(clips)


@dataclass(frozen=True, slots=True)
class _Teller:
    """Tells of frames done, of one master, and of who is waited for."""

    step: Step
    progress: Progress

    def __call__(self, done: int, total: int, job: str) -> None:
        self.progress(replace(self.step, job=job, done=done, total=total))

    def waiting(self, why: Reason) -> None:
        self.progress(replace(self.step, why=why))


@dataclass(slots=True)
class _Run:
    """The work on one order of masters, and what has become of it so far."""

    folder: Path
    options: MasterOptions
    shoot: Shoot
    looks: ShootLooks
    pool: Pool
    made: list[MasterEntry] = field(default_factory=list)
    kept: list[MasterEntry] = field(default_factory=list)
    undone: list[Undone] = field(default_factory=list)
    remarks: list[Remark] = field(default_factory=list)

    def pair(self, clip: ClipEntry, spec: MasterSpec, told: _Teller) -> None:
        """One clip by one spec: made, kept, or told why not."""
        try:
            wanted = self._wanted(clip, spec)
            found = self._there(wanted)
            if found.stays and found.entry is not None:
                self._keep(wanted, found, found.entry)
                return
            with claimed(wanted.target, clip.id, spec.name, told.waiting):
                self._at_last(clip, spec, told)
        except EvenhandError as error:
            self.undone.append(Undone(clip.id, spec.name, trouble(self.folder, error)))
        except BrokenPipeError:  # whoever listened has gone
            raise
        except Exception as error:
            if os.environ.get(TRACE):
                raise
            self.undone.append(Undone(clip.id, spec.name, fault(error)))

    def _at_last(self, clip: ClipEntry, spec: MasterSpec, told: _Teller) -> None:
        """Once nobody else works on it: look again, since somebody may have, and make it."""
        self._refresh()
        clip = self.shoot.clip(clip.id)
        wanted = self._wanted(clip, spec)
        found = self._there(wanted)
        entry = found.entry
        if found.stays and entry is None:
            entry = self._verified_anew(wanted, found, told)
        if found.stays and entry is not None:
            self._keep(wanted, found, entry)
            return
        self._make(wanted, found, told)

    def _make(self, wanted: Wanted, found: There, told: Told) -> None:
        clip, spec = wanted.clip, wanted.spec
        overwrite = self.options.overwrite or found.ours
        entry = self._in_child(made_in_child, wanted, told, overwrite)
        self.made.append(self._recorded(clip, entry))
        if found.mark is not None and not found.stays:
            self.remarks.append(Remark(clip.id, spec.name, _replaced(found.how, found.mark)))

    def _verified_anew(self, wanted: Wanted, found: There, told: Told) -> MasterEntry | None:
        """The record of a master that had none, or None where it is not what it says."""
        assert found.mark is not None
        clip = wanted.clip
        meant = replace(wanted, quality=found.mark.quality)
        entry, failed = self._in_child(seen_in_child, meant, told)
        why = because("master.verified-anew")
        if entry is None:
            why = because("master.broken", checks=list(failed))
        self.remarks.append(Remark(clip.id, wanted.spec.name, why))
        return self._recorded(clip, entry) if entry is not None else None

    def _in_child(self, work: Callable[..., Any], wanted: Wanted, told: Told, *more: bool) -> Any:
        """What a child makes of the original of a master; frames done are told on the way."""
        clip = wanted.clip
        path = whereabouts.original(self.shoot, clip, self.folder)
        arguments = (wanted, path, self.shoot.grade(clip), self.looks, self.options.allow_damaged)
        task = Task("", str(path), work, (*arguments, *more), LIMITS)
        [outcome] = self.pool.run([task], lambda _key, step: told(*step))
        return outcome.got()

    def _keep(self, wanted: Wanted, found: There, entry: MasterEntry) -> None:
        self.kept.append(entry)
        if found.how == "better":
            why = because("master.better", quality=entry.quality, asked=wanted.quality)
            self.remarks.append(Remark(wanted.clip.id, wanted.spec.name, why))

    def _wanted(self, clip: ClipEntry, spec: MasterSpec) -> Wanted:
        quality = self.options.quality or spec.default_quality
        target = self.options.to / target_name(clip, spec)
        return Wanted(clip, grade_digest(self.shoot.grade(clip)), spec, quality, target)

    def _there(self, wanted: Wanted) -> There:
        with Measurements(self.folder) as measurements:
            return there(measurements, self.folder, wanted)

    def _recorded(self, clip: ClipEntry, entry: MasterEntry) -> MasterEntry:
        """The record, kept at once: what is done stays done."""
        with Measurements(self.folder) as measurements:
            return keep_master(measurements, self.folder, clip, entry)

    def _refresh(self) -> None:
        """What was decided meanwhile counts: a master of an older grade must not come last."""
        shoot = store.load(self.folder)
        if shoot != self.shoot:
            self.shoot, self.looks = shoot, ShootLooks(self.folder, shoot)

    def result(self, clips: Sequence[ClipEntry]) -> MasterResult:
        """What became of it all."""
        ids = {clip.id for clip in clips}
        now = [clip for clip in self.shoot.clips if clip.id in ids]
        with Measurements(self.folder) as measurements:
            known = list(standings(measurements, self.folder, self.shoot, now))
        return MasterResult(
            str(self.options.to),
            tuple(self.made),
            tuple(self.kept),
            tuple(self.undone),
            tuple(self.remarks),
            tuple(standing for standing in known if standing.state == "outdated"),
            look_notices(self.shoot),
        )


def target_name(clip: ClipEntry, spec: MasterSpec) -> str:
    """`<clip>.<spec>.<suffix>`, with the folders of the card in the name where the id has them."""
    return f"{short_name(clip.id).replace('/', '_')}.{spec.name}.{spec.container}"


def _with_folder(folder: Path, to: Path, by: Origin) -> Shoot:
    """The shoot, which knows from now on that masters lie in a folder."""
    entry = whereabouts.folder_entry(to, folder)

    def edit(shoot: Shoot) -> Shoot:
        others = tuple(f for f in shoot.master_folders if f.path != entry.path)
        if entry in shoot.master_folders:
            return shoot
        return msgspec.structs.replace(shoot, master_folders=(*others, entry))

    return store.change(folder, by, edit)


def _replaced(how: str, mark: MasterMark) -> Reason:
    """Why a master of ours made room for another."""
    if how == "outdated":
        return because("master.outdated", quality=mark.quality)
    if how == "lower":
        return because("master.lower", quality=mark.quality)
    return because("master.respec", quality=mark.quality)
