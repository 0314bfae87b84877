"""Numbers and verdicts in words, each with its unit."""

from __future__ import annotations

from typing import Final

import msgspec

from evenhand.drawing.marks import signed
from evenhand.drawing.model import ClipReport, CompileError, MasterFile, ReportModel, Verdict
from evenhand.drawing.spread import Spread, spread

_PLURALS: Final = {"is": "are", "has": "have", "mired": "mired"}


class Tile(msgspec.Struct, frozen=True):
    """One number at the head of the page: the figure, what it counts, and a remark."""

    figure: str
    label: str
    remark: str = ""
    verdict: Verdict = "note"


def counted(number: int, noun: str) -> str:
    """ "1 clip", "12 clips", "no clips"."""
    return f"{number or 'no'} {noun}{'' if number == 1 else 's'}"


def stops(value: float) -> str:
    """A correction or a distance in stops, with its sign."""
    unit = "stop" if abs(value) <= 1.0 else "stops"
    return f"{signed(value, 2)} {unit}"


def kelvin(value: float) -> str:
    """A colour temperature, to the nearest 10 K."""
    return f"{round(value, -1):.0f} K"


def duv(value: float) -> str:
    """A distance from the Planckian locus in CIE 1960 uv; positive is greener."""
    return f"Duv {signed(value, 4)}"


def percent(value: float, digits: int = 0) -> str:
    """A number that is percent already."""
    return f"{value:.{digits}f} %"


def share(value: float) -> str:
    """A share 0..1 as percent."""
    return percent(100.0 * value)


def small_percent(value: float) -> str:
    """Percent of a picture; what is too little to print is not called nothing."""
    if value == 0.0:
        return "0 %"
    return "under 0.01 %" if value < 0.01 else percent(value, 2)


def size(number: int) -> str:
    """Bytes in decimal units, as drives are sold."""
    value, units = float(number), ["bytes", "kB", "MB", "GB", "TB"]
    while value >= 1000.0 and len(units) > 1:
        value /= 1000.0
        units.pop(0)
    return f"{value:.0f} {units[0]}" if units[0] == "bytes" else f"{value:.3g} {units[0]}"


def seconds(value: float) -> str:
    """A duration."""
    if value < 60.0:
        return f"{value:.1f} s"
    minutes, rest = divmod(round(value), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours} h {minutes} min {rest} s" if hours else f"{minutes} min {rest} s"


def from_to(found: Spread, digits: int, unit: str) -> str:
    """A spread before and after: "2.05 → 0.02 stops"."""
    if found.before is None:
        return "not measured"
    before = f"{found.before:.{digits}f}"
    return (
        f"{before} {unit}" if found.after is None else f"{before} → {found.after:.{digits}f} {unit}"
    )


def compiled(error: CompileError) -> str:
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
    return " · ".join(x for x in (clip.codec, clip.size, clip.rate, length, clip.sound) if x)


def master_verdict(master: MasterFile) -> Verdict:
    """The worst verdict of a master's checks; "note" where nothing was checked."""
    found = {check.verdict for check in master.checks}
    return next((v for v in ("fail", "warn", "pass") if v in found), "note")


def headline(model: ReportModel) -> tuple[Verdict, str]:
    """The one line at the head of the page, and how good it is."""
    if not model.clips:
        if model.unreadable:
            return "fail", "No file on the card could be read as a clip."
        return "note", "Nothing here yet: no clip was found on the card."
    failed = sum(master_verdict(m) == "fail" for c in model.clips for m in c.masters)
    masters = sum(len(c.masters) for c in model.clips)
    parts = [_identified(model)]
    if any(c.levelling for c in model.clips):
        parts.append(_levelled(model))
    if failed:
        parts.append(f"{failed} of {counted(masters, 'master')} failed a check.")
    elif masters:
        parts.append(
            "The master passed every check." if masters == 1 else "Every master passed its checks."
        )
    if model.unreadable:
        parts.append(f"{counted(len(model.unreadable), 'file').capitalize()} could not be read.")
    unsure = any(c.identification and c.identification.encoding is None for c in model.clips)
    verdict: Verdict = "fail" if failed or model.unreadable else "warn" if unsure else "pass"
    return verdict, " ".join(parts)


def tiles(model: ReportModel) -> list[Tile]:
    """The numbers at the head of the page; only those that there is something to say about."""
    found = [Tile(str(len(model.clips)), "clips" if len(model.clips) != 1 else "clip")]
    if model.unreadable:
        lost = len(model.unreadable)
        found.append(Tile(str(lost), "unreadable", "listed below", "fail"))
    if model.setups:
        found.append(Tile(str(len(model.setups)), "setups" if len(model.setups) != 1 else "setup"))
    found += _level_tiles(model)
    masters = [m for c in model.clips for m in c.masters]
    if masters:
        failed = sum(master_verdict(m) == "fail" for m in masters)
        remark = f"{failed} failed a check" if failed else "every check passed"
        label = "masters" if len(masters) != 1 else "master"
        found.append(Tile(str(len(masters)), label, remark, "fail" if failed else "pass"))
    return found


def widest(model: ReportModel) -> Spread | None:
    """The exposure spread of the setup that was least even before, in stops."""
    found = [spread(s.evenness, "stops") for s in model.setups if s.evenness]
    known = [s for s in found if s.before is not None]
    return max(known, key=lambda s: s.before or 0.0, default=None)


def _identified(model: ReportModel) -> str:
    sure = sum(1 for c in model.clips if c.identification and c.identification.encoding)
    number = len(model.clips)
    if not any(c.identification for c in model.clips):
        return f"{counted(number, 'clip').capitalize()} found."
    if sure == number:
        return "The clip is identified." if number == 1 else f"All {number} clips are identified."
    return f"{sure} of {counted(number, 'clip')} {'is' if sure == 1 else 'are'} identified."


def _levelled(model: ReportModel) -> str:
    outcomes = [c.levelling.outcome for c in model.clips if c.levelling]
    alone = outcomes.count("left alone")
    words = f"{len(outcomes) - alone} levelled"
    return f"{words}, {alone} left alone." if alone else f"{words}."


def _level_tiles(model: ReportModel) -> list[Tile]:
    outcomes = [c.levelling.outcome for c in model.clips if c.levelling]
    if not outcomes:
        return []
    alone = outcomes.count("left alone")
    found = [Tile(str(len(outcomes) - alone), "levelled", f"{alone} left alone" if alone else "")]
    wide = widest(model)
    if wide is not None:
        figure = from_to(wide, 2, "").strip()
        found.append(Tile(figure, "stops apart", "the least even setup, before and after"))
    return found
