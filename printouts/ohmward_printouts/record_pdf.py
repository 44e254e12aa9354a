"""A record as a PDF: who, where, what was held when, what was read, what was refused, and room for ink.

The page is a picture of the record; the record file is the proof. Same record, same bytes.
"""

from io import BytesIO
from typing import Any

from reportlab.lib import colors
from reportlab.lib.pagesizes import A4
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    BaseDocTemplate,
    Frame,
    PageTemplate,
)

from ohmward.account.state import Account
from ohmward.record.integrity import Integrity
from ohmward_printouts.fonts import BOLD, REGULAR, drawable, register
from ohmward_printouts.qr import draw_qr
from ohmward_printouts.record_story import story
from ohmward_printouts.style import FOOT, MARGIN, WIDTH


def render_record(account: Account, found: Integrity) -> bytes:
    """The PDF's bytes; deterministic for a record and what anchors it."""
    register()
    out = BytesIO()
    document = BaseDocTemplate(
        out,
        pagesize=A4,
        leftMargin=MARGIN,
        rightMargin=MARGIN,
        topMargin=MARGIN,
        bottomMargin=FOOT,
        title=drawable(f"Record {account.run}"),
        author="ohmward",
        invariant=1,
        initialFontName=REGULAR,
    )
    frame = Frame(
        MARGIN,
        FOOT,
        WIDTH,
        A4[1] - MARGIN - FOOT,
        leftPadding=0,
        rightPadding=0,
        topPadding=0,
        bottomPadding=0,
    )
    document.addPageTemplates([PageTemplate(id="page", frames=[frame])])
    document.build(
        story(account, _keys_line(found)),
        canvasmaker=lambda *a, **k: _Pages(*a, account=account, found=found, **k),
    )
    return out.getvalue()


class _Pages(Canvas):  # type: ignore[misc]  # reportlab has no types
    """Draws the foot of every page once the number of pages is known."""

    def __init__(self, *args: Any, account: Account, found: Integrity, **kwargs: Any) -> None:  # noqa: ANN401
        super().__init__(*args, **kwargs)
        self._account, self._found, self._head = account, found, found.chain.head
        self._states: list[dict[str, Any]] = []

    def showPage(self) -> None:  # noqa: N802  reportlab's name
        self._states.append(dict(self.__dict__))
        self._startPage()

    def save(self) -> None:
        total = len(self._states)
        for number, state in enumerate(self._states, 1):
            self.__dict__.update(state)
            self._foot(number, total)
            super().showPage()
        super().save()

    def _foot(self, number: int, total: int) -> None:
        if self._account.rehearsal:
            self.saveState()
            self.setFillColor(colors.Color(0.5, 0.5, 0.5, alpha=0.22))
            self.setFont(BOLD, 78)
            self.translate(A4[0] / 2, A4[1] / 2)
            self.rotate(52)
            self.drawCentredString(0, -20, "REHEARSAL")
            self.restoreState()
        self.setStrokeColor(colors.black)
        self.line(MARGIN, FOOT - 3 * mm, A4[0] - MARGIN, FOOT - 3 * mm)
        self.setFillColor(colors.black)
        self.setFont(REGULAR, 7)
        mark = "REHEARSAL - does not count.  " if self._account.rehearsal else ""
        self.drawString(
            MARGIN, FOOT - 7 * mm, drawable(f"{mark}Record {self._account.run}   page {number} of {total}")
        )
        self.drawString(MARGIN, FOOT - 11 * mm, f"{self._account.number} entries, head digest (SHA-256)")
        self.drawString(MARGIN, FOOT - 15 * mm, f"{self._head[:32]} {self._head[32:]}")
        for place, line in enumerate(_anchor_lines(self._found)):
            self.drawString(MARGIN, FOOT - (19 + 4 * place) * mm, line)
        draw_qr(
            self,
            f"OHMWARD1 {self._account.run} {self._head}",
            A4[0] - MARGIN - 21 * mm,
            FOOT - 26 * mm,
            21 * mm,
        )


def _anchor_lines(found: Integrity) -> tuple[str, str]:
    """Which checkpoint vouches for the record, on every page; the rest is told by `verify`."""
    last = found.last
    if last is None:
        return (
            "Not anchored by a checkpoint.",
            "A sealed file holds the record itself: `ohmward verify FILE.pdf`.",
        )
    point = last.checkpoint
    return f"Entries 1 to {last.entries} in {point.words}, root", f"{point.root[:32]} {point.root[32:]}"


def _keys_line(found: Integrity) -> str:
    """What the record's keys begin with, for whoever was told so by another way."""
    current = found.lists.current
    if current is None:
        return ""
    return f"Keys of {current.shop}, list {current.version}. Origin {found.lists.origin}: compare it with what the shop gave you by another way than this page."
