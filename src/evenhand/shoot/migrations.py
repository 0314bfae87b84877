"""From older shoot documents to today's: one function per version step, dict to dict."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

# STEPS[n] takes a document of version n to version n + 1. Version 1 is the first.
STEPS: Mapping[int, Callable[[dict[str, Any]], dict[str, Any]]] = {}


def migrated(document: dict[str, Any], version: int, target: int) -> dict[str, Any]:
    """The document after every step from `version` to `target`."""
    for step in range(version, target):
        document = STEPS[step](document) | {"version": step + 1}
    return document
