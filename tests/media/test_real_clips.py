"""Phone clips from the world, from the file to the verdict."""

from __future__ import annotations

from pathlib import Path

import msgspec
import numpy as np
import pytest

from evenhand.colourmath.encodings import ENCODINGS, Encoding
from evenhand.measure.identity.clues import Signs
from evenhand.measure.identity.evidence import identify
from evenhand.measure.identity.picture import measure_pictures
from evenhand.measure.identity.tags import TagSigns
from evenhand.media.decode import FrameSource, frames, sample
from evenhand.media.probe import count_decoded, probe
from evenhand.media.records import ColourTags

pytestmark = [pytest.mark.media, pytest.mark.slow]
NAMES = ("hlg-portrait-edit-list.mov", "pq-variable-rate.mp4", "sdr-portrait-uhd-60.mp4")


def plain(tags: ColourTags) -> TagSigns:
    return TagSigns(tags.primaries, tags.transfer, tags.matrix, tags.full_range)


def signs_of(path: Path) -> Signs:
    facts = probe(path)
    pictures = [frame.planes for frame in sample(path, facts, (0.1, 0.5, 0.9))]
    return Signs(
        codec=facts.codec,
        profile=facts.profile,
        bits=facts.bits,
        chroma=facts.chroma,
        height=min(facts.shown_size),
        container=plain(facts.container_tags),
        bitstream=plain(facts.bitstream_tags),
        created=facts.created,
        vendor=tuple(facts.vendor),
        log_hints=facts.log_hints,
        picture=measure_pictures(pictures, facts.bits),
    )


@pytest.mark.parametrize(
    ("name", "encoding"),
    [
        (NAMES[0], ENCODINGS["hlg"]),
        (NAMES[1], ENCODINGS["pq"]),
        (NAMES[2], Encoding("bt601-625", "bt1886", "bt601-625", "bt601", "full")),
    ],
)
def test_real_clips_are_identified(real_clips: Path, name: str, encoding: Encoding) -> None:
    """HLG narrow, PQ narrow, and BT.709's curve under 625-line colour in full range."""
    result = identify(signs_of(real_clips / name))

    assert result.encoding == encoding
    assert result.sure
    assert result.conflicts == ()


def test_conflict_with_the_container(real_clips: Path) -> None:
    """Were the container of the PQ clip to say BT.709, PQ would stand and the conflict be shown."""
    found = msgspec.structs.replace(
        signs_of(real_clips / NAMES[1]), container=TagSigns(1, 1, 1, False)
    )

    result = identify(found)

    assert result.encoding == ENCODINGS["pq"]
    assert result.sure
    assert len(result.conflicts) == 3


@pytest.mark.parametrize("name", NAMES)
def test_every_frame_by_time(real_clips: Path, name: str) -> None:
    """All frames come in order at their probed times, and a sought frame is the very same."""
    path = real_clips / name
    facts = probe(path)
    sums = {}
    with frames(path) as reader:
        for frame in reader:
            sums[frame.pts] = int(frame.planes[0][::8, ::8].sum(dtype=np.int64))

    assert tuple(sums) == facts.times
    assert reader.damage == ()
    with FrameSource(path) as source:
        for pts in facts.times[:: max(len(facts.times) // 3, 1)][::-1]:
            assert int(source.at(pts).planes[0][::8, ::8].sum(dtype=np.int64)) == sums[pts]
    assert count_decoded(path) == (facts.frames, 0)
