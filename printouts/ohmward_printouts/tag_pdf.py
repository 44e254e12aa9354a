"""The tag for a lock: what must not be done, to what, by whose order, since when. One leaf a lock.

Source of the legend: 29 CFR 1910.147(c)(5)(iii), "Do Not Start. Do Not Open. Do Not Close. Do Not Energize. Do Not
Operate." (from memory); of what it names: (c)(5)(ii)(D), the person who put it on. Signal word and colour: ANSI Z535.
"""

from io import BytesIO

from reportlab.lib import colors
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Paragraph

from ohmward.account.fold import open_matters
from ohmward.account.state import Account, Matter
from ohmward_printouts.fonts import BOLD, REGULAR, drawable, markup, register
from ohmward_printouts.qr import draw_qr
from ohmward_printouts.style import SMALL, STRONG, TEXT

LEAF = (100 * mm, 170 * mm)
_EDGE = 6 * mm
LEGEND = ("DO NOT OPERATE", "DO NOT CLOSE", "DO NOT ENERGIZE")
_RED = colors.Color(0.76, 0.07, 0.12)


def locks_of(account: Account) -> tuple[Matter, ...]:
    """The locks that are on as the record believes."""
    return tuple(m for m in open_matters(account) if m.kind == "lock")


def render_tags(account: Account, head: str) -> bytes:
    """A leaf for each lock that is on; deterministic for a record. Raises ValueError when none is on."""
    locks = locks_of(account)
    if not locks:
        raise ValueError("no lock is on")
    register()
    out = BytesIO()
    canvas = Canvas(out, pagesize=LEAF, invariant=1, initialFontName=REGULAR)
    canvas.setTitle(drawable(f"Lock tags of {account.run}"))
    for lock in locks:
        _leaf(canvas, account, lock, head)
        canvas.showPage()
    canvas.save()
    return out.getvalue()


def _leaf(canvas: Canvas, account: Account, lock: Matter, head: str) -> None:
    width, height = LEAF
    canvas.setLineWidth(1.2)
    canvas.roundRect(3 * mm, 3 * mm, width - 6 * mm, height - 6 * mm, 4 * mm)
    canvas.circle(width / 2, height - 11 * mm, 3.2 * mm)
    canvas.setFont(REGULAR, 6)
    canvas.drawCentredString(
        width / 2, height - 17.5 * mm, "hang it here, with a tie that one cannot undo by hand"
    )
    top = height - 21 * mm
    canvas.setFillColor(_RED)
    canvas.rect(_EDGE, top - 16 * mm, width - 2 * _EDGE, 16 * mm, stroke=0, fill=1)
    canvas.setFillColor(colors.white)
    canvas.setFont(BOLD, 30)
    canvas.drawCentredString(width / 2, top - 12 * mm, "DANGER")
    canvas.setFillColor(colors.black)
    canvas.setFont(BOLD, 19)
    for number, line in enumerate(LEGEND):
        canvas.drawCentredString(width / 2, top - (25 + 8 * number) * mm, line)
    _words(canvas, account, lock, top - 46 * mm)
    draw_qr(canvas, f"OHMWARD1 {account.run} {head}", width - _EDGE - 20 * mm, 9 * mm, 19 * mm)
    _foot(canvas, rehearsal=account.rehearsal)


def _foot(canvas: Canvas, *, rehearsal: bool) -> None:
    wide = LEAF[0] - 2 * _EDGE - 23 * mm
    canvas.setFont(REGULAR, 8)
    for number, word in enumerate(("Needed until", "Signature")):
        y = (41 - 8 * number) * mm
        canvas.drawString(_EDGE + 1 * mm, y, word)
        canvas.line(_EDGE + 22 * mm, y - 1 * mm, LEAF[0] - _EDGE - 1 * mm, y - 1 * mm)
    text = Paragraph(
        markup(
            "Only the person named here takes this lock and tag off. A tag warns and holds nothing: where no lock fits, "
            "a second measure stands beside it."
        ),
        SMALL,
    )
    _, tall = text.wrap(wide, 30 * mm)
    text.drawOn(canvas, _EDGE + 1 * mm, 28 * mm - tall)
    if rehearsal:
        canvas.setFont(BOLD, 9)
        canvas.drawString(_EDGE + 1 * mm, 8 * mm, "REHEARSAL - does not count")


def _words(canvas: Canvas, account: Account, lock: Matter, y: float) -> None:
    job = account.opened["job"]
    person = account.opened["people"].get(lock.owner, {"name": lock.owner})
    rows = (
        ("Held off", lock.label),
        ("Machine", f"{job['equipment']}, {job['site']}, {job['address']}"),
        ("Put on by", f"{person['name']} ({lock.owner})"),
        ("Since", _since(account, lock)),
        ("Because of", f"{account.table.data['title']} - {job['complaint']}"),
        ("Job, run", f"{job['job']}, {account.run}"),
        ("Call first", job["emergency"]["call"]),
    )
    for word, text in rows:
        y = _line(canvas, word, text, y)


def _line(canvas: Canvas, word: str, text: str, y: float) -> float:
    label, body = Paragraph(markup(word), STRONG), Paragraph(markup(text), TEXT)
    label.wrap(20 * mm, 10 * mm)
    _, tall = body.wrap(LEAF[0] - 2 * _EDGE - 22 * mm, 30 * mm)
    label.drawOn(canvas, _EDGE + 1 * mm, y - 10.2)
    body.drawOn(canvas, _EDGE + 21 * mm, y - tall)
    return y - max(float(tall), 10.2) - 3


def _since(account: Account, lock: Matter) -> str:
    """When its owner put it on in this run, as the record claims."""
    marks = {f"hold off {lock.name}"}
    for entry in account.entries[::-1]:
        step = account.steps.get(entry.step, {})
        effects = [*step.get("confirmed", ())]
        effects += [e for o in step.get("outcomes", ()) if o["name"] == entry.outcome for e in o["effects"]]
        if entry.actor == lock.owner and (
            marks & set(effects) or entry.trigger.startswith(f"answered@safe.device.{lock.name}=done")
        ):
            return entry.time.replace("T", " ").replace("Z", " UTC")
    return f"before {account.opened_at.replace('T', ' ').replace('Z', ' UTC')}"
