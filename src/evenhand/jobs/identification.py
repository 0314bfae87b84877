"""What a clip's own file and pictures say of its encoding: from facts to a verdict."""

from __future__ import annotations

from pathlib import Path

from evenhand.children import Pool
from evenhand.measure.identity.clues import Signs
from evenhand.measure.identity.evidence import Identification, identify
from evenhand.measure.identity.picture import PictureStats, measure_pictures
from evenhand.measure.identity.tags import TagSigns, known_matrix, resolve
from evenhand.media.decode import sample
from evenhand.media.probe import probe
from evenhand.media.records import ClipFacts, ColourTags
from evenhand.shoot.measurements import Measurements
from evenhand.shoot.reading import Reading

SHARES = (0.1, 0.5, 0.9)  # of the clip's length: the pictures that are looked at
# What a file shows is kept, not what it is taken for: that is worked out anew in no time.
SIGNS = Reading("signs", 1, Signs, ("evenhand.jobs.identification:signs_of",))


def remembered_identification(
    measurements: Measurements, pool: Pool, fingerprint: str, path: Path, facts: ClipFacts
) -> Identification:
    """The verdict on a clip, by what was kept of it. Raises ClipError as decoding does."""

    def make() -> Signs:
        return pool.call(str(path), signs_of, path, facts)

    return identify(SIGNS.of(measurements, fingerprint, make))


def facts_and_signs(path: Path, facts: ClipFacts | None) -> tuple[ClipFacts, Signs]:
    """All that a scan asks of one file. Raises ClipError as probing and decoding do."""
    facts = facts or probe(path)
    return facts, signs_of(path, facts)


def signs_of(path: Path, facts: ClipFacts) -> Signs:
    """Everything that identification may look at."""
    container, bitstream = _tags(facts.container_tags), _tags(facts.bitstream_tags)
    return Signs(
        codec=facts.codec,
        profile=facts.profile,
        bits=facts.bits,
        chroma=facts.chroma,
        height=min(facts.width, facts.height),  # lines, whichever way the clip was coded
        container=container,
        bitstream=bitstream,
        created=facts.created,
        vendor=tuple(facts.vendor),
        log_hints=facts.log_hints,
        picture=_statistics(path, facts, resolve(bitstream, container)[0]),
    )


def _statistics(path: Path, facts: ClipFacts, tags: TagSigns) -> PictureStats:
    frames = sample(path, facts, SHARES, exact=False)
    return measure_pictures(
        [frame.planes for frame in frames],
        frames[0].bits,
        known_matrix(tags) or "bt2020",
        "full" if tags.full_range else "narrow",
    )


def _tags(tags: ColourTags) -> TagSigns:
    return TagSigns(tags.primaries, tags.transfer, tags.matrix, tags.full_range)
