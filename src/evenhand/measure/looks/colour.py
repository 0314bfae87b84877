"""What a look does to hues, to saturation and to skins."""

from __future__ import annotations

from functools import cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from evenhand.colourmath.difference import ciede2000
from evenhand.measure.looks.probes import RING_STEP, Floats, Seen, before, probes

# Oklab chroma under which a whole ring has come to grey, and CIELAB chroma under which all skins
# have: there is no hue left to judge.
_GREY_RING: Final = 0.006
_GREY_SKIN: Final = 2.0
# Neighbours are so many probes apart: 6 degrees of a ring, 0.005 of chroma of a ray.
_RING_NEAR: Final = 3
_RAY_NEAR: Final = 2
_LEAST_APART: Final = 0.5


def is_black_and_white(out: Seen) -> bool:
    """Whether nothing of hue is left; `out` is what a look makes of the probes.

    About the centre of each ring: a toned black and white has a colour, but no hues.
    """
    rings = (out.even[ring, 1:] for ring in probes().rings)
    return all(_spread(ring - ring.mean(axis=0)) < _GREY_RING for ring in rings)


def hues(out: Seen) -> dict[str, float]:
    """How the hue runs once round rings of even lightness and chroma, about each ring's own centre.

    About that centre, since a tint moves the whole ring and turns nothing back.
    """
    folds = fastest = 0.0
    for ring in probes().rings:
        opponent = out.even[ring, 1:]
        about = opponent - opponent.mean(axis=0)
        if _spread(about) < _GREY_RING:
            continue
        run = turns(about)
        folds = max(folds, float(-np.minimum(run, 0.0).sum()))
        fastest = max(fastest, float(_steady(about, run).max()) / RING_STEP)
    return {"hue_fold": folds, "hue_speed": fastest}


def _steady(about: Floats, run: Floats) -> Floats:
    """Runs of hue where there is colour enough to have one, sign left out; 0 elsewhere."""
    far = np.hypot(*about.T)
    enough = np.minimum(far, np.roll(far, -1)) > 0.3 * far.mean()
    return np.where(enough, np.abs(run), 0.0)


def tears(out: Seen) -> dict[str, float]:
    """How many times further apart neighbours of a ring or a ray come out, in CIEDE2000, at most.

    Neighbours are about 1 apart; where they are nearer they count as half of that.
    """
    first, second = _neighbours()
    now = ciede2000(out.lab[first], out.lab[second])
    return {"torn": float((now / _apart_before()).max())}


@cache
def _neighbours() -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    p, pairs = probes(), []
    for step, lines in ((_RING_NEAR, p.rings), (_RAY_NEAR, p.rays)):
        for line in lines:
            first = np.arange(line.start, line.stop - step)
            pairs.append(np.stack([first, first + step]))
    first, second = np.concatenate(pairs, axis=1)
    return first, second


@cache
def _apart_before() -> Floats:
    first, second = _neighbours()
    return np.maximum(ciede2000(before().lab[first], before().lab[second]), _LEAST_APART)


def saturation(out: Seen) -> dict[str, float]:
    """How far colours come back towards grey although their input goes away from it, in Oklab.

    A colour that also gets darker has less chroma in any case: chroma counts as of even lightness.
    """
    worst = 0.0
    for ray in probes().rays:
        colours = out.even[ray]
        away = np.hypot(*(colours[:, 1:] - colours[0, 1:]).T)
        away *= colours[0, 0] / np.maximum(colours[:, 0], 0.05)
        worst = max(worst, float((np.maximum.accumulate(away) - away).max()))
    return {"saturation_drop": 100.0 * worst}


def skins(out: Seen) -> dict[str, float]:
    """Hue and chroma of skins in CIELAB, and how far they go in CIEDE2000."""
    was, after = (each.lab[probes().skins] for each in (before(), out))
    shift = ciede2000(was, after)
    chroma = np.hypot(*after[:, 1:].T)
    if chroma.max() < _GREY_SKIN:
        return {"skin_shift": float(shift.mean())}
    turn = hue_turn(was, after)
    gain = chroma / np.hypot(*was[:, 1:].T)
    return {
        "skin_turn": float(np.abs(turn).max()),
        "skin_spread": float(np.ptp(turn)),
        "skin_chroma_low": float(gain.min()),
        "skin_chroma_high": float(gain.max()),
        "skin_shift": float(shift.mean()),
    }


def turns(opponent: Floats) -> Floats:
    """Degrees from each of (n, 2) to the next, and from the last to the first; -180..180."""
    angle = np.arctan2(opponent[:, 1], opponent[:, 0])
    step = np.append(angle[1:], angle[0]) - angle
    result: Floats = np.degrees(np.arctan2(np.sin(step), np.cos(step)))
    return result


def hue_turn(was: Floats, after: Floats) -> Floats:
    """Degrees of CIELAB hue from one (n, 3) to another; -180..180."""
    angle = np.arctan2(after[:, 2], after[:, 1]) - np.arctan2(was[:, 2], was[:, 1])
    result: Floats = np.degrees(np.arctan2(np.sin(angle), np.cos(angle)))
    return result


def _spread(opponent: Floats) -> float:
    return float(np.hypot(*opponent.T).mean())
