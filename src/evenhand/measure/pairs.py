"""Which clips are worth comparing, and what comparing them gives."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from evenhand.measure.clipview import ClipView, summary_of
from evenhand.measure.decisions import Link
from evenhand.measure.matching import match_clips
from evenhand.measure.views import similar_descriptors

WINDOW = 24  # clips on the card; farther apart, only their middle frames are asked first
FEW_ALIKE = 12


def find_links(clips: Sequence[ClipView]) -> tuple[Link, ...]:
    """Compares the clips two by two, and keeps what had a common view, accepted or not."""
    links = []
    for a, b, near in pairs(clips):
        if not near and not promising(a, b):
            continue
        link = compared(a, b)
        if link is not None:
            links.append(link)
    return tuple(links)


def pairs(clips: Sequence[ClipView]) -> Iterator[tuple[ClipView, ClipView, bool]]:
    """Every two clips in the order of the card, and whether they lie near each other on it."""
    ordered = sorted(clips, key=lambda c: c.order)
    for i, a in enumerate(ordered):
        for apart, b in enumerate(ordered[i + 1 :], start=1):
            yield a, b, apart <= WINDOW


def promising(a: ClipView, b: ClipView) -> bool:
    """Whether the middle frames of two clips look alike: cheap, for clips that lie far apart."""
    first, second = summary_of(a).descriptors, summary_of(b).descriptors
    return len(similar_descriptors(first, second)) >= FEW_ALIKE


def compared(a: ClipView, b: ClipView) -> Link | None:
    """The comparison of two clips, or None where they have no view in common."""
    found = match_clips(a.features, b.features)
    return Link(a.id, b.id, found) if found.inliers else None
