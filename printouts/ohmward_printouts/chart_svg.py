"""A procedure as a drawing for the wall: the steps as a story from top to bottom, the gates beside them.

A3 landscape, three columns a sheet, sheets one below the other; black on white. Signal words as in ANSI Z535:
DANGER white on black, WARNING in a heavy frame, CAUTION in a thin one.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any
from xml.sax.saxutils import escape

from reportlab.pdfbase.pdfmetrics import stringWidth

from ohmward.chart.table import Table
from ohmward_printouts.chart_blocks import Block, blocks_of
from ohmward_printouts.fonts import BOLD, REGULAR, drawable, register

SHEET = (420.0, 297.0)  # mm
EDGE, GAP, COLUMNS = 12.0, 6.0, 3
WIDTH = (SHEET[0] - 2 * EDGE - (COLUMNS - 1) * GAP) / COLUMNS
SIDE = 34.0  # the gates' part of a column
TEXT, LEAD = 2.7, 3.5
PAD, BETWEEN = 1.6, 3.2
TOP = 34.0
FAMILY = "DejaVu Sans, Verdana, Arial, sans-serif"


@dataclass(frozen=True, slots=True)
class _Set:
    """A block with its lines broken: what it takes in height is known."""

    block: Block
    left: tuple[tuple[str, bool], ...]
    right: tuple[str, ...]

    @property
    def height(self) -> float:
        return 2 * PAD + LEAD * max(len(self.left), len(self.right), 1)


def render_chart(table: Table, digest: str, *, proved: bool) -> bytes:
    """The drawing as SVG; the same table gives the same bytes. `proved`: whether a kept verdict says so of this very table."""
    register()
    placed = list(_placed([_broken(b) for b in blocks_of(table)]))
    sheets = 1 + max((sheet for sheet, _, _, _ in placed), default=0)
    height = sheets * SHEET[1]
    size = f'width="{SHEET[0]}mm" height="{height}mm" viewBox="0 0 {SHEET[0]} {height}"'
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" {size} font-family="{FAMILY}" font-size="{TEXT}">',
        f"<title>{_safe(_title(table))}</title>",
        f'<rect width="{SHEET[0]}" height="{height}" fill="white"/>',
    ]
    for sheet in range(sheets):
        parts += _head(table, f"{'proved' if proved else 'NOT SHOWN TO BE PROVED'} - table {digest[:16]} - sheet {sheet + 1} of {sheets}", sheet)
    for number, (sheet, column, y, item) in enumerate(placed):
        x = EDGE + column * (WIDTH + GAP)
        following = placed[number + 1] if number + 1 < len(placed) else None
        below = following is not None and following[:2] == (sheet, column)
        parts += _drawn(item, x, y + sheet * SHEET[1], arrow=below and item.block.goes_on)
    return ("\n".join([*parts, "</svg>"]) + "\n").encode()


def _title(table: Table) -> str:
    return f"{table.data['title']} - {table.procedure}, revision {table.revision}"


def _head(table: Table, standing: str, sheet: int) -> list[str]:
    data: Any = table.data
    y = sheet * SHEET[1] + EDGE
    note = (
        "An aid for trained people. Local code, the maker's instructions and licensed practice hold; where they differ, the "
        "stricter one. A step without an arrow to the next one goes where its answers say. At every step: stop, something "
        "else, not on this machine, found - the last three wait for a qualified person."
    )
    lines = [f"Not covered: {data['not_covered']}", note]
    parts = [
        _text(EDGE, y + 5, _title(table), size=6, bold=True),
        _text(SHEET[0] - EDGE, y + 5, standing, end=True),
    ]
    row = y + 10.5
    for line in lines:
        for words in _wrap(line, SHEET[0] - 2 * EDGE, bold=False):
            parts.append(_text(EDGE, row, words))
            row += LEAD
    return parts


def _placed(items: list[_Set]) -> Iterator[tuple[int, int, float, _Set]]:
    """Sheet, column, top of each block: down the columns, sheet after sheet."""
    sheet, column, y = 0, 0, TOP
    for item in items:
        if y + item.height > SHEET[1] - EDGE and y > TOP:
            column, y = column + 1, TOP
            if column == COLUMNS:
                sheet, column = sheet + 1, 0
        yield sheet, column, y, item
        y += item.height + BETWEEN


def _broken(block: Block) -> _Set:
    width = WIDTH - SIDE - 2 * PAD if block.side else WIDTH - 2 * PAD
    head_width = width - (22 if block.signal else 0)
    left = [(words, True) for words in _wrap(block.head, head_width, bold=True)]
    left += [(words, False) for line in block.lines for words in _wrap(line, width, bold=False)]
    right = [words for line in block.side for words in _wrap(line, SIDE - 2 * PAD, bold=False)]
    return _Set(block, tuple(left), tuple(right))


def _wrap(text: str, width: float, *, bold: bool) -> list[str]:
    """Lines no wider than `width`; a word that is wider is cut. Measured in the widest of the faces."""
    font = BOLD if bold else REGULAR
    lines, line = [], ""
    for word in drawable(text).split():
        rest = word
        while stringWidth(rest, font, TEXT) > width and len(rest) > 1:
            cut = next(
                n for n in range(len(rest), 0, -1) if n == 1 or stringWidth(rest[:n], font, TEXT) <= width
            )
            lines += [line] if line else []
            lines.append(rest[:cut])
            line, rest = "", rest[cut:]
        both = f"{line} {rest}".strip()
        if line and stringWidth(both, font, TEXT) > width:
            lines.append(line)
            line = rest
        else:
            line = both
    return [*lines, line] if line else lines


def _drawn(item: _Set, x: float, y: float, *, arrow: bool) -> list[str]:
    block = item.block
    own = WIDTH - SIDE if block.side else WIDTH
    round_ = 3 if block.is_end else 0
    parts = [_box(x, y, own, item.height, round_=round_, weight=0.5 if block.exposed else 0.25)]
    for number, (words, bold) in enumerate(item.left):
        parts.append(_text(x + PAD, y + PAD + LEAD * (number + 0.78), words, bold=bold))
    if block.signal:
        parts += _signal(block.signal, x + own - 21, y + 0.9)
    if block.side:
        parts.append(_line(x + own, y + PAD + LEAD / 2, x + own + 1.5, y + PAD + LEAD / 2))
        for number, words in enumerate(item.right):
            parts.append(_text(x + own + 2.5, y + PAD + LEAD * (number + 0.78), words))
    if arrow:
        middle, foot = x + 6, y + item.height
        parts.append(_line(middle, foot, middle, foot + BETWEEN - 0.9))
        tip = foot + BETWEEN
        parts.append(
            f'<path d="M{middle - 0.9:.2f} {tip - 1.3:.2f}L{middle + 0.9:.2f} {tip - 1.3:.2f}L{middle:.2f} {tip:.2f}z"/>'
        )
    return parts


def _signal(word: str, x: float, y: float) -> list[str]:
    filled, weight = word == "DANGER", {"DANGER": 0.6, "WARNING": 0.6}.get(word, 0.2)
    return [
        _box(x, y, 20, 4, weight=weight, fill="black" if filled else "white"),
        f'<text x="{x + 10:.2f}" y="{y + 2.95:.2f}" text-anchor="middle" font-weight="bold" fill="{"white" if filled else "black"}">{word}</text>',
    ]


def _box(
    x: float, y: float, w: float, h: float, *, round_: float = 0, weight: float = 0.25, fill: str = "none"
) -> str:
    return f'<rect x="{x:.2f}" y="{y:.2f}" width="{w:.2f}" height="{h:.2f}" rx="{round_}" fill="{fill}" stroke="black" stroke-width="{weight}"/>'


def _line(x1: float, y1: float, x2: float, y2: float) -> str:
    return f'<path d="M{x1:.2f} {y1:.2f}L{x2:.2f} {y2:.2f}" stroke="black" stroke-width="0.25"/>'


def _text(
    x: float, y: float, words: str, *, size: float = TEXT, bold: bool = False, end: bool = False
) -> str:
    more = f' font-size="{size}"' if size != TEXT else ""
    more += ' font-weight="bold"' if bold else ""
    more += ' text-anchor="end"' if end else ""
    return f'<text x="{x:.2f}" y="{y:.2f}"{more}>{_safe(words)}</text>'


def _safe(text: str) -> str:
    """What a person typed, as text only: no markup, nothing that cannot be seen."""
    return escape(drawable(text))
