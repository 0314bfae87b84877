"""Numbers and verdicts in words, each with its unit."""

from __future__ import annotations

import msgspec

from evenhand.drawing.model import ClipReport, MasterFile, ReportModel, Verdict
from evenhand.drawing.worst import Worst, worst
from evenhand.grade.fidelity import CompileReport
from evenhand.measure.decisions import Status
from evenhand.wording.figures import NBSP, counted, seconds


class Tile(msgspec.Struct, frozen=True):
    """One number at the head of the page: the figure, what it counts, and a remark."""

    figure: str
    label: str
    remark: str = ""
    verdict: Verdict = "note"


def from_to(found: Worst, digits: int, unit: str) -> str:
    """The worst before and after: "1.40 → 0.012 stops"; a small figure gets one more digit."""
    if found.before is None:
        return "not measured"
    shown = [_fine(v, digits) for v in (found.before, found.after) if v is not None]
    return f"{' → '.join(shown)} {unit}".strip()


def _fine(value: float, digits: int) -> str:
    small = round(value, digits) < 10.0 ** (1 - digits)
    return f"{value:.{digits + small}f}"


def compiled(error: CompileReport) -> str:
    """How far the compiled grade lies from the exact one."""
    verdict = "within the bound" if error.within_bound else "outside the bound"
    return (
        f"99.9 % of the pixels within {error.luma_p999:.2f} code of luma and "
        f"{error.chroma_p999:.2f} of chroma (10-bit); CIEDE2000 within {error.de_p999:.2f}, "
        f"at most {error.de_max:.2f}; lattice {error.size}³; {verdict}"
    )


def facts(clip: ClipReport) -> str:
    """Codec, size, rate, duration and sound on one line."""
    length = None if clip.duration is None else seconds(clip.duration)
    return f"{NBSP}· ".join(
        x.replace(" ", NBSP) for x in (clip.codec, clip.size, clip.rate, length, clip.sound) if x
    )


def master_verdict(master: MasterFile) -> Verdict:
    """The worst verdict of a master's checks; "note" where nothing was checked.

    One that is outdated may have passed them all: it is not what the clip looks like now.
    """
    found = {check.verdict for check in master.checks} | ({"warn"} if master.outdated else set())
    return next((v for v in ("fail", "warn", "pass") if v in found), "note")


def headline(model: ReportModel) -> tuple[Verdict, str]:
    """The one line at the head of the page, and how good it is."""
    if not model.clips:
        if model.unreadable:
            return "fail", "No file on the card could be read as a clip."
        return "note", "Nothing here yet: no clip was found on the card."
    troubles = _troubles(model)
    parts = [*troubles, _identified(model)]
    if any(c.levelling for c in model.clips):
        parts.append(_levelled(model))
    verdicts = [master_verdict(m) for c in model.clips for m in c.masters]
    if verdicts and "fail" not in verdicts:
        parts.append(_passed(verdicts))
    unsure = any(c.identification and c.identification.encoding is None for c in model.clips)
    return "fail" if troubles else "warn" if unsure else "pass", " ".join(parts)


def tiles(model: ReportModel) -> list[Tile]:
    """The numbers at the head of the page; only those that there is something to say about."""
    found = [Tile(str(len(model.clips)), "clips" if len(model.clips) != 1 else "clip")]
    if model.unreadable:
        lost = len(model.unreadable)
        found.append(Tile(str(lost), "unreadable", "listed below", "fail"))
    if model.places:
        found.append(Tile(str(len(model.places)), "places" if len(model.places) != 1 else "place"))
    found += _level_tiles(model)
    verdicts = [master_verdict(m) for c in model.clips for m in c.masters]
    if verdicts:
        found.append(_master_tile(verdicts))
    return found


def _master_tile(verdicts: list[Verdict]) -> Tile:
    failed, unchecked = verdicts.count("fail"), verdicts.count("note")
    label = "masters" if len(verdicts) != 1 else "master"
    if failed:
        return Tile(str(len(verdicts)), label, f"{failed} failed a check", "fail")
    if "warn" in verdicts:
        return Tile(str(len(verdicts)), label, f"{verdicts.count('warn')} outdated", "warn")
    if unchecked:
        return Tile(str(len(verdicts)), label, f"{unchecked} not checked")
    return Tile(str(len(verdicts)), label, "every check passed", "pass")


def furthest(model: ReportModel) -> Worst | None:
    """Exposure of the clip furthest from its reference, over all places, in stops."""
    found = [worst(s.evenness, "stops") for s in model.places if s.evenness]
    before = [w.before for w in found if w.before is not None]
    after = [w.after for w in found if w.after is not None]
    return Worst(max(before), max(after, default=None)) if before else None


def _troubles(model: ReportModel) -> list[str]:
    """What went wrong, worst first, one sentence each."""
    parts = []
    if model.unreadable:
        parts.append(f"{counted(len(model.unreadable), 'file').capitalize()} could not be read.")
    verdicts = [master_verdict(m) for c in model.clips for m in c.masters]
    failed = verdicts.count("fail")
    if failed:
        parts.append(f"{failed} of {counted(len(verdicts), 'master')} failed a check.")
    return parts


def _passed(verdicts: list[Verdict]) -> str:
    """The sentence where no master failed; what was not checked is not called good."""
    outdated, unchecked = verdicts.count("warn"), verdicts.count("note")
    if outdated:
        return f"{outdated} of {counted(len(verdicts), 'master')} outdated."
    if unchecked:
        return f"{unchecked} of {counted(len(verdicts), 'master')} not checked yet."
    if len(verdicts) == 1:
        return "The master passed every check."
    return "Every master passed its checks."


def _identified(model: ReportModel) -> str:
    sure = sum(1 for c in model.clips if c.identification and c.identification.encoding)
    number = len(model.clips)
    if not any(c.identification for c in model.clips):
        return f"{counted(number, 'clip').capitalize()} found."
    if sure == number:
        return "The clip is identified." if number == 1 else f"All {number} clips are identified."
    return f"{sure} of {counted(number, 'clip')} {'is' if sure == 1 else 'are'} identified."


def _levelled(model: ReportModel) -> str:
    outcomes = [c.levelling.status for c in model.clips if c.levelling]
    alone = outcomes.count("unchanged")
    matched, places = _matched(outcomes), len(model.places)
    words = f"{matched} matched to {counted(places, 'reference')}" if matched else "None matched"
    return f"{words}, {alone} unchanged." if alone else f"{words}."


def _matched(outcomes: list[Status]) -> int:
    return sum(status in ("matched", "chart", "grey_card") for status in outcomes)


def _level_tiles(model: ReportModel) -> list[Tile]:
    outcomes = [c.levelling.status for c in model.clips if c.levelling]
    if not outcomes:
        return []
    alone = outcomes.count("unchanged")
    remark = f"{alone} unchanged" if alone else ""
    found = [Tile(str(_matched(outcomes)), "matched to their reference", remark)]
    far = furthest(model)
    if far is not None:
        remark = "as shot and levelled" if far.after is not None else "as shot"
        found.append(Tile(from_to(far, 2, ""), "stops, the clip furthest off", remark))
    return found
