"""One exposure and white for every clip that agree best with all matches of pairs.

Unknown are the log2 cone gains of each clip, the reference's held at 0; each match is an equation
gains(b) − gains(a) = measured. Weighted least squares, with Huber's weights against a wrong match;
a loop of matches that does not close loses its worst match, and is solved again.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from evenhand.measure import ratios
from evenhand.measure.decisions import Difference, Link

Floats = NDArray[np.float64]

HUBER_STOPS, HUBER_MIRED = 0.05, 3.0
OPEN_STOPS, OPEN_MIRED = 0.10, 6.0
LEAST_ERROR = 0.01  # stops; no match is trusted so much that it silences the others


@dataclass(frozen=True, slots=True)
class Edge:
    """A match as an equation: the gains of clip b over clip a, with standard errors."""

    a: str
    b: str
    gains: Floats
    stops_error: float
    mired_error: float

    @staticmethod
    def of(link: Link) -> Edge:
        """The equation of an accepted match."""
        m = link.match
        return Edge(link.a, link.b, np.array(m.gains), m.stops_error, m.mired_error)

    @property
    def weight(self) -> float:
        """One weight for all three gains."""
        return 1.0 / (self.stops_error**2 + (self.mired_error / 100) ** 2 + LEAST_ERROR**2)


@dataclass(frozen=True, slots=True)
class Loop:
    """A closed round of matches, and what is left when it comes home."""

    clips: tuple[str, ...]
    closure: Difference


@dataclass(frozen=True, slots=True)
class Agreement:
    """Solved gains per clip from the reference, errors, paths, loops and the matches dropped.

    `errors` holds standard errors (stops, mired); `paths` the best chain of clips from the
    reference to each clip, both ends named. Only clips that are connected to it appear.
    """

    gains: dict[str, Floats]
    errors: dict[str, tuple[float, float]]
    paths: dict[str, tuple[str, ...]]
    loops: tuple[Loop, ...]
    dropped: tuple[Edge, ...]


def agree(reference: str, edges: Sequence[Edge]) -> Agreement:
    """Solves for every clip that a chain of matches connects to the reference."""
    reached = _paths(reference, edges)
    kept = [e for e in edges if e.a in reached]
    dropped: list[Edge] = []
    while True:
        gains = _solve(reference, kept)
        loops = _loops(kept, _paths(reference, kept))
        bad = [x for x in loops if _open(x.closure)]
        if not bad:
            break
        worst = _worst(bad, kept, gains)
        kept.remove(worst)
        dropped.append(worst)
    return Agreement(
        gains, _errors(reference, kept), _paths(reference, kept), tuple(loops), tuple(dropped)
    )


def _open(closure: Difference) -> bool:
    return abs(closure.stops) > OPEN_STOPS or abs(closure.mired) > OPEN_MIRED


def _solve(reference: str, edges: Sequence[Edge]) -> dict[str, Floats]:
    clips = _unknown(reference, edges)
    if not clips:
        return {reference: np.zeros(3)}
    design = _design(clips, edges)
    measured = np.array([e.gains for e in edges])
    base = np.array([e.weight for e in edges])
    weight, found = base, np.zeros((len(clips), 3))
    for _ in range(8):
        root = np.sqrt(weight)[:, None]
        found = np.linalg.lstsq(design * root, measured * root, rcond=None)[0]
        left = measured - design @ found
        size = np.array([_huber_size(row) for row in left])
        weight = base / np.maximum(size, 1.0)
    return {reference: np.zeros(3), **{c: found[i] for c, i in clips.items()}}


def _huber_size(left: Floats) -> float:
    moved = ratios.difference_of(left)
    return max(abs(moved.stops) / HUBER_STOPS, ratios.mired_size(left) / HUBER_MIRED)


def _unknown(reference: str, edges: Sequence[Edge]) -> dict[str, int]:
    clips = sorted({c for e in edges for c in (e.a, e.b)} - {reference})
    return {clip: i for i, clip in enumerate(clips)}


def _design(clips: dict[str, int], edges: Sequence[Edge]) -> Floats:
    design = np.zeros((len(edges), len(clips)))
    for row, edge in enumerate(edges):
        if edge.b in clips:
            design[row, clips[edge.b]] = 1
        if edge.a in clips:
            design[row, clips[edge.a]] = -1
    return design


def _errors(reference: str, edges: Sequence[Edge]) -> dict[str, tuple[float, float]]:
    clips = _unknown(reference, edges)
    if not clips:
        return {reference: (0.0, 0.0)}
    design = _design(clips, edges)
    result = []
    for errors in ([e.stops_error for e in edges], [e.mired_error for e in edges]):
        weight = 1.0 / np.maximum(np.array(errors), 1e-4) ** 2
        covariance = np.linalg.inv(design.T @ (design * weight[:, None]))
        result.append(np.sqrt(np.diag(covariance)))
    found = {c: (float(result[0][i]), float(result[1][i])) for c, i in clips.items()}
    return {reference: (0.0, 0.0), **found}


def _paths(reference: str, edges: Sequence[Edge]) -> dict[str, tuple[str, ...]]:
    """The surest chain from the reference to each clip (Dijkstra over the variances)."""
    cost = {reference: 0.0}
    paths: dict[str, tuple[str, ...]] = {reference: (reference,)}
    open_ends = {reference}
    while open_ends:
        here = min(open_ends, key=lambda c: (cost[c], c))
        open_ends.remove(here)
        for edge in edges:
            if here not in (edge.a, edge.b):
                continue
            there = edge.b if here == edge.a else edge.a
            further = cost[here] + 1.0 / edge.weight
            if further < cost.get(there, np.inf):
                cost[there] = further
                paths[there] = (*paths[here], there)
                open_ends.add(there)
    return paths


def _loops(edges: Sequence[Edge], paths: dict[str, tuple[str, ...]]) -> list[Loop]:
    """The loop that each match outside the chains closes."""
    between = {(e.a, e.b): e.gains for e in edges} | {(e.b, e.a): -e.gains for e in edges}
    tree = {frozenset(p[-2:]) for p in paths.values() if len(p) > 1}
    loops = []
    for edge in edges:
        if frozenset((edge.a, edge.b)) in tree:
            continue
        out, back = paths[edge.a], paths[edge.b]
        while len(out) > 1 and len(back) > 1 and out[1] == back[1]:
            out, back = out[1:], back[1:]
        around = (*out, *reversed(back))
        steps = [between[pair] for pair in pairwise(around)]
        loops.append(Loop(around[:-1], ratios.difference_of(np.sum(steps, axis=0))))
    return loops


def _worst(bad: Sequence[Loop], edges: Sequence[Edge], gains: dict[str, Floats]) -> Edge:
    """The match of the open loops that departs most from the solution; never one that bridges."""
    rounds = {
        frozenset(pair)
        for loop in bad
        for pair in zip(loop.clips, (*loop.clips[1:], loop.clips[0]), strict=True)
    }
    candidates = [e for e in edges if frozenset((e.a, e.b)) in rounds]
    return max(
        candidates, key=lambda e: (_huber_size(e.gains - gains[e.b] + gains[e.a]), 1 / e.weight)
    )
