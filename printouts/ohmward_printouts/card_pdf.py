"""One page for the door of the panel: where the power goes off, whom to call, what feeds the machine, what stands open."""

from collections.abc import Mapping, Sequence
from io import BytesIO
from typing import Any

from reportlab.lib import colors
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable, Frame, KeepInFrame, Paragraph, Spacer, Table, TableStyle

from ohmward_printouts.fonts import BOLD, REGULAR, drawable, markup, register
from ohmward_printouts.style import CAUTION, HEAD, MARGIN, SMALL, TEXT, TITLE, WIDTH, grid

_BIG = ParagraphStyle("big", fontName=BOLD, fontSize=15, leading=19)
_RED = colors.Color(0.76, 0.07, 0.12)
_WHITE = ParagraphStyle("white", parent=_BIG, textColor=colors.white)


def render_card(
    job: Mapping[str, Any],
    people: Mapping[str, Any],
    left: Sequence[tuple[str, str, str]],
    day: str,
) -> bytes:
    """One page, whatever it holds: what does not fit is drawn smaller. `left` is (kind, what, whose)."""
    register()
    out = BytesIO()
    canvas = Canvas(out, pagesize=A4, invariant=1, initialFontName=REGULAR)
    canvas.setTitle(drawable(f"Card for {job['equipment']}"))
    frame = Frame(
        MARGIN,
        MARGIN,
        WIDTH,
        A4[1] - 2 * MARGIN,
        leftPadding=0,
        rightPadding=0,
        topPadding=0,
        bottomPadding=0,
    )
    frame.addFromList(
        [KeepInFrame(WIDTH, A4[1] - 2 * MARGIN, _story(job, people, left, day), mode="shrink")], canvas
    )
    canvas.showPage()
    canvas.save()
    return out.getvalue()


_BEFORE = (
    "Find every supply, controls included. Tell the people.",
    "Open, your own lock and tag on, key with you. Try it. Control back to off.",
    "Meter rated for this place and looked over; shown on a known source before and after; dead read where the hands go.",
    "A trip is a question: nothing is closed again before its cause is known.",
    "Covers, guards and tools back before anyone takes a lock off - the own one only.",
)


def _urgent(job: Mapping[str, Any]) -> Table:
    """What saves, first and large."""
    urgent = Table(
        [
            [
                Paragraph("DANGER", _WHITE),
                Paragraph("Somebody hangs on it: do not touch them until the power is off.", _WHITE),
            ],
            [Paragraph("cut power", _BIG), Paragraph(markup(job["emergency"]["cut_power"]), _BIG)],
            [Paragraph("call", _BIG), Paragraph(markup(job["emergency"]["call"]), _BIG)],
            [Paragraph("address", _BIG), Paragraph(markup(f"{job['site']}, {job['address']}"), _BIG)],
        ],
        colWidths=[WIDTH * 0.24, WIDTH * 0.76],
    )
    urgent.setStyle(
        TableStyle(
            [
                ("BACKGROUND", (0, 0), (-1, 0), _RED),
                ("BOX", (0, 0), (-1, -1), 1.5, colors.black),
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("TOPPADDING", (0, 0), (-1, -1), 4),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 6),
            ]
        )
    )
    return urgent


def _story(
    job: Mapping[str, Any], people: Mapping[str, Any], left: Sequence[tuple[str, str, str]], day: str
) -> list[Flowable]:
    circuits = [
        (
            n,
            c["to-ground"],
            c["phase-to-phase"],
            f"CAT {'I' * int(c['category']) if int(c['category']) < 4 else 'IV'}",
            c["protection"],
            ", ".join(c["conductors"]),
        )
        for n, c in job["circuits"].items()
    ]
    able = [
        (i, p["name"], p["until"] or "no end given") for i, p in people.items() if p["qualified"] == "true"
    ]
    return [
        _urgent(job),
        Spacer(1, 5 * mm),
        Paragraph(markup(f"{job['equipment']} - {job['site']}"), TITLE),
        Paragraph(
            markup(f"As the job sheet {job['job']} says it, {day}. When it no longer fits, print it again."),
            TEXT,
        ),
        Paragraph("What feeds it", HEAD),
        grid(
            ("Circuit", "To ground", "Between", "Place", "Protection", "Conductors"),
            circuits,
            (20, 14, 14, 12, 14, 26),
        ),
        Paragraph("What stands open here", HEAD),
        grid(
            ("Kind", "What", "Whose"),
            left or [("-", "nothing, as far as the records know", "")],
            (18, 60, 22),
        ),
        Paragraph("Qualified for it", HEAD),
        grid(
            ("Id", "Name", "Training counts until"), able or [("-", "nobody in the roster", "")], (15, 55, 30)
        ),
        Paragraph("Before a hand goes in", HEAD),
        *(Paragraph(markup(f"{n}. {text}"), TEXT) for n, text in enumerate(_BEFORE, 1)),
        Spacer(1, 4 * mm),
        Paragraph(markup(CAUTION), SMALL),
    ]
