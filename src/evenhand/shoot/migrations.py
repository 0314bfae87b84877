"""From older shoot documents to today's: one function per version step, dict to dict."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

Document = dict[str, Any]
_STATUS = {"left alone": "unchanged", "grey": "grey_card"}


def _decisions_alone(document: Document) -> Document:
    """1 to 2: what was measured and made goes, words become those of today.

    Where masters lie is kept, since they are known again there by what they carry.
    """
    new = {k: v for k, v in document.items() if k not in ("setups", "greys", "masters")}
    new["clips"] = [_clip_of_1(clip) for clip in document.get("clips", [])]
    new["places"] = [
        {k: v for k, v in place.items() if k not in ("members", "evenness", "why_reference")}
        for place in document.get("setups", [])
    ]
    new["grey_cards"] = document.get("greys", [])
    wishes = document.get("wishes", {})
    names = {"keep_warmth": "leave_warmth", "steady": "level_drift"}
    new["wishes"] = {names.get(k, k): v for k, v in wishes.items()}
    folders = dict.fromkeys(_folder(m["path"]) for m in document.get("masters", []))
    new["master_folders"] = [{"path": folder} for folder in folders]
    return new


def _clip_of_1(clip: Document) -> Document:
    gone = ("setup", "decision", "findings", "rendering", "unreadable", "damaged", "created")
    new = {k: v for k, v in clip.items() if k not in gone}
    if clip.get("rendering"):
        new["output_transform"] = clip["rendering"]
    if clip.get("unreadable"):
        new["state"] = "unreadable"
    decision = clip.get("decision")
    if decision:
        kept = ("reference", "via", "confidence", "stops_error", "mired_error")
        new["levelled"] = {k: decision[k] for k in kept if k in decision}
        new["levelled"]["status"] = _STATUS.get(decision["status"], decision["status"])
    return new


def _folder(path: str) -> str:
    cut = max(path.rfind("/"), path.rfind("\\"))
    return path[:cut] if cut > 0 else path


# STEPS[n] takes a document of version n to version n + 1. Version 1 is the first.
STEPS: Mapping[int, Callable[[Document], Document]] = {1: _decisions_alone}


def migrated(document: Document, version: int, target: int) -> Document:
    """The document after every step from `version` to `target`.

    Raises KeyError, TypeError, AttributeError or ValueError for one that was not of its version.
    """
    for step in range(version, target):
        document = STEPS[step](document) | {"version": step + 1}
    return document
