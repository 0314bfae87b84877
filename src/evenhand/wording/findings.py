"""What of a clip's pictures a person has to know, in words."""

from __future__ import annotations

from typing import Final

from evenhand.measure.ends import EndsOverTime
from evenhand.measure.findings import Findings
from evenhand.wording.saying import said

MUCH: Final = 1.0  # stops; a larger rise shows what the shadows hold
MUCH_CRUSHED: Final = 5.0  # percent of the picture
NOISY: Final = 0.01  # of light, 0.18 being grey: noise that is plainly seen (judgement)
SEEN_CLIPPED: Final = 1.0  # percent of the picture; less is a lamp or a glint
DARK, BRIGHT = 98.0, 98.0  # percent crushed, clipped: nothing is left to measure


def light_told(found: Findings) -> tuple[str, ...]:
    """What a clip's light does while it runs, and what is done about it; empty where it is steady.

    Light that changes and is kept as it is, is told as well.
    """
    told = []
    if found.flicker is not None and found.flicker.strength > 0:
        told.append(f"flicker, {_done(found.flicker.status)}: {said(found.flicker.why)}")
    drift = found.drift
    if drift is not None and drift.status != "steady" and drift.share > 0:
        told.append(f"drift, {_done(drift.status)}: {said(drift.why)}")
    return tuple(told)


def _done(status: str) -> str:
    return {"steady": "not seen"}.get(status, status)


def remarks(found: Findings) -> tuple[str, ...]:
    """What is special about a clip's pictures, in words; empty for most clips."""
    told = []
    ends = found.ends
    if min(ends.crushed) >= DARK:
        told.append("there is no light in its pictures: nothing can be measured")
    elif min(ends.clipped) >= BRIGHT:
        told.append("its pictures are clipped all over: nothing can be measured")
    if found.monochrome:
        told.append("its pictures have no colour: only the exposure can be judged")
    if found.change is not None:
        told.append(
            f"the scene changes between {found.change.after:.1f} s and {found.change.before:.1f} s:"
            " one correction serves both parts, and it is that of the part that matches"
        )
    if found.mixed is not None:
        (large, small), (share, other) = found.mixed.kelvin, found.mixed.share
        told.append(
            "two lights, or large things of two colours, seem to be in its pictures: what looks "
            f"grey lies near {large:.0f} K ({100 * share:.0f} % of it) and near {small:.0f} K "
            f"({100 * other:.0f} %); one white cannot serve both, and the larger one counts"
        )
    return tuple(told)


def warnings(found: Findings, stops: float) -> tuple[str, ...]:
    """What levelling by `stops` cannot do for a clip, or brings to light, in words."""
    ends, told = found.ends, []
    lost = ends.worst_clipped
    if lost.percent >= SEEN_CLIPPED:
        after = (
            f"; {abs(stops):.2f} stop darker it stays as large, and turns grey"
            if stops < -0.02
            else ""
        )
        told.append(
            f"clipped in up to {lost.percent:.1f} % of the picture (at {lost.seconds:.1f} s, "
            f"{ends.clip_stops:+.1f} stops from 18 % grey): levelling cannot restore it{after}"
        )
    deep = ends.worst_crushed
    if stops > MUCH and deep.percent > MUCH_CRUSHED:
        told.append(
            f"raised by {stops:.2f} stops, with {deep.percent:.0f} % of the picture crushed at "
            f"{deep.seconds:.1f} s: levelling cannot restore it, and those shadows turn a flat grey"
        )
    if found.noise is not None and stops > 0:
        raised = found.noise * 2.0**stops
        if raised > NOISY:
            told.append(
                f"raised by {stops:.2f} stops its noise becomes {raised / 0.18:.0%} of an 18 % "
                f"grey (as shot {found.noise / 0.18:.0%}): it will be seen"
            )
    return tuple(told)


def ends_told(ends: EndsOverTime) -> str:
    """The ends of the scale in a sentence."""
    where = "as its histogram shows" if ends.clip_from == "picture" else "the end of the encoding"
    return (
        f"clips {ends.clip_stops:+.1f} stops from 18 % grey ({ends.clip_level:.1f} % signal, "
        f"{where}); clipped {_range(ends.clipped)} of the picture, crushed {_range(ends.crushed)}"
    )


def _range(percent: tuple[float, ...]) -> str:
    low, high = min(percent), max(percent)
    if high < 0.01:
        return "0 %"
    digits = 1 if high >= 1 else 2
    if round(low, digits) == round(high, digits):
        return f"{high:.{digits}f} %"
    return f"{low:.{digits}f} to {high:.{digits}f} %"
