"""The code in the corner of a page: a fixed grammar, never a link."""

from functools import lru_cache
from itertools import groupby

import segno
from reportlab.pdfgen.canvas import Canvas


@lru_cache(maxsize=4)
def _bars(text: str) -> tuple[tuple[int, int, int, int], ...]:
    """The code's dark runs as (row, column, length, rows in all)."""
    rows = tuple(segno.make(text, error="m", micro=False).matrix)
    found = []
    for number, row in enumerate(rows):
        column = 0
        for dark, run in groupby(row):
            length = len(list(run))
            if dark:
                found.append((number, column, length, len(rows)))
            column += length
    return tuple(found)


def draw_qr(canvas: Canvas, text: str, x: float, y: float, size: float) -> None:
    """The code as one path. Fixed grammar: word, run, digest; never a link."""
    path = canvas.beginPath()
    for row, column, length, rows in _bars(text):
        cell = size / rows
        path.rect(x + column * cell, y + size - (row + 1) * cell, length * cell, cell)
    canvas.drawPath(path, stroke=0, fill=1)
