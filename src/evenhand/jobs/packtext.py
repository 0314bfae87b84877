"""The words in a pack of looks: how to use it, the licence to fill in, and the notice of ours."""

from __future__ import annotations

from collections.abc import Iterable
from textwrap import fill
from typing import Final

from evenhand.grade.looks import LOOKS
from evenhand.grade.recipe import digest
from evenhand.jobs.packindex import NOTICE, SHEET, SUMS, PackedLook, PackedTable, PackIndex
from evenhand.wording.figures import plain, strength

_WIDTH: Final = 78
MARK: Final = "[["
"""Where something stands that the seller fills in."""

_ORDER: Final = """\
The order of work
-----------------
1. Set exposure and white balance of each clip first. A look is made for
   pictures that are right before it, and makes a fault stronger.
2. Convert the log picture to the display, then put the look after it:
   a table of "after-the-conversion" on the display signal (BT.709, gamma 2.4).
   Or put one table of "instead-of-the-conversion" straight on the log clip,
   and no other conversion before or after it: it converts and does the look.
3. Exposure and balance are corrected before the look, not after it: what a
   table has cut off or bent does not come back.
"""
_BEFORE: Final = """4. A table of "before-the-conversion" works on the log signal that its folder
   is named after: bring the picture into that signal, put the table, and
   convert to the display after it.
"""
_DO: Final = """\
How to set it
-------------
- Reading: choose tetrahedral interpolation where there is a choice. Greys then
  stay as neutral as the look makes them; trilinear reading can tint them.
- Range: 0 of a table is black and 1 is white of the R'G'B' signal, which are
  the 10-bit codes 64 and 940 of a clip with narrow (video) range. If blacks
  come out grey or are crushed, the clip's range is read wrongly.
- Strength: the tables do the whole look. For less, mix the graded picture with
  the picture before the look, as opacity or "mix" of the step with the table:
  70 % is a good place to begin. A table of "instead-of-the-conversion" cannot
  be mixed so, since there is nothing but flat log under it: convert first and
  use the table of "after-the-conversion".
- .cube and .clf of one name are the same table. Take what your program reads.
"""
_NOT: Final = """\
What not to do
--------------
- No table of "after-the-conversion" straight on log: the picture stays flat.
- No table of "instead-of-the-conversion" after a conversion, or two of them:
  darks are crushed and lights burn out.
- Not the table of the other generation of phone log: colours come out too
  strong or too weak.
- Not on HDR signal (HLG or PQ), unless the table's name says so: the others are
  made for an SDR display.
- No table beyond 100 %.
- Do not convert the tables to fewer points or to whole numbers.
"""


def readme(index: PackIndex) -> bytes:
    """How to use a pack, in words that fit every program with look tables."""
    parts = [
        _title(index),
        _contents(index),
        _order(index),
        _DO,
        _NOT,
        _looks(index),
        _errors(index),
    ]
    parts.append(
        "Whole and unchanged?\n--------------------\n"
        + fill(
            f"{SUMS} holds the SHA-256 of every other file. On most systems the command "
            f'"sha256sum -c {SUMS}" (or "shasum -a 256 -c {SUMS}"), given in this folder, '
            "compares them. looks.json says the same as this text, and more, for programs.",
            _WIDTH,
        )
        + "\n"
    )
    return "\n".join(parts).encode()


def _title(index: PackIndex) -> str:
    count = len(index.looks)
    by = f" by {index.seller}" if index.seller else ""
    lines = [index.name, "=" * len(index.name), ""]
    what = f"{count} look{'s' if count > 1 else ''}{by}, as tables for any program that reads .cube"
    lines += [fill(f"{what} or .clf. How they may be used: LICENCE.txt.", _WIDTH), ""]
    return "\n".join(lines)


def _contents(index: PackIndex) -> str:
    places: dict[str, list[PackedTable]] = {}
    for look in index.looks:
        for table in look.tables:
            places.setdefault(table.path.rpartition("/")[0], []).append(table)
    lines = ["What is in here", "---------------"]
    for folder in sorted(places):
        lines += [folder + "/", *_indented(_place_words(places[folder][0]))]
    lines += ["documents/", *_indented("the looks themselves: text or tables to make others from")]
    lines += [SHEET, *_indented("each look on the same scenes, ramps, skins and chart")]
    return "\n".join(lines) + "\n"


def _order(index: PackIndex) -> str:
    paths = [table.path for look in index.looks for table in look.tables]
    return _ORDER + (_BEFORE if any(path.startswith("before-") for path in paths) else "")


def _place_words(table: PackedTable) -> str:
    if table.log is not None:
        generation = {"phone-log-1": "first", "phone-log-2": "second"}[table.log]
        return (
            f"log clips of phones, {generation} generation: converts to a BT.709 display and does "
            "the look, in one table; no other conversion"
        )
    if table.expects == table.gives == "bt709-display":
        return "the look alone, for a picture that is converted to a BT.709 display already"
    if table.expects == table.gives:
        return f"the look alone, on {table.expects} signal, before the conversion to a display"
    return f"a conversion from {table.expects} to {table.gives} with a look in it"


def _looks(index: PackIndex) -> str:
    lines = ["The looks", "---------"]
    for look in index.looks:
        lines.append(f"{look.title} ({look.name})")
        lines += _indented(look.purpose) if look.purpose else []
        for move in look.moves:
            lines += _indented(f"- {move}", "    ")
        lines += _indented(_advice(look))
        for said in (*look.left_out, *look.notes):
            lines += _indented(said + ".")
        if look.effects:
            kinds = "; ".join(look.effects)
            lines += _indented(f"No table can hold its effects on the picture as a whole: {kinds}.")
        lines.append("")
    return "\n".join(lines)


def _advice(look: PackedLook) -> str:
    baked = f"The tables hold it at {percent(look.strength)}. " if look.strength < 1.0 else ""
    faults = [f"{f.name} {f.value:.3g} {f.unit}".rstrip() for f in look.health[-1].faults]
    if look.verdict == "pass":
        return f"{baked}Passes every test of its health at full strength."
    what = "FAILS tests of its health" if look.verdict == "fail" else "Passes with a warning"
    told = f"{baked}{what} at full strength: {'; '.join(faults)}."
    if look.advised is None:
        return told + " No strength was found at which nothing fails."
    if look.advised < 1.0:
        return f"{told} Advised: at most {percent(look.advised)}."
    return told


def _errors(index: PackIndex) -> str:
    words = (
        "A table is a grid of points, and between them a straight piece. Measured for each table "
        "of this pack against the look as it is exactly: the difference that 99 % of the colours "
        "stay under and the largest, as CIEDE2000 (1 is about what an eye can see side by side) "
        "and in 10-bit codes of the worst channel; first on 20000 natural colours, then on a set "
        "of hard ones (the purest colours, ramps, noise in black)."
    )
    lines = ["How exact the tables are", "------------------------", fill(words, _WIDTH), ""]
    lines.append("                                   natural               hard")
    lines.append("                                   dE        codes       dE        codes")
    lines.append("table                              99%  max  99%   max   99%  max  99%   max")
    seen = set()
    for look in index.looks:
        for table in look.tables:
            label = table.path.rpartition("/")[2].rpartition(".")[0]
            if label in seen:
                continue
            seen.add(label)
            cells = []
            for part in (table.errors.natural, table.errors.stress):
                cells += [f"{part.de_p99:5.2f}{part.de_max:5.2f}"]
                cells += [f"{part.codes_p99:5.1f}{part.codes_max:6.1f}"]
            lines.append(f"{label:33}" + "".join(cells))
    worst = max((t for look in index.looks for t in look.tables), key=_worst)
    natural = worst.errors.natural
    end = (
        f"The least exact on natural colours is {worst.path.rpartition('/')[2]}: "
        f"dE {natural.de_p99:.2f} for 99 % of them, {natural.de_max:.2f} at most. Large "
        "differences in codes are dark, strong colours where a channel is near zero: there many "
        "codes make little light. Where every code counts, convert by a program that computes the "
        "conversion, and use the look alone after it."
    )
    return "\n".join([*lines, "", fill(end, _WIDTH), ""])


def _worst(table: PackedTable) -> float:
    return table.errors.natural.de_p99


def _indented(words: str, by: str = "  ") -> list[str]:
    further = by + "  " if words.startswith("- ") else by
    return fill(words, _WIDTH, initial_indent=by, subsequent_indent=further).splitlines()


def licence(index: PackIndex) -> bytes:
    """A plain licence with marked places. It is a beginning, and no advice."""
    seller = index.seller or f"{MARK}name and address of the seller]]"
    ours = shipped(index.looks)
    words = f"For the looks {', '.join(ours)} the licence in {NOTICE} goes before this one."
    rest = f"\n{fill(words, _WIDTH)}\n"
    return f"""\
Licence of "{index.name}"

{MARK}Seller: fill in every place in double brackets, take out what you do not
want, have it read by somebody who knows the law of your country, and pack
again with this file. Then take out this paragraph.]]

1. Who gives this licence: {seller} ("the seller").
   To whom: the one person or business that bought this pack ("you").
   Bought on: {MARK}date or number of the order]].

2. You may use the looks in this pack in any number of your own films and
   pictures and in those that you make for others, also for money, without
   naming the seller, for {MARK}ever / a number of years]], in {MARK}all countries]].

3. You may keep copies for yourself and on {MARK}number]] machines that you work on.

4. You may not sell, rent, lend, give away or publish the files of this pack,
   changed or unchanged, alone or in another collection, nor tables made from
   them. Handing a film on with its look in the picture is not meant by this;
   handing its project on to those who work on the same film is allowed.

5. The looks are given as they are. How they were measured is told in
   README.txt; that they suit a certain purpose is not promised, and for damage
   the seller answers only as far as the law asks: {MARK}limits, as the law has them]].

6. Returns: {MARK}days and conditions, as the law has them]].

7. The law of {MARK}country]] holds; the courts of {MARK}place]] decide.
{rest if ours else ""}""".encode()


def percent(share: float) -> str:
    """How much of a look, in a text file."""
    return plain(strength(share))


def places_left(text: str) -> int:
    """How many places of a licence wait to be filled in."""
    return text.count(MARK)


def shipped(looks: Iterable[PackedLook]) -> tuple[str, ...]:
    """The names of those looks that come with this program, unchanged."""
    return tuple(
        look.name
        for look in looks
        if look.name in LOOKS and digest(LOOKS[look.name]) == look.digest
    )
