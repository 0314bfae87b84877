"""Scanning a card: each clip identified with evidence, each other file told with its reason."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import msgspec

from evenhand.colourmath.encodings import Encoding, named
from evenhand.errors import ClipError, ShootError, UsageError
from evenhand.jobs.identification import remembered_identification
from evenhand.jobs.originals import remembered_facts
from evenhand.jobs.progress import Progress, Step, silent
from evenhand.measure.identity.evidence import Identification
from evenhand.media.records import ClipFacts
from evenhand.shoot import store
from evenhand.shoot.cache import Cache
from evenhand.shoot.document import CardEntry, ClipEntry, Shoot

# Files that are looked into; what else lies on a card (sidecars, photographs) is left aside.
ALL_UNSURE = "*"
SUFFIXES = frozenset(
    {".mov", ".mp4", ".m4v", ".qt", ".3gp", ".3g2", ".mxf", ".mkv", ".webm", ".avi"}
    | {".mts", ".m2ts", ".ts", ".mpg", ".mpeg", ".wmv"}
)


class ClipFinding(msgspec.Struct, frozen=True):
    """What was found of one file; `why` tells how an unsure one can be settled."""

    clip: ClipEntry
    facts: ClipFacts | None = None
    identification: Identification | None = None
    settled: bool = False
    why: str = ""


class ScanResult(msgspec.Struct, frozen=True):
    """A card as scanned; `aside` counts files that are not video by their name."""

    shoot: str
    card: str
    findings: tuple[ClipFinding, ...]
    aside: int


def scan(
    card: Path,
    folder: Path,
    encodings: Mapping[str, str] | None = None,
    progress: Progress = silent,
) -> ScanResult:
    """Make or update the shoot of a card; decisions of clips that are known already are kept.

    `encodings` is what a person says: encoding names by clip, "*" for all that are not sure. Raises
    ShootError where the card is no folder or holds no video, UsageError for encodings or clips that
    do not exist.
    """
    said = {clip: named(name) for clip, name in (encodings or {}).items()}
    files, aside = _files(card)
    known = (
        store.load(folder)
        if (folder / store.DOCUMENT).exists()
        else Shoot(name=folder.absolute().stem)
    )
    prints = {path: _print(path) for path in files}
    name = _card_name(known, card, {p.fingerprint for p in prints.values()})
    before = {clip.fingerprint: clip for clip in known.clips if clip.card == name}
    ids = _ids(files, card, {c.id for c in known.clips if c.card != name})
    findings = []
    with Cache(folder) as cache:
        for number, path in enumerate(files, 1):
            progress(Step("scan", ids[path], number, len(files)))
            entry = ClipEntry(
                id=ids[path],
                card=name,
                path=path.relative_to(card).as_posix(),
                bytes=prints[path].bytes,
                fingerprint=prints[path].fingerprint,
            )
            if prints[path].refused:
                found = f"it cannot be read ({prints[path].refused})"
                findings.append(_unreadable(entry, found, "Check its permissions"))
            else:
                findings.append(_finding(cache, path, entry, before))
    shoot = _updated(known, CardEntry(name, str(card.absolute())), [f.clip for f in findings])
    every = said.pop(ALL_UNSURE, None)
    unsure = [f.clip.id for f in findings if f.facts is not None and not f.settled]
    chosen = dict.fromkeys(unsure, every) if every else {}
    chosen |= {shoot.clip(clip).id: encoding for clip, encoding in said.items()}
    findings = [_as_said(finding, chosen) for finding in findings]
    store.save(folder, shoot.with_clips(*(finding.clip for finding in findings)))
    return ScanResult(str(folder), str(card), tuple(findings), aside)


def _files(card: Path) -> tuple[list[Path], int]:
    """The video files of a card in the order of their paths, and how many others there are."""
    if not card.exists():
        raise ShootError(card, "there is no such folder", "Check the path, or connect the drive")
    if not card.is_dir():
        raise ShootError(card, "this is a file; a card is a folder", "Name the folder it lies in")
    try:
        everything = sorted(p for p in card.rglob("*") if not p.is_dir())
    except OSError as error:
        raise ShootError(
            card, f"it cannot be read ({error.strerror})", "Check the drive and its permissions"
        ) from error
    inside = [p for p in everything if not _hidden(p.relative_to(card))]
    video = [p for p in inside if p.suffix.lower() in SUFFIXES]
    if not video:
        found = f"{len(inside)} other files" if inside else "nothing"
        raise ShootError(
            card, f"no video is on this card ({found} in it)", "Name the folder of the clips"
        )
    return video, len(inside) - len(video)


def _hidden(path: Path) -> bool:
    return any(part.startswith(".") or part.endswith(".shoot") for part in path.parts)


@dataclass(frozen=True, slots=True)
class _Print:
    """What tells a file from others without reading all of it; `refused` is why it cannot."""

    bytes: int
    fingerprint: str
    refused: str = ""


def _print(path: Path) -> _Print:
    try:
        size = path.stat().st_size
        if not path.is_file():  # opening a pipe would wait for ever; the probe says what it is
            return _Print(size, f"no file {path}")
        return _Print(size, store.fingerprint(path))
    except OSError as error:
        return _Print(0, f"unread {path}", error.strerror or str(error))


def _card_name(shoot: Shoot, card: Path, prints: set[str]) -> str:
    """The name of a card in the shoot: by its place, else by the clips on it, else a new one."""
    here = card.absolute()
    for entry in shoot.cards:
        if entry.path == str(here):
            return entry.name
    shared = Counter(c.card for c in shoot.clips if c.fingerprint in prints)
    if shared:
        return shared.most_common(1)[0][0]
    taken = {entry.name for entry in shoot.cards}
    wanted = here.name or "card"
    return next(n for n in (wanted, *(f"{wanted} {i}" for i in range(2, 1000))) if n not in taken)


def _ids(files: list[Path], card: Path, taken: set[str]) -> dict[Path, str]:
    """File names without suffix where they are unique, else with as much path as it takes."""
    stems, names = Counter(p.stem for p in files), Counter(p.name for p in files)
    ids: dict[Path, str] = {}
    used = set(taken)
    for path in files:
        forms = [path.relative_to(card).as_posix(), path.as_posix()]
        if names[path.name] == 1:
            forms.insert(0, path.name)
        if stems[path.stem] == 1:
            forms.insert(0, path.stem)
        ids[path] = next(form for form in forms if form not in used)
        used.add(ids[path])
    return ids


def _finding(
    cache: Cache, path: Path, entry: ClipEntry, before: Mapping[str, ClipEntry]
) -> ClipFinding:
    """Look into one file; whatever is wrong with it becomes its row."""
    try:
        facts = remembered_facts(cache, entry.fingerprint, path)
        verdict = remembered_identification(cache, entry.fingerprint, path, facts)
    except ClipError as error:
        return _unreadable(entry, error.found, error.remedy)
    known = before.get(entry.fingerprint)
    if known is not None and known.unreadable is None:
        entry = msgspec.structs.replace(known, id=entry.id, path=entry.path)
    damaged = "; ".join(facts.damage) or None
    entry = msgspec.structs.replace(entry, damaged=damaged, created=facts.created)
    if entry.encoding_by != "person":
        entry = msgspec.structs.replace(
            entry,
            encoding=verdict.encoding if verdict.sure else None,
            encoding_by="evidence" if verdict.sure else None,
            confidence=verdict.confidence,
        )
    return _told(entry, facts, verdict)


def _unreadable(entry: ClipEntry, found: str, remedy: str) -> ClipFinding:
    return ClipFinding(msgspec.structs.replace(entry, unreadable=f"{found}. {remedy}"), why=found)


def _told(entry: ClipEntry, facts: ClipFacts, verdict: Identification) -> ClipFinding:
    if entry.encoding is not None:
        return ClipFinding(entry, facts, verdict, settled=True)
    likely = ", ".join(f"{n} {share:.0%}" for n, share in verdict.candidates[:3]) or "nothing fits"
    best = verdict.candidates[0][0] if verdict.candidates else "NAME"
    why = f"not sure ({likely}): say it with --encoding {entry.id}={best}"
    return ClipFinding(entry, facts, verdict, why=why)


def _as_said(finding: ClipFinding, chosen: Mapping[str, Encoding]) -> ClipFinding:
    """A finding with the encoding that a person named; the file's own matrix and range are kept."""
    encoding = chosen.get(finding.clip.id)
    if encoding is None:
        return finding
    if finding.facts is None or finding.identification is None:
        raise UsageError(
            finding.clip.id, f"it is no clip ({finding.why})", "Name an encoding for clips only"
        )
    entry = msgspec.structs.replace(
        finding.clip,
        encoding=_with_own_range(encoding, finding),
        encoding_by="person",
        confidence=1.0,
    )
    return _told(entry, finding.facts, finding.identification)


def _with_own_range(encoding: Encoding, finding: ClipFinding) -> Encoding:
    assert finding.facts is not None
    for tags in (finding.facts.bitstream_tags, finding.facts.container_tags):
        if tags.full_range is not None:
            return msgspec.structs.replace(encoding, range="full" if tags.full_range else "narrow")
    return encoding


def _updated(shoot: Shoot, card: CardEntry, clips: list[ClipEntry]) -> Shoot:
    """The document with this card's clips as they are now, other cards' untouched."""
    cards = (*(c for c in shoot.cards if c.name != card.name), card)
    others = (c for c in shoot.clips if c.card != card.name)
    return msgspec.structs.replace(shoot, cards=cards, clips=(*others, *clips))
