"""Tables of plain text that fit the terminal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from textwrap import wrap

from evenhand.names import cells

GAP = 2  # spaces between columns
LEAST_WORDS = 16  # a column of words narrower than this is not readable


@dataclass(frozen=True, slots=True)
class Table:
    """Headings and rows of text; `right` are the columns of figures.

    `spare` are the columns that may be left out, the least needed first.
    """

    headings: Sequence[str]
    rows: Sequence[Sequence[str]]
    right: Sequence[int] = ()
    spare: Sequence[int] = ()

    def fitted(self, width: int | None) -> tuple[list[str], list[str]]:
        """The lines of the table, and the headings that were left out to fit `width` columns.

        The last column is wrapped where that is enough. Without a width nothing is left out.
        """
        kept = list(range(len(self.headings)))
        for column in (*self.spare, None):
            widths = [self._widest(i) for i in kept]
            room = None if width is None else width - sum(widths[:-1]) - GAP * (len(kept) - 1)
            if room is None or room >= min(widths[-1], LEAST_WORDS) or column is None:
                break
            kept.remove(column)
        last = widths[-1] if room is None else min(widths[-1], max(room, LEAST_WORDS))
        left_out = [h for i, h in enumerate(self.headings) if i not in kept]
        return self._lines(kept, [*widths[:-1], last]), left_out

    def _widest(self, column: int) -> int:
        return max(cells(text) for text in (self.headings[column], *(r[column] for r in self.rows)))

    def _lines(self, kept: Sequence[int], widths: Sequence[int]) -> list[str]:
        lines = self._row(self.headings, kept, widths)
        lines.append("─" * (sum(widths) + GAP * (len(widths) - 1)))
        for row in self.rows:
            lines += self._row(row, kept, widths)
        return lines

    def _row(self, row: Sequence[str], kept: Sequence[int], widths: Sequence[int]) -> list[str]:
        *first, last = kept
        wrapped = wrap(row[last], widths[-1], break_on_hyphens=False) or [""]
        lines = []
        for number, words in enumerate(wrapped):
            texts = [row[i] if number == 0 else "" for i in first] + [words]
            parts = [
                " " * (w - cells(text)) + text
                if i in self.right
                else text + " " * (w - cells(text))
                for i, w, text in zip(kept, widths, texts, strict=True)
            ]
            lines.append((" " * GAP).join(parts).rstrip())
        return lines
