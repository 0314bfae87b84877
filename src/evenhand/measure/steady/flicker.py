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
from evenhand.reasons import Reason, Why, because

Status = Literal["steady", "levelled", "unchanged"]

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
    why: Why = ()
    would_change: Why = ()


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
    blind = [because("flicker.blind", hertz=h, rate=rate) for h in MAINS if h not in lamps]
    fit = max(wave.fit, 0.0)
    if wave.fit < LEAST_FIT or wave.strength < LEAST_STRENGTH:
        return Flicker(
            status="steady",
            fit=fit,
            why=(because("flicker.none", lamps=[*lamps], fit=fit), *blind),
            would_change=(because("flicker.if-stronger", stops=LEAST_STRENGTH, fit=LEAST_FIT),),
        ), None
    left = share_left(changes, wave)
    found = because(
        "flicker.found",
        hertz=wave.hertz,
        stops=wave.strength,
        milliseconds=abs(1e3 * wave.readout),
        fit=wave.fit,
    )
    record = Flicker(
        status="levelled",
        hertz=wave.hertz,
        strength=wave.strength,
        alias=alias_of(wave.hertz, rate),
        readout=1e3 * wave.readout,
        fit=wave.fit,
        left=left,
        why=(found, because("flicker.levelled", share=left)),
        would_change=(because("flicker.if-meant"),),
    )
    against = None
    if wave.strength > MOST_STRENGTH:
        against = because("flicker.too-strong", stops=MOST_STRENGTH)
    elif left > MOST_LEFT:
        against = because("flicker.no-one-wave", share=left)
    if against is not None:
        return unchanged(record, (found, against, *blind), because("flicker.if-one-form")), None
    return record, Ripple(wave.hertz, wave.readout, wave.cosine, wave.sine)


def unchanged(record: Flicker, why: Why, would_change: Reason) -> Flicker:
    """A flicker that was found and is kept as it is."""
    return msgspec.structs.replace(
        record, status="unchanged", why=why, would_change=(would_change,)
    )


def _short(frames: int) -> Flicker:
    return Flicker(
        status="unchanged",
        why=(because("flicker.too-few", frames=frames),),
        would_change=(because("flicker.if-longer", frames=LEAST_FRAMES),),
    )


def _hidden(rate: float) -> Flicker:
    return Flicker(
        status="unchanged",
        why=(because("flicker.hidden", lamps=[*MAINS], rate=rate),),
        would_change=(because("flicker.if-other-rate"),),
    )


def _unseen() -> Flicker:
    return Flicker(
        status="unchanged",
        why=(because("flicker.unseen"),),
        would_change=(because("flicker.if-steadier"),),
    )
