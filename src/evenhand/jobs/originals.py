"""A shoot's clips with their files and facts: what every job that looks at pictures begins with."""

from __future__ import annotations

from pathlib import Path

from evenhand.children import Pool
from evenhand.jobs.hands import hands
from evenhand.media.probe import probe
from evenhand.media.records import ClipFacts
from evenhand.shoot import whereabouts
from evenhand.shoot.document import ClipEntry, Shoot
from evenhand.shoot.measurements import Measurements
from evenhand.shoot.reading import Reading

FACTS = Reading("facts", 2, ClipFacts, ("evenhand.media.probe:probe",))


def remembered_facts(
    measurements: Measurements, pool: Pool, fingerprint: str, path: Path
) -> ClipFacts:
    """The facts of a file, recalled where they were kept. Raises ClipError like `probe`."""
    return FACTS.of(measurements, fingerprint, lambda: pool.call(str(path), probe, path))


def original_and_facts(folder: Path, shoot: Shoot, clip: ClipEntry) -> tuple[Path, ClipFacts]:
    """Where a clip's original is, and its facts.

    Raises ShootError where its card is not there, ClipError where it cannot be read.
    """
    path = whereabouts.original(shoot, clip, folder)
    with Measurements(folder) as measurements, hands() as pool:
        return path, remembered_facts(measurements, pool, clip.fingerprint, path)
