"""A procedure as an empty form, for where no device may be used: gates in the order in which they would come."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from io import BytesIO
from typing import Any

from reportlab.lib import colors
from reportlab.lib.pagesizes import A4
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    BaseDocTemplate,
    Flowable,
    Frame,
    KeepTogether,
    PageTemplate,
    Paragraph,
    Spacer,
    Table,
    TableStyle,
)

from ohmward.account.limits import computed_lines, limit_lines
from ohmward.account.names import measures_of, names_for
from ohmward.account.pair import by_two
from ohmward.account.used import uses_others
from ohmward.account.words import gate_words, item_words
from ohmward.chart.table import Table as Chart
from ohmward.chart.usual import usual_way
from ohmward.language.expression import Value
from ohmward_printouts.fonts import REGULAR, drawable, markup, register
from ohmward_printouts.style import CAUTION, GRID, HEAD, MARGIN, SMALL, STRONG, TEXT, TITLE, WIDTH

_FOOT = 18 * mm
_BOX = "\u2610"
_SIGNALS = ("danger", "warning", "caution")
_COLUMNS = tuple(WIDTH * share for share in (0.05, 0.51, 0.31, 0.13))


@dataclass(frozen=True, slots=True)
class Form:
    """What a form is drawn from: a table, and a job sheet's snapshot where there is one."""

    chart: Chart
    job: Mapping[str, Any] | None = None
    start: Mapping[str, str] = field(default_factory=dict)

    @property
    def data(self) -> Any:  # noqa: ANN401  plain data of the table
        return self.chart.data

    @property
    def opened(self) -> dict[str, Any]:
        """The job as a run's first entry would hold it; nothing known where there is none."""
        return {"job": self.job or {"facts": {}, "circuits": {}}, "gear": {}}

    def names(self, step: Mapping[str, Any]) -> dict[str, Value]:
        """What the job says to a step's limits."""
        return names_for(self.opened, {}, step, self.data, "")


def render_blank(form: Form, digest: str) -> bytes:
    """The form's bytes; deterministic for a table and a job. `digest` is the table's, printed on each page."""
    chart = form.chart
    register()
    out = BytesIO()
    document = BaseDocTemplate(
        out,
        pagesize=A4,
        title=drawable(f"Form {chart.procedure}"),
        author="ohmward",
        invariant=1,
        initialFontName=REGULAR,
    )
    frame = Frame(
        MARGIN,
        _FOOT,
        WIDTH,
        A4[1] - MARGIN - _FOOT,
        leftPadding=0,
        rightPadding=0,
        topPadding=0,
        bottomPadding=0,
    )
    foot = f"Form of {chart.procedure} revision {chart.revision}, table {digest[:16]}"

    def draw_foot(canvas: Canvas, page: Any) -> None:  # noqa: ANN401  reportlab's document
        canvas.setFont(REGULAR, 7)
        canvas.line(MARGIN, _FOOT - 3 * mm, A4[0] - MARGIN, _FOOT - 3 * mm)
        canvas.drawString(
            MARGIN,
            _FOOT - 7 * mm,
            drawable(f"{foot}   page {page.page}   job ____________   name ____________________"),
        )

    document.addPageTemplates([PageTemplate(id="page", frames=[frame], onPage=draw_foot)])
    document.build(_story(form))
    return out.getvalue()


def _story(form: Form) -> list[Flowable]:
    data = form.data
    way = usual_way(form.chart, dict(form.start))
    seen = {asked.step for asked in way}
    others = _others(data, seen)
    labels = {n: f"{chr(65 + i // 9)}{i % 9 + 1}" for i, n in enumerate(others)}
    labels |= {asked.step: str(n) for n, asked in reversed(list(enumerate(way, 1)))}
    labels |= {e: f"end: {known['title']}" for e, known in data["ends"].items()}
    labels |= {f"fail {key}": _way_out(form, labels, key) for key in data["gates"]}
    made: list[Flowable] = [
        Paragraph(markup(str(data["title"])), TITLE),
        Paragraph(markup(str(data["purpose"])), TEXT),
        Paragraph(markup(f"Not for: {data['not_covered']}"), TEXT),
        Spacer(1, 4),
        _heading_fields(form),
        Paragraph(
            "Stop at once, hands out, power off from where you can reach it safely: whenever something is not as it is written here.",
            STRONG,
        ),
        Paragraph("In the usual order. Nothing is begun before every line above it is filled in.", HEAD),
    ]
    made += _rows(form, [(a.step, str(n), a.carried) for n, a in enumerate(way, 1)], labels)
    if others:
        made.append(Paragraph("When it goes another way", HEAD))
        made.append(
            Paragraph(
                "Hands go to conductors only with the lock on and dead read at that place; whatever was lost is done again first.",
                TEXT,
            )
        )
        made += _rows(form, [(name, labels[name], False) for name in others], labels)
    made += [
        Paragraph("Ends", HEAD),
        *(Paragraph(markup(f"{_BOX} {e['title']}"), TEXT) for e in data["ends"].values()),
    ]
    made.append(KeepTogether([Spacer(1, 6), _signatures(), Spacer(1, 4), Paragraph(markup(CAUTION), SMALL)]))
    return made


def _rows(form: Form, lines: Sequence[tuple[str, str, bool]], labels: Mapping[str, str]) -> list[Flowable]:
    """(step, number, whether it is answered as before) as rows, each gate's line above its first."""
    made: list[Flowable] = []
    owner = ""
    for name, number, as_before in lines:
        step = form.data["steps"][name]
        row = _row(form, (name, number), labels, as_before=as_before)
        opens = step["owner"] and step["owner"] != owner
        made.append(KeepTogether([_gate_line(form.data["gates"][step["owner"]]), row]) if opens else row)
        owner = step["owner"]
    return made


def _others(data: Mapping[str, Any], seen: Collection[str]) -> list[str]:
    """The steps that are not on the usual way, before each the routines of gates that only it needs."""
    steps, gates = data["steps"], data["gates"]
    shown = {steps[name]["owner"] for name in seen}
    found: list[str] = []

    def bring(keys: Iterable[str]) -> None:
        for key in keys:
            if key not in shown:
                shown.add(key)
                bring(gates[key]["asks"])
                found.extend(gates[key]["steps"])

    for name in data["order"]:
        if name not in seen and "each" not in steps[name]:
            bring(steps[name]["needs"])
            found.append(name)
    return found


_WORDS = (
    "Site, address",
    "Machine",
    "Cut power at",
    "Call",
    "Worker",
    "Supervised by",
    "Date, from - to",
    "Helper here, or who rings when",
)


def _known(job: Mapping[str, Any]) -> dict[str, str]:
    """What the job sheet fills in."""
    return {
        "Site, address": f"{job['site']}, {job['address']}",
        "Machine": str(job["equipment"]),
        "Cut power at": str(job["emergency"]["cut_power"]),
        "Call": str(job["emergency"]["call"]),
        "Worker": str(job["people"]["worker"]),
        "Supervised by": str(job["people"].get("supervisor", "")),
    }


def _heading_fields(form: Form) -> Table:
    data, job = form.data, form.job
    known = _known(job) if job else {}
    facts = {
        n: str(f.get("ask", n)) + (f" ({f['unit']})" if "unit" in f else "") for n, f in data["facts"].items()
    }
    said = {
        facts[n]: v if isinstance(v, str) else ", ".join(v)
        for n, v in form.opened["job"]["facts"].items()
        if n in facts
    }
    words = [*_WORDS, *facts.values()]
    cells = [
        [Paragraph(markup(w), TEXT), Paragraph(markup({**known, **said}.get(w, "")), TEXT)] for w in words
    ]
    half = (len(cells) + 1) // 2
    rows = [
        a + b for a, b in zip(cells[:half], cells[half:] + [["", ""]] * (2 * half - len(cells)), strict=True)
    ]
    made = Table(rows, colWidths=[WIDTH * s for s in (0.16, 0.3, 0.36, 0.18)], rowHeights=None)
    made.setStyle(GRID)
    made.setStyle(TableStyle([("BOTTOMPADDING", (0, 0), (-1, -1), 7)]))
    return made


def _gate_line(gate: Mapping[str, Any]) -> Table:
    held = {"shift": "this shift", "unlimited": "until something takes it"}.get(
        gate["holds_for"], gate["holds_for"]
    )
    text = f"Gate: {gate_words(gate)} - held for {held}"
    made = Table([[Paragraph(markup(text), STRONG)]], colWidths=[WIDTH])
    made.setStyle(
        TableStyle(
            [
                ("BACKGROUND", (0, 0), (-1, -1), colors.Color(0.88, 0.88, 0.88)),
                ("TOPPADDING", (0, 0), (-1, -1), 2),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
            ]
        )
    )
    return made


def _row(form: Form, which: tuple[str, str], labels: Mapping[str, str], *, as_before: bool) -> Table:
    name, number = which
    data = form.data
    step = data["steps"][name]
    body = [Paragraph(markup(step["prompt"]), STRONG)]
    body += [Paragraph(markup(f"{word.upper()}: {step[word]}"), TEXT) for word in _SIGNALS if word in step]
    body += [Paragraph(markup(f"- {text}"), TEXT) for text in step["do"]]
    if "each" in step:
        body.append(Paragraph(markup(_item(form, step)), SMALL))
    if step["place"]:
        body.append(Paragraph(markup(f"at: {data['places'][step['place']]['label']}"), SMALL))
    if "picture" in step:
        body.append(Paragraph(markup(f"probes: {step['picture']['words']}"), SMALL))
    body += [Paragraph(markup(text), SMALL) for text in _limits(form, step, labels)]
    answers = [Paragraph(markup(text), TEXT) for text in _answers(form, step, labels, as_before=as_before)]
    made = Table(
        [[Paragraph(number, TEXT), body, answers, Paragraph("time, initials", SMALL)]], colWidths=_COLUMNS
    )
    made.setStyle(GRID)
    return made


def _limits(form: Form, step: Mapping[str, Any], labels: Mapping[str, str]) -> list[str]:
    """The bands with the job's numbers; where the job does not say, as they are written."""
    ways = {o["name"]: o for o in step["outcomes"]}
    lines = limit_lines(step, form.names(step), as_written=True)
    return [f"judged is: {text}" for text in computed_lines(step)] + [
        line + _goes(ways[band["name"]], labels, step["owner"])
        for line, band in zip(lines, step["bands"], strict=True)
    ]


def _way_out(form: Form, labels: Mapping[str, str], key: str) -> str:
    """Where a gate's failing leads."""
    row = next((r for r in form.chart.rows if r.at == f"fail {key}"), None)
    return labels.get(row.to.partition(" ")[2], "stop") if row is not None else "stop"


def _goes(outcome: Mapping[str, Any], labels: Mapping[str, str], owner: str) -> str:
    """Where an outcome leads that does not go on to the next line."""
    then = outcome["then"]
    words = {
        "fail": labels.get(f"fail {owner}", "stop"),
        "repeat": "once more from the gate's first line",
        "held": "",
    }
    if not then or (outcome["usual"] and then not in labels):
        return ""
    return f" -> {words.get(then, labels.get(then, 'on'))}".removesuffix(" -> ")


def _item(form: Form, step: Mapping[str, Any]) -> str:
    return item_words(form.opened["job"]["facts"], step) or f"once for each of: {step['each'][0]}"


def _points(form: Form, step: Mapping[str, Any]) -> list[str]:
    """The points with the job's conductors and leads; as many empty lines where they are not known."""
    if form.job is not None or isinstance(step["between"], list):
        return [point for point, _ in measures_of(form.opened, step, form.names(step))]
    return [step["between"], "", ""]


def _by_two(step: Mapping[str, Any]) -> list[str]:
    """On paper the second person has a sheet of their own, or they only write down what they saw."""
    if not by_two(step):
        return []
    return [
        "the second person reads the same points and writes on a sheet of their own, before they see this one",
        f"laid side by side: alike, and within {step['second_within']} at every point: {_BOX} yes  {_BOX} no: both read again",
        "second person ____________",
    ]


def _answers(form: Form, step: Mapping[str, Any], labels: Mapping[str, str], *, as_before: bool) -> list[str]:
    match step["kind"]:
        case "reading":
            worked = ["worked out ________"] if "computes" in step else []
            points = _points(form, step)
            points = points[: len(points) // 2] if by_two(step) else points
            taken = [f"{p} ________ {step['unit']}" for p in points]
            with_what = [] if uses_others(step) else ["instrument ________"]
            return [*taken, *worked, *with_what, *_by_two(step)]
        case "choice":
            return [
                f"{_BOX} {o['name']}{_goes(o, labels, step['owner'])}"
                for o in step["outcomes"]
                if o["leads"] == "on"
            ] + [f"{_BOX} something else: stop"]
        case "action":
            return [f"{_BOX} done{_goes(step['outcomes'][0], labels, step['owner'])}", f"{_BOX} cannot: stop"]
        case "gear":
            return ["number ____________", *(["as before, if it suits here"] if as_before else [])]
        case "person" | "sign":
            return ["name ____________", *(["as before, if still here"] if as_before else [])]
        case _:
            return [
                f"{step.get('by', 'value')}:",
                f"__________________{_goes(step['outcomes'][0], labels, step['owner'])}",
            ]


def _signatures() -> Table:
    body = [[Paragraph(t, STRONG) for t in ("Meaning", "Name", "Date and time", "Signature")]]
    body += [[Paragraph(t, TEXT), "", "", ""] for t in ("performed", "supervised", "reviewed")]
    made = Table(body, colWidths=[WIDTH * s for s in (0.15, 0.3, 0.2, 0.35)], rowHeights=[14, 26, 26, 26])
    made.setStyle(GRID)
    return made
