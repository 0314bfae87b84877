"""Mains flicker: bands of light that run through a picture because a sensor is read row by row.

A lamp on 50 or 60 Hz mains pulses at 100 or 120 Hz. The light of the row at y (a fraction of the
stored height) at t seconds is brighter by c·cos φ + s·sin φ stops, φ = 2πf·(t + T·y), T the time
that a readout takes. Rows of frames a few apart are compared after the picture's own motion is
undone, and c, s, T and f are fitted to what they differ by, with the true presentation times.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, Literal

import msgspec
import numpy as np

from evenhand.grade.document import Ripple
from evenhand.measure.steady.framesteps import Array, SmallFrame
from evenhand.measure.steady.mainswave import (
    LONGEST_LAG,
    RowChanges,
    Wave,
    joined,
    row_changes,
    share_left,
)

Status = Literal["steady", "steadied", "left alone"]

MAINS: Final = (100.0, 120.0)  # hertz that lamps pulse at
LEAST_ALIAS: Final = 0.5  # hertz; slower bands cannot be told from the scene
LEAST_FIT: Final = 0.5  # R²
LEAST_STRENGTH: Final = 0.004  # stops; a weaker ripple is not seen
MOST_STRENGTH: Final = 0.5  # stops; a stronger one is not mains light
LEAST_FRAMES: Final = 10
LEAST_LINES: Final = 8  # of a small frame: fewer show no bands
MOST_LEFT: Final = 0.4  # of the ripple that may stay, or taking it out is not worth it
LEAST_ROWS: Final = 0.3  # of all rows of all pairs have to be comparable
UNEVEN_TIMES: Final = 0.02  # of a frame: with more, no bands stand still


class Flicker(msgspec.Struct, frozen=True, kw_only=True):
    """Mains flicker of a clip: what was found, and what is done about it.

    hertz of the lamp; strength: the ripple's amplitude in stops; alias: hertz at which it shows at
    this frame rate; readout: milliseconds (below 0: from the bottom up); fit: R² of the rows'
    changes; left: share of the ripple that stays, estimated from the parts of the clip. All 0 where
    none was found.
    """

    status: Status
    hertz: float = 0.0
    strength: float = 0.0
    alias: float = 0.0
    readout: float = 0.0
    fit: float = 0.0
    left: float = 0.0
    why: str
    would_change: str = ""


def alias_of(hertz: float, rate: float) -> float:
    """Hertz at which light that pulses at `hertz` shows at `rate` frames a second."""
    return abs(hertz - rate * round(hertz / rate))


def visible(rate: float) -> list[float]:
    """The lamps' frequencies whose bands move enough to be known at a frame rate."""
    return [hertz for hertz in MAINS if alias_of(hertz, rate) >= LEAST_ALIAS]


def lag_for(hertz: float, rate: float, frames: int) -> int:
    """How many frames apart rows are compared: half a turn of the alias, where that is near.

    A lamp whose bands stand still at this rate has none: uneven times may still show it, and the
    furthest apart the most.
    """
    alias = alias_of(hertz, rate)
    wanted = round(rate / (2 * alias)) if alias > rate / (4 * LONGEST_LAG) else LONGEST_LAG
    return int(np.clip(wanted, 1, min(LONGEST_LAG, max(frames // 2, 1))))


def find_flicker(
    windows: Sequence[Sequence[SmallFrame]], rows: Array
) -> tuple[Flicker, Ripple | None]:
    """Looks for mains flicker in runs of consecutive frames.

    rows (h,): where the rows of the small frames lie, as fractions of the stored height. Windows
    are in the order of time. The ripple is given where the fit is good enough to take it out.
    """
    steps = np.concatenate([np.diff([f.seconds for f in w]) for w in windows] or [np.zeros(0)])
    frames = max((len(w) for w in windows), default=0)
    if frames < LEAST_FRAMES or not (steps > 0).all():
        return _short(frames), None
    if len(rows) < LEAST_LINES:
        return _unseen(), None
    rate = 1 / float(np.median(steps))
    uneven = float(np.std(steps)) * rate > UNEVEN_TIMES
    lamps = list(MAINS) if uneven else visible(rate)
    if not lamps:
        return _hidden(rate), None
    compared = [row_changes(windows, lag_for(hertz, rate, frames), rows) for hertz in lamps]
    pairs = sum(max(len(w) - 1, 0) for w in windows)
    if max(len(c.stops) for c in compared) < LEAST_ROWS * len(rows) * max(pairs / 2, 1):
        return _unseen(), None
    waves = [joined(c, hertz, rate) for c, hertz in zip(compared, lamps, strict=True)]
    best = int(np.argmax([w.fit for w in waves]))
    return _judged(waves[best], compared[best], rate, lamps)


def _judged(
    wave: Wave, changes: RowChanges, rate: float, lamps: list[float]
) -> tuple[Flicker, Ripple | None]:
    hidden = [f"{h:.0f} Hz" for h in MAINS if h not in lamps]
    blind = ""
    if hidden:
        blind = (
            f"; bands of {hidden[0]} would stand still at {rate:.2f} frames a second and cannot "
            "be told from the scene"
        )
    if wave.fit < LEAST_FIT or wave.strength < LEAST_STRENGTH:
        sought = " or ".join(f"{h:.0f}" for h in lamps)
        found = f"no ripple of {sought} Hz in the rows (R² {max(wave.fit, 0):.2f})"
        change = f"a ripple of at least {LEAST_STRENGTH} stop with an R² of {LEAST_FIT} or more"
        return Flicker(
            status="steady", fit=max(wave.fit, 0.0), why=found + blind, would_change=change
        ), None
    left = share_left(changes, wave)
    record = Flicker(
        status="steadied",
        hertz=wave.hertz,
        strength=wave.strength,
        alias=alias_of(wave.hertz, rate),
        readout=1e3 * wave.readout,
        fit=wave.fit,
        left=left,
        why="",
    )
    told = (
        f"the rows ripple at {wave.hertz:.2f} Hz by ±{wave.strength:.3f} stop, read in "
        f"{abs(record.readout):.1f} ms (R² {wave.fit:.2f})"
    )
    against = ""
    if wave.strength > MOST_STRENGTH:
        against = f"more than {MOST_STRENGTH} stop is not mains light"
    elif left > MOST_LEFT:
        against = f"one wave does not describe it: {left:.0%} would stay"
    if against:
        change = "light that keeps one frequency and one form"
        why = f"{told}; {against}{blind}"
        return msgspec.structs.replace(
            record, status="left alone", why=why, would_change=change
        ), None
    why = f"{told}; taken out, about {left:.0%} of it stays"
    change = "a person's word that the flicker is meant"
    ripple = Ripple(wave.hertz, wave.readout, wave.cosine, wave.sine)
    return msgspec.structs.replace(record, why=why, would_change=change), ripple


def _short(frames: int) -> Flicker:
    return Flicker(
        status="left alone",
        why=f"{frames} frames in a row are too few to know mains flicker by",
        would_change=f"{LEAST_FRAMES} frames or more",
    )


def _hidden(rate: float) -> Flicker:
    lamps = " and ".join(f"{h:.0f}" for h in MAINS)
    return Flicker(
        status="left alone",
        why=(
            f"at {rate:.2f} frames a second bands of {lamps} Hz stand still, so that they "
            "cannot be told from the scene"
        ),
        would_change="another frame rate",
    )


def _unseen() -> Flicker:
    return Flicker(
        status="left alone",
        why="too few rows can be compared from frame to frame (dark, clipped, or moving too much)",
        would_change="a steadier or better exposed picture",
    )
