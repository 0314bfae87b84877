"""A shoot's clips with their files and facts: what every job that looks at pictures begins with."""

from __future__ import annotations

from pathlib import Path

import msgspec

from evenhand.media.probe import probe
from evenhand.media.records import ClipFacts
from evenhand.shoot import store
from evenhand.shoot.cache import Cache
from evenhand.shoot.document import ClipEntry, Shoot

# Raise it whenever a probe would tell something else: cached facts are then read anew.
PROBE_VERSION = 1
_KIND = f"facts {PROBE_VERSION}"


def remembered_facts(cache: Cache, fingerprint: str, path: Path) -> ClipFacts:
    """The facts of a file, from the cache where it has them. Raises ClipError like `probe`."""
    kept = cache.get(fingerprint, _KIND)
    if kept is not None:
        try:
            return msgspec.json.decode(kept, type=ClipFacts)
        except msgspec.MsgspecError:
            pass  # a damaged measurement is made again
    facts = probe(path)
    cache.put(fingerprint, _KIND, msgspec.json.encode(facts))
    return facts


def original_and_facts(folder: Path, shoot: Shoot, clip: ClipEntry) -> tuple[Path, ClipFacts]:
    """Where a clip's original is, and its facts.

    Raises ShootError where its card is not there, ClipError where it cannot be read.
    """
    path = store.original(shoot, clip)
    with Cache(folder) as cache:
        return path, remembered_facts(cache, clip.fingerprint, path)
