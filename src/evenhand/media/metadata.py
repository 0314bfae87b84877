"""What a camera wrote about itself, by the last word of each key, and never where it was."""

from __future__ import annotations

import re
from collections.abc import Mapping

_VENDOR = ("make", "manufacturer", "model", "software")
_PLACES = re.compile(r"location|gps|latitude|longitude|altitude|place|address|xyz", re.IGNORECASE)
_SPEAKS_OF_LOG = re.compile(r"(?<![a-z])log(?![a-z])|gamma|transfer|curve|encoding|profile", re.I)
_LONGEST = 200


def vendor_words(metadata: Mapping[str, str]) -> dict[str, str]:
    """Make, model and software, by suffix of their keys ("….model"), with anyone's prefix."""
    return {
        last: value[:_LONGEST]
        for key, value in metadata.items()
        if (last := _last_word(key)) in _VENDOR and value and not _PLACES.search(key)
    }


def log_hints(metadata: Mapping[str, str]) -> dict[str, str]:
    """Metadata whose key or value speaks of log, by suffix of the key; never a place."""
    return {
        _last_word(key): value[:_LONGEST]
        for key, value in metadata.items()
        if not _PLACES.search(key)
        and _last_word(key) not in (*_VENDOR, "encoder", "comment", "title")
        and ("." in key or "-" in key or "_" in key)
        and _SPEAKS_OF_LOG.search(f"{key} {value}")
        and re.search(r"(?<![a-z])log", f"{_last_word(key)} {value}", re.IGNORECASE)
    }


def _last_word(key: str) -> str:
    return key.rsplit(".", 1)[-1].lower()
