"""Changing a clip by hand: exposure, white, CDL, contrast, saturation, output transform."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import msgspec

from evenhand.errors import UsageError
from evenhand.grade.document import Adjustment, Cdl, OutputTransform, Triple, White, check_grade
from evenhand.shoot import store
from evenhand.shoot.checked import DUV, KELVIN
from evenhand.shoot.document import ClipEntry, Shoot
from evenhand.shoot.history import Origin

DAYLIGHT_DUV = 0.0032  # of D65: what a white by kelvin alone is meant to be


class Changes(msgspec.Struct, frozen=True):
    """What to change; None leaves a value as it is. Units as in `grade.document`."""

    exposure: float | None = None
    kelvin: float | None = None
    duv: float | None = None
    contrast: float | None = None
    saturation: float | None = None
    slope: Triple | None = None
    offset: Triple | None = None
    power: Triple | None = None
    output_transform: OutputTransform | None = None


def adjust(
    folder: Path,
    names: Sequence[str],
    changes: Changes,
    copy_from: str | None = None,
    reset: bool = False,
    by: Origin | None = None,
) -> tuple[ClipEntry, ...]:
    """Apply changes to clips and save; returns the entries as they are now.

    `reset` drops what was set by hand first; `copy_from` takes another clip's adjustment as the
    start. Without changes the entries are only read. Raises UsageError for values without meaning.
    """

    def edit(shoot: Shoot) -> Shoot:
        start = Adjustment() if reset else None
        if copy_from is not None:
            start = shoot.clip(copy_from).adjustment
        return shoot.with_clips(
            *(_changed(shoot, shoot.clip(name), start, reset, changes) for name in names)
        )

    def checked(shoot: Shoot) -> Shoot:
        changed = edit(shoot)
        if changes.output_transform is not None:
            _refuse_misfits(folder, changed, [changed.clip(name) for name in names])
        return changed

    if changes == Changes() and copy_from is None and not reset:
        shoot = store.load(folder)
    else:
        shoot = store.change(folder, by or Origin("adjust"), checked)
    return tuple(shoot.clip(name) for name in names)


def _changed(
    shoot: Shoot, clip: ClipEntry, start: Adjustment | None, reset: bool, changes: Changes
) -> ClipEntry:
    base = start if start is not None else clip.adjustment
    transform = changes.output_transform or (None if reset else clip.output_transform)
    entry = msgspec.structs.replace(
        clip, adjustment=_adjusted(base, changes, clip), output_transform=transform
    )
    if entry.encoding is not None:
        check_grade(shoot.grade(entry))
    return entry


def _refuse_misfits(folder: Path, shoot: Shoot, clips: Sequence[ClipEntry]) -> None:
    """UsageError for a clip whose look was not made for its output transform."""
    # Here, not above: nothing else that a person changes has to wait for arrays.
    from evenhand.grade.exact import exact_transform
    from evenhand.jobs.looks import ShootLooks

    looks = ShootLooks(folder, shoot)
    for clip in clips:
        if clip.look is not None and clip.encoding is not None:
            exact_transform(shoot.grade(clip), looks)


def _adjusted(base: Adjustment, changes: Changes, clip: ClipEntry) -> Adjustment:
    cdl = Cdl(
        slope=changes.slope or base.cdl.slope,
        offset=changes.offset or base.cdl.offset,
        power=changes.power or base.cdl.power,
        saturation=base.cdl.saturation,
    )
    return Adjustment(
        exposure=base.exposure if changes.exposure is None else changes.exposure,
        white=_white(base.white or clip.levelling.white, base.white, changes),
        cdl=cdl,
        contrast=base.contrast if changes.contrast is None else changes.contrast,
        saturation=base.saturation if changes.saturation is None else changes.saturation,
    )


def _white(now: White | None, by_hand: White | None, changes: Changes) -> White | None:
    """The clip's white by hand: kelvin and Duv may be given apart, the other one stays."""
    if changes.kelvin is None and changes.duv is None:
        return by_hand
    kelvin = changes.kelvin if changes.kelvin is not None else (now.kelvin if now else 6504.0)
    duv = changes.duv if changes.duv is not None else (now.duv if now else DAYLIGHT_DUV)
    if not KELVIN[0] <= kelvin <= KELVIN[1]:
        raise UsageError(
            "--white",
            f"{kelvin:g} K is outside {KELVIN[0]:g} to {KELVIN[1]:g} K",
            "Give the white in kelvin, such as 5600",
        )
    if abs(duv) > DUV:
        raise UsageError(
            "--duv", f"{duv:g} is outside ±{DUV:g}", "Duv of real lights is within ±0.02"
        )
    return White(kelvin, duv)
