"""Scanning a card: each clip identified with evidence, each other file told with its reason."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import msgspec

from evenhand.children import Limits, Pool, Task
from evenhand.colourmath.encodings import Encoding, named
from evenhand.errors import EvenhandError, ShootError, UsageError
from evenhand.jobs.hands import hands, told
from evenhand.jobs.identification import SIGNS, facts_and_signs
from evenhand.jobs.originals import FACTS
from evenhand.jobs.progress import Progress, Step, silent
from evenhand.measure.identity.evidence import Identification, identify
from evenhand.media.records import ClipFacts
from evenhand.names import kept_path, short_name
from evenhand.reasons import Reason, because
from evenhand.shoot import store
from evenhand.shoot.document import CardEntry, ClipEntry, Shoot, empty
from evenhand.shoot.history import Origin
from evenhand.shoot.measurements import Measurements
from evenhand.shoot.scanned import Seen, entry_of, with_card
from evenhand.shoot.whereabouts import beside, card_of, fingerprint

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
    """A card as scanned; `aside` counts files that are not video by their name.

    `away` are clips of the card that are not on it now; what was decided of them stays. `beside`
    tells whether the shoot lies on the card's drive and goes on with it at another computer.
    """

    shoot: str
    card: str
    findings: tuple[ClipFinding, ...]
    aside: int
    away: tuple[str, ...] = ()
    beside: bool = False


@dataclass(frozen=True, slots=True)
class _Scan:
    """What looking into files needs."""

    card: Path
    folder: Path
    measurements: Measurements
    pool: Pool
    progress: Progress


class _Looked(msgspec.Struct, frozen=True):
    """One file as it was looked into: what is kept of it, and what is told."""

    seen: Seen
    facts: ClipFacts | None = None
    verdict: Identification | None = None
    error: str = ""


def scan(
    card: Path,
    folder: Path,
    encodings: Mapping[str, str] | None = None,
    progress: Progress = silent,
    by: Origin | None = None,
) -> ScanResult:
    """Make or update the shoot of a card; what was decided of clips stays, whatever is seen now.

    `encodings` is what a person says: encoding names by clip, "*" for all that are not sure. Raises
    ShootError where the card is no folder or holds no video, UsageError for encodings or clips that
    do not exist.
    """
    said = {clip: named(name) for clip, name in (encodings or {}).items()}
    files, aside = _files(card)
    start = empty(short_name(folder.absolute().stem))
    if (folder / store.DOCUMENT).exists():
        store.load(folder)  # before any work is done for one that cannot be read
    with Measurements(folder) as measurements, hands() as pool:
        looked = _looked(_Scan(card, folder, measurements, pool, progress), files)
    name = ""

    def edit(shoot: Shoot) -> Shoot:
        nonlocal name
        name = _card_name(shoot, card, [one.seen.fingerprint for one in looked], folder)
        entry = CardEntry(name, kept_path(str(card.absolute())), beside(card, folder))
        return _as_said(with_card(shoot, entry, [one.seen for one in looked]), name, looked, said)

    shoot = store.change(folder, by or Origin("scan"), edit, start=start)
    return ScanResult(
        shoot=str(folder),
        card=str(card),
        findings=tuple(_finding(entry_of(shoot, name, one.seen), one) for one in looked),
        aside=aside,
        away=tuple(c.id for c in shoot.clips if c.card == name and c.state == "away"),
        beside=bool(beside(card, folder)),
    )


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


def _looked(scan: _Scan, files: list[Path]) -> list[_Looked]:
    """Look into files; whatever is wrong with one becomes its own line."""
    found: dict[Path, _Looked] = {}
    tasks: list[Task[Path]] = []
    marks: dict[Path, tuple[int, str]] = {}
    for path in files:
        size, mark, why = _marked(path)
        if why:
            found[path] = _refused(scan, path, (size, mark), why, because("unreadable.refused"))
            continue
        marks[path] = size, mark
        facts = FACTS.recall(scan.measurements, mark)
        signs = SIGNS.recall(scan.measurements, mark)
        if facts is not None and signs is not None:
            found[path] = _identified(scan, path, marks[path], facts, identify(signs))
        else:
            tasks.append(Task(path, str(path), facts_and_signs, (path, facts), Limits()))
    for outcome in scan.pool.run(tasks):
        path = outcome.key
        scan.progress(Step("scan", path.name, len(found) + 1, len(files)))
        if outcome.error is not None:
            line = told(scan.folder, outcome.error).removeprefix(f"{path}: ").rstrip(".")
            found[path] = _refused(scan, path, marks[path], line, _code(outcome.error))
            continue
        facts, signs = outcome.got()
        mark = marks[path][1]
        kept = {FACTS.kind(): facts, SIGNS.kind(): signs}
        scan.measurements.keep_all(mark, kept)
        found[path] = _identified(scan, path, marks[path], facts, identify(signs))
    return [found[path] for path in files]


def _marked(path: Path) -> tuple[int, str, str]:
    """Size and fingerprint of a file, and why it cannot be opened, if it cannot."""
    size = 0
    try:
        size = path.stat().st_size
        # Opening a pipe would wait for ever; probing says what it is.
        return size, fingerprint(path) if path.is_file() else "", ""
    except OSError as error:
        return size, "", f"it cannot be read ({error.strerror or error}). Check its permissions"


def _identified(
    scan: _Scan, path: Path, mark: tuple[int, str], facts: ClipFacts, verdict: Identification
) -> _Looked:
    seen = Seen(
        path=kept_path(path.relative_to(scan.card).as_posix()),
        bytes=mark[0],
        fingerprint=mark[1],
        encoding=verdict.encoding if verdict.sure else None,
        confidence=verdict.confidence,
    )
    return _Looked(seen, facts, verdict)


def _refused(scan: _Scan, path: Path, mark: tuple[int, str], line: str, why: Reason) -> _Looked:
    seen = Seen(
        path=kept_path(path.relative_to(scan.card).as_posix()),
        bytes=mark[0],
        fingerprint=mark[1],
        trouble=(why,),
    )
    return _Looked(seen, error=line)


def _code(error: EvenhandError) -> Reason:
    """Why a file is no clip, as it is kept; the line of the moment says more."""
    return because(f"unreadable.{error.code}") if error.code else because("unreadable.no-clip")


def _card_name(shoot: Shoot, card: Path, prints: list[str], folder: Path) -> str:
    """The name of a card in the shoot: by the clips on it, else by where it is, else a new one."""
    known = card_of(shoot, card, prints, folder)
    if known is not None:
        return known
    taken = {entry.name for entry in shoot.cards}
    wanted = short_name(card.absolute().name) if card.absolute().name else "card"
    return next(n for n in (wanted, *(f"{wanted} {i}" for i in range(2, 1000))) if n not in taken)


def _as_said(shoot: Shoot, card: str, looked: list[_Looked], said: Mapping[str, Encoding]) -> Shoot:
    """The document with the encodings that a person named; a file's own range is kept."""
    by_id = {entry_of(shoot, card, one.seen).id: one for one in looked}
    every = said.get(ALL_UNSURE)
    chosen = {shoot.clip(clip).id: e for clip, e in said.items() if clip != ALL_UNSURE}
    if every is not None:
        for clip in shoot.clips:
            if clip.id in by_id and clip.state == "here" and clip.encoding is None:
                chosen.setdefault(clip.id, every)
    changed = []
    for clip in shoot.clips:
        if clip.id not in chosen:
            continue
        one = by_id.get(clip.id)
        if one is None or one.facts is None:
            why = one.error if one is not None else "it is not on this card"
            raise UsageError(clip.id, f"it is no clip ({why})", "Name an encoding for clips only")
        changed.append(
            msgspec.structs.replace(
                clip,
                encoding=_with_own_range(chosen[clip.id], one.facts),
                encoding_by="person",
                confidence=1.0,
            )
        )
    return shoot.with_clips(*changed)


def _with_own_range(encoding: Encoding, facts: ClipFacts) -> Encoding:
    for tags in (facts.bitstream_tags, facts.container_tags):
        if tags.full_range is not None:
            return msgspec.structs.replace(encoding, range="full" if tags.full_range else "narrow")
    return encoding


def _finding(entry: ClipEntry, one: _Looked) -> ClipFinding:
    verdict = one.verdict
    if verdict is None:
        return ClipFinding(entry, why=one.error)
    if entry.encoding is not None:
        return ClipFinding(entry, one.facts, verdict, settled=True)
    likely = ", ".join(f"{n} {share:.0%}" for n, share in verdict.candidates[:3]) or "nothing fits"
    best = verdict.candidates[0][0] if verdict.candidates else "NAME"
    why = f"not sure ({likely}): say it with --encoding {entry.id}={best}"
    return ClipFinding(entry, one.facts, verdict, why=why)
