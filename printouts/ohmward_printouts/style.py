"""Type, rules and tables that every page shares; the caution that stands on each."""

from collections.abc import Iterable, Sequence

from reportlab.lib import colors
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.platypus import Paragraph, Table, TableStyle

from ohmward_printouts.fonts import BOLD, REGULAR, markup

CAUTION = (
    "ohmward is an aid to trained people. It does not make anyone qualified and does not replace local code, the "
    "employer's programme, the equipment maker's instructions or licensed practice; where they differ, the stricter one "
    "holds. This page says what was measured, by whom, with what, when; it does not say that a part is dead or safe. "
    "Times are the device's claim. It shows who confirmed what and in which order; it does not show that anyone looked."
)
MARGIN = 16 * mm
FOOT = 30 * mm
WIDTH = A4[0] - 2 * MARGIN

TEXT = ParagraphStyle("text", fontName=REGULAR, fontSize=8, leading=10.2)
STRONG = ParagraphStyle("bold", parent=TEXT, fontName=BOLD)
SMALL = ParagraphStyle("small", parent=TEXT, fontSize=7, leading=9)
TITLE = ParagraphStyle("title", parent=TEXT, fontName=BOLD, fontSize=15, leading=19)
HEAD = ParagraphStyle(
    "head", parent=TEXT, fontName=BOLD, fontSize=10, leading=13, spaceBefore=8, spaceAfter=3
)
GRID = TableStyle(
    [
        ("GRID", (0, 0), (-1, -1), 0.4, colors.Color(0.55, 0.55, 0.55)),
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LEFTPADDING", (0, 0), (-1, -1), 3),
        ("RIGHTPADDING", (0, 0), (-1, -1), 3),
        ("TOPPADDING", (0, 0), (-1, -1), 1.5),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
        ("FONTNAME", (0, 0), (-1, -1), REGULAR),
    ]
)


WHOLE = 400  # characters of a cell that surely fit on one page, in the narrowest column too


def grid(head: Sequence[str], rows: Iterable[Sequence[str]], shares: Sequence[float]) -> Table:
    """A table with wrapping cells. Rows stay whole, but for one with more text than a page would take."""
    rows = list(rows)
    body = [[Paragraph(markup(h), STRONG) for h in head]] if head else []
    body += [
        [Paragraph(markup(cell), STRONG if not head and i == 0 else TEXT) for i, cell in enumerate(row)]
        for row in rows
    ]
    made = Table(
        body,
        colWidths=[WIDTH * s / sum(shares) for s in shares],
        repeatRows=1 if head else 0,
        splitInRow=int(any(len(cell) > WHOLE for row in rows for cell in row)),
    )
    made.setStyle(GRID)
    return made
