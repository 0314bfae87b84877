"""Exposure and white for the clips of a setup, decided from measurements, each with its reason.

Clips that a chain of matches connects to the reference are corrected to look like it; a difference
within its own uncertainty is left alone, and so is every clip without a common view. A grey card in
any connected clip sets the exposure and the white of them all.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evenhand.colourmath.white import kelvin_duv
from evenhand.measure import ratios
from evenhand.measure.agreement import Agreement, Edge, Loop, agree
from evenhand.measure.decisions import (
    Difference,
    GreySample,
    LevelDecision,
    Link,
    Match,
    Setup,
    Status,
)
from evenhand.measure.matching import confidence
from evenhand.measure.proposals import propose
from evenhand.measure.setups import ClipView

__all__ = ["GreySample", "LevelDecision", "grey_refusal", "level_setup"]

Floats = NDArray[np.float64]

# Below these nobody sees a difference, and nothing is moved.
EVEN_STOPS, EVEN_MIRED = 0.02, 1.0
SURE = 2.0  # standard errors; a difference within them may be none
GREY_LIGHT = 0.18
GREY_DUV, GREY_SPREAD, GREY_STOPS = 0.03, 0.15, 4.0
GREY_STOPS_ERROR, GREY_MIRED_ERROR = 0.01, 1.0


@dataclass(frozen=True, slots=True)
class _Grey:
    """What the grey card says: the fault of the reference as log2 cone gains, and who says so."""

    clip: str
    gains: Floats


@dataclass(frozen=True, slots=True)
class _Solved:
    """A setup's matches solved, and what a grey card adds."""

    setup: Setup
    links: Sequence[Link]
    found: Agreement
    grey: _Grey | None
    refusals: tuple[str, ...]


def grey_refusal(sample: GreySample) -> str:
    """Why a grey sample cannot be used, in plain words; empty where it can."""
    if sample.clipped:
        return "the grey sample is clipped: its colour is not known"
    if min(sample.light) <= 0:
        return "the grey sample holds no light in one channel"
    if sample.spread > GREY_SPREAD:
        return (
            f"the grey sample is uneven by {sample.spread:.2f} stop (limit {GREY_SPREAD}): "
            "it holds more than the card, or a shadow"
        )
    gains = _grey_gains(sample)
    x, y, z = ratios.xyz_of(np.array(sample.light))
    _, duv = kelvin_duv((x / (x + y + z), y / (x + y + z)))
    if abs(duv) > GREY_DUV:
        return f"the grey sample is coloured: Duv {duv:+.3f} (limit {GREY_DUV})"
    if abs(ratios.stops_of(gains)) > GREY_STOPS:
        return f"the grey sample is {ratios.stops_of(gains):+.1f} stops from 18 % grey"
    return ""


def _grey_gains(sample: GreySample) -> Floats:
    return ratios.gains_of(np.array(sample.light) / GREY_LIGHT)


def level_setup(
    setup: Setup,
    clips: Mapping[str, ClipView],
    links: Sequence[Link],
    greys: Sequence[GreySample] = (),
) -> tuple[LevelDecision, ...]:
    """Decides exposure and white for every clip of a setup, in its order.

    clips: at least the clips of the setup, by id; they serve the proposals. links: from
    `setups.find_links`. greys: grey cards that a person pointed at. The best of those in connected
    clips sets them all; one in a clip that nothing connects sets that clip alone.
    """
    ids = set(setup.clips)
    inside = [x for x in links if x.match.accepted and x.a in ids and x.b in ids]
    found = agree(setup.reference, [Edge.of(x) for x in inside])
    grey, refusals = _grey_of(found, [g for g in greys if g.clip in ids])
    solved = _Solved(setup, links, found, grey, refusals)
    own = {g.clip: g for g in greys if g.clip not in found.gains}
    decided = []
    for clip in setup.clips:
        if clip in found.gains:
            decided.append(_connected(clip, solved))
        elif clip in own and not grey_refusal(own[clip]):
            decided.append(_by_own_grey(own[clip], setup))
        else:
            decided.append(_left_alone(clip, solved, clips, own.get(clip)))
    return tuple(decided)


def _grey_of(found: Agreement, greys: Sequence[GreySample]) -> tuple[_Grey | None, tuple[str, ...]]:
    refusals = [f"{g.clip}: {grey_refusal(g)}" for g in greys if grey_refusal(g)]
    usable = [g for g in greys if g.clip in found.gains and not grey_refusal(g)]
    if not usable:
        return None, tuple(refusals)
    best = min(usable, key=lambda g: g.spread)
    return _Grey(best.clip, _grey_gains(best) - found.gains[best.clip]), tuple(refusals)


def _connected(clip: str, solved: _Solved) -> LevelDecision:
    """The reference, or a clip that matches connect to it."""
    found, reference = solved.found, solved.setup.reference
    gains = found.gains[clip]
    errors = found.errors[clip]
    moved, even = _worth_moving(gains, errors)
    fault = moved + (solved.grey.gains if solved.grey else np.zeros(3))
    told = [] if clip == reference else [_told(clip, solved, even)]
    if solved.grey:
        told.append(_grey_told(clip, solved.grey, fault))
    elif clip == reference:
        alone = len(solved.setup.clips) == 1
        role = "it is alone in its setup" if alone else "the others are matched to it"
        told.append(f"{role}; its own exposure and white stay as shot")
        told += [f"the grey card was not used ({r})" for r in solved.refusals]
    closure, loop_told = _closure(clip, found.loops)
    told += loop_told
    told += [_dropped_told(e) for e in found.dropped if clip in (e.a, e.b)]
    match = _last_match(clip, solved)
    return LevelDecision(
        clip=clip,
        setup=solved.setup.name,
        reference=reference,
        status=_status(clip, solved),
        stops=_rounded(-ratios.stops_of(fault)),
        white=None if _same_white(fault) else ratios.white_of(fault),
        confidence=1.0 if clip == reference else _sureness(errors),
        difference=None if clip == reference else ratios.difference_of(gains),
        stops_error=errors[0],
        mired_error=errors[1],
        match=match,
        via=found.paths[clip][1:-1],
        closure=closure,
        why="; ".join(told),
        would_change=_would_change(clip, solved),
    )


def _rounded(stops: float) -> float:
    return 0.0 if abs(stops) < 1e-9 else stops


def _status(clip: str, solved: _Solved) -> Status:
    if solved.grey and clip == solved.grey.clip:
        return "grey"
    return "reference" if clip == solved.setup.reference else "matched"


def _worth_moving(gains: Floats, errors: tuple[float, float]) -> tuple[Floats, tuple[bool, bool]]:
    """The gains with what is within its own uncertainty, or too small to be seen, taken out."""
    difference = ratios.difference_of(gains)
    limit = max(SURE * errors[1], EVEN_MIRED)
    even_stops = abs(difference.stops) <= max(SURE * errors[0], EVEN_STOPS)
    even_white = (
        abs(difference.mired) <= limit and abs(difference.duv) <= limit * ratios.UV_PER_MIRED
    )
    white = np.zeros(3) if even_white else gains - ratios.stops_of(gains)
    stops = 0.0 if even_stops else difference.stops
    return white + stops, (even_stops, even_white)


def _same_white(gains: Floats) -> bool:
    return bool(np.ptp(gains) < 1e-9)


def _sureness(errors: tuple[float, float]) -> float:
    return confidence(Match(True, "", stops_error=errors[0], mired_error=errors[1]))


def _last_match(clip: str, solved: _Solved) -> Match | None:
    """The match of the last step of the chain that leads from the reference to the clip."""
    path = solved.found.paths[clip]
    if len(path) < 2:
        return None
    for link in solved.links:
        if {link.a, link.b} == set(path[-2:]):
            return link.match
    return None


def _told(clip: str, solved: _Solved, even: tuple[bool, bool]) -> str:
    """The measured difference in words, with its uncertainty and where it comes from."""
    found, reference = solved.found, solved.setup.reference
    difference = ratios.difference_of(found.gains[clip])
    errors = found.errors[clip]
    measured = f"{said(difference)} than {reference}"
    sure = f"±{errors[0]:.3f} stop, ±{errors[1]:.1f} mired"
    chain = found.paths[clip][1:-1]
    match = _last_match(clip, solved)
    source = f" through {', '.join(chain)}" if chain else ""
    source += f": {match.why}" if match else ""
    if all(even):
        return f"already even with {reference}, nothing moved ({measured}, {sure}{source})"
    left = ""
    if even[0]:
        left = "; the exposure is already even and stays"
    elif even[1]:
        left = "; the white is already even and stays"
    return f"{measured} ({sure}){source}{left}"


def said(difference: Difference) -> str:
    """A difference in words: "0.65 stop darker, 21 mired warmer, Duv 0.003 greener"."""
    stops = f"{abs(difference.stops):.2f} stop {'brighter' if difference.stops > 0 else 'darker'}"
    mired = f"{abs(difference.mired):.1f} mired {'warmer' if difference.mired > 0 else 'cooler'}"
    duv = f"Duv {abs(difference.duv):.4f} {'greener' if difference.duv > 0 else 'more magenta'}"
    return f"{stops}, {mired}, {duv}"


def _grey_told(clip: str, grey: _Grey, fault: Floats) -> str:
    white = ratios.white_of(fault)
    found = (
        f"{ratios.stops_of(fault):+.2f} stop and a white of {white.kelvin:.0f} K, "
        f"Duv {white.duv:+.4f}"
    )
    if clip == grey.clip:
        return f"its grey card shows {found}; it is set to 18 % and neutral"
    return f"by the grey card in {grey.clip} it has {found}"


def _closure(clip: str, loops: Sequence[Loop]) -> tuple[Difference | None, list[str]]:
    mine = [x for x in loops if clip in x.clips]
    if not mine:
        return None, []
    worst = max(mine, key=lambda x: abs(x.closure.stops) / 0.1 + abs(x.closure.mired) / 6)
    told = (
        f"the round {' – '.join(worst.clips)} closes to {abs(worst.closure.stops):.3f} stop and "
        f"{abs(worst.closure.mired):.1f} mired"
    )
    return worst.closure, [told]


def _dropped_told(edge: Edge) -> str:
    return f"the match {edge.a} – {edge.b} was dropped: it contradicts the others"


def _would_change(clip: str, solved: _Solved) -> str:
    if solved.grey:
        return "another grey card, or another reference clip"
    if clip == solved.setup.reference:
        return "a grey card in a connected clip, or another reference clip"
    return "another reference clip, or a grey card"


def _by_own_grey(sample: GreySample, setup: Setup) -> LevelDecision:
    fault = _grey_gains(sample)
    return LevelDecision(
        clip=sample.clip,
        setup=setup.name,
        reference=setup.reference,
        status="grey",
        stops=-ratios.stops_of(fault),
        white=ratios.white_of(fault),
        confidence=_sureness((GREY_STOPS_ERROR, GREY_MIRED_ERROR)),
        stops_error=GREY_STOPS_ERROR,
        mired_error=GREY_MIRED_ERROR,
        why=f"no common view with {setup.reference}; "
        + _grey_told(sample.clip, _Grey(sample.clip, fault), fault),
        would_change="another grey card",
    )


def _left_alone(
    clip: str, solved: _Solved, clips: Mapping[str, ClipView], grey: GreySample | None
) -> LevelDecision:
    setup = solved.setup
    proposal = None
    if clip in clips and setup.reference in clips:
        shift = solved.grey.gains if solved.grey else np.zeros(3)
        proposal = propose(clips[setup.reference], clips[clip], shift)
    tried = [x for x in solved.links if {x.a, x.b} == {clip, setup.reference}]
    reason = f"no common view with {setup.reference}; untouched"
    if tried:
        reason += f" ({tried[0].match.why})"
    if grey:
        reason += f"; the grey card was not used ({grey_refusal(grey)})"
    return LevelDecision(
        clip=clip,
        setup=setup.name,
        reference=setup.reference,
        status="left alone",
        match=tried[0].match if tried else None,
        why=reason,
        proposal=proposal,
        would_change=(
            "a grey card in this clip, a clip that shows both views, or setting it by hand"
        ),
    )
