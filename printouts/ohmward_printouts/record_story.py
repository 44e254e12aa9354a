"""What stands on a record's pages, in reading order: tables with everything that a supervisor asks for."""

from collections.abc import Sequence
from textwrap import shorten
from typing import Any

from reportlab.platypus import Flowable, KeepTogether, Paragraph, Spacer, Table

from ohmward.account.fold import end_label, open_matters
from ohmward.account.limits import limit_lines
from ohmward.account.lines import line_of, prompt_of, when_of
from ohmward.account.names import functions_of, names_for
from ohmward.account.state import Account
from ohmward.account.words import gate_words, item_words
from ohmward.record.entry import Entry, Kind
from ohmward.trade.quantity import with_unit
from ohmward_printouts.fonts import markup
from ohmward_printouts.record_working import gear_reasons, steps_with_slots, worked_out
from ohmward_printouts.style import CAUTION, GRID, HEAD, SMALL, STRONG, TEXT, TITLE, WIDTH, grid


def story(account: Account, keys: str = "") -> list[Flowable]:
    """Everything between head and foot, in reading order. `keys`: what is said of the list of keys."""
    job = account.opened["job"]
    people = account.opened["people"]
    made: list[Flowable] = [
        Paragraph(markup(str(account.table.data["title"])), TITLE),
        Paragraph(markup(f"Ended: {end_label(account)}"), HEAD),
        grid((), _facts(account, job, people), (22, 78)),
    ]
    made += _what_was_done(account, people)
    made.append(
        KeepTogether(
            [
                Paragraph("Signatures", HEAD),
                _signatures(account, people),
                Spacer(1, 4),
                *((Paragraph(markup(keys), SMALL), Spacer(1, 4)) if keys else ()),
                Paragraph(markup(CAUTION), SMALL),
            ]
        )
    )
    return made


def _what_was_done(account: Account, people: Any) -> list[Flowable]:  # noqa: ANN401  a snapshot
    """The tables of what was found, held, read, worked out, refused and used, and the whole course."""
    made = _section("Findings", ("Time, UTC", "Found"), _findings(account), (18, 82), "nothing was established")
    made += _section(
        "Left on the machine",
        ("Kind", "What", "Whose"),
        [(m.kind, m.label, _person(people, m.owner)) for m in open_matters(account)],
        (15, 65, 20),
        "nothing, as far as the record believes",
    )
    made += _section(
        "Gates", ("Gate", "Held from, UTC", "Until", "Lost by"), _gates(account), (48, 13, 15, 24), "none was held"
    )
    made += _section(
        "Readings",
        ("Time, UTC", "What", "Value", "With", "Limits here", "Outcome"),
        _readings(account),
        (9, 25, 20, 9, 26, 11),
        "none was taken",
    )
    made += _section(
        "Worked out",
        ("Time, UTC", "From", "In words; source", "Result"),
        worked_out(account),
        (11, 33, 40, 16),
        "nothing had to be worked out",
    )
    made += _section(
        "Refused, stopped, lost, corrected",
        ("Time, UTC", "What", "Detail"),
        _trouble(account),
        (12, 22, 66),
        "nothing",
    )
    made += _section(
        "Gear",
        ("Number", "What, used as", "Good enough because"),
        _gear(account),
        (12, 38, 50),
        "none",
    )
    made += _section(
        "Course",
        ("No.", "Time, UTC", "What", "Said or done", "By"),
        [line_of(account, e) for e in account.entries],
        (6, 12, 46, 26, 10),
        "",
    )
    return made


def _section(
    title: str, head: Sequence[str], rows: Sequence[Sequence[str]], shares: Sequence[float], nothing: str
) -> list[Flowable]:
    if rows:
        return [Paragraph(markup(title), HEAD), grid(head, rows, shares)]
    return [Paragraph(markup(title), HEAD), Paragraph(markup(nothing), TEXT)]


def _person(people: Any, number: str) -> str:  # noqa: ANN401  a snapshot
    known = people.get(number)
    return f"{known['name']} ({number})" if known else number


def _facts(account: Account, job: Any, people: Any) -> list[tuple[str, str]]:  # noqa: ANN401
    circuits = "; ".join(
        f"{n}: {c['to-ground']} to ground, {c['phase-to-phase']} between conductors, CAT {c['category']}, protected at {c['protection']}"
        for n, c in job["circuits"].items()
    )
    facts = "; ".join(f"{n}: {v if isinstance(v, str) else ', '.join(v)}" for n, v in job["facts"].items())
    supervisor = account.supervisor
    return [
        ("Record", f"{account.run}, opened {account.entries[0].time}, last entry {account.time}"),
        (
            "Procedure",
            f"{account.table.procedure} revision {account.table.revision}, table {account.table_digest[:16]}, {account.opened['proof']}",
        ),
        ("Employer", str(account.opened["shop"])),
        ("Job", f"{job['job']}: {job['complaint']}"),
        ("Where", f"{job['site']}, {job['address']}; machine {job['equipment']} ({job['kind']})"),
        ("Worker", _person(people, account.worker)),
        ("Qualified person", _person(people, supervisor) if supervisor else "nobody named, or left"),
        ("Circuits", circuits),
        ("Nameplate and data", facts),
        ("Possible", account.impossible or "every entry is a move that its table allows"),
    ]


def _findings(account: Account) -> list[tuple[str, str]]:
    found = []
    for entry in account.entries:
        known = account.steps.get(entry.step, {})
        text = next((o["finding"] for o in known.get("outcomes", ()) if o["name"] == entry.outcome), "")
        if entry.kind is Kind.ANSWERED and text:
            found.append((when_of(account, entry.time), text))
        if entry.kind is Kind.FOUND:
            found.append((when_of(account, entry.time), f"in the worker's words: {entry.said}"))
    return found


def _gates(account: Account) -> list[tuple[str, str, str, str]]:
    gates: Any = account.table.data["gates"]
    rows = []
    for span in account.spans:
        until = when_of(account, span.lost) if span.lost else "end of record"
        rows.append((gate_words(gates[span.gate]), when_of(account, span.since), until, _cause(account, span.why)))
    return rows


_DEEDS = {"begin": "begun", "correct": "corrected"}
MOST_OF_A_PROMPT = 64  # letters: the words by which somebody finds it among the entries


def _cause(account: Account, why: str) -> str:
    """What took a gate, in the step's own words."""
    word, _, step = why.partition("@")
    if word == "lapsed":
        return "time"
    name = step.partition("=")[0]
    asked = shorten(prompt_of(account, name), MOST_OF_A_PROMPT, placeholder=" …")
    return f"{_DEEDS.get(word, word)}: {asked}" if name else word


def _readings(account: Account) -> list[tuple[str, ...]]:
    rows: list[tuple[str, ...]] = []
    for entry, step, slots, opened in steps_with_slots(account):
        if step["kind"] != "reading":
            continue
        values = (
            "; ".join(_value(v.point, v.said, v.low, v.high, step["unit"]) for v in entry.values)
            or entry.said
        )
        names = names_for(opened, slots, step, account.table.data, entry.time[:10])
        late = " (not usable: a gate was lost)" if entry.trigger.startswith("answered-late") else ""
        rows.append(
            (
                when_of(account, entry.taken or entry.time),
                step["prompt"] + _item(account, step),
                values,
                ", ".join(part for part in (entry.instrument, *functions_of(step, names)) if part),
                _limits(account, opened, step, slots, entry.time[:10]),
                entry.outcome + late,
            )
        )
    return rows


def _value(point: str, said: str, low: str, high: str, unit: str) -> str:
    return f"{point}: {with_unit(said, unit)}" + (f" [{low} to {high}]" if low and low != high else "")


def _limits(account: Account, opened: Any, step: Any, slots: dict[str, str], day: str) -> str:  # noqa: ANN401
    names = names_for(opened, slots, step, account.table.data, day)
    return "; ".join(limit_lines(step, names))


def _item(account: Account, step: Any) -> str:  # noqa: ANN401
    """Which item of a list a step was for, in brackets."""
    words = item_words(account.opened["job"]["facts"], step)
    return f" ({words})" if words else ""


_TROUBLE = {
    Kind.REFUSED,
    Kind.STOPPED,
    Kind.LOST,
    Kind.INTERRUPTED,
    Kind.CORRECTED,
    Kind.FOUND,
    Kind.RELEASED,
}


def _trouble(account: Account) -> list[tuple[str, str, str]]:
    rows = []
    for entry in account.entries:
        undecided = entry.kind is Kind.ANSWERED and entry.outcome in {
            "not decided",
            "cannot",
            "something else",
        }
        if entry.kind in _TROUBLE or undecided:
            rows.append(
                (
                    when_of(account, entry.time),
                    f"{entry.kind.value}: {entry.outcome}" if undecided else entry.kind.value,
                    _detail(account, entry),
                )
            )
    return rows


def _detail(account: Account, entry: Entry) -> str:
    where = f" at: {prompt_of(account, entry.step)}" if entry.step else ""
    parts = dict.fromkeys(p for p in (entry.said, entry.note) if p)
    return ("; ".join(parts) or entry.trigger.partition("@")[0]) + where


def _gear(account: Account) -> list[tuple[str, str, str]]:
    used: dict[str, set[str]] = {}
    for entry in account.entries:
        step = account.steps.get(entry.step, {})
        if step.get("kind") == "gear" and entry.outcome == "suits":
            used.setdefault(entry.said, set()).add(step["slot"].replace("-", " "))
    gear, reasons = account.opened["gear"], gear_reasons(account)
    return [
        (number, f"{gear[number]['label']}, as {', '.join(sorted(slots))}", reasons.get(number, ""))
        for number, slots in used.items()
        if number in gear
    ]


def _signatures(account: Account, people: Any) -> Table:  # noqa: ANN401
    """Every signature by key with name, time and meaning; room for ink where there is none."""
    signed = [
        (
            line_of(account, e)[3],
            _person(people, e.actor),
            e.time.replace("T", " "),
            f"by key, over entries 1 to {e.number - 1}",
        )
        for e in account.entries
        if e.kind is Kind.SIGNED
    ]
    there = {meaning.partition(",")[0] for meaning, *_ in signed}  # a record sent back still wants its review
    open_rows = [
        ("performed", _person(people, account.worker), "", ""),
        ("supervised", _person(people, account.supervisor) if account.supervisor else "", "", ""),
        ("reviewed", "", "", ""),
    ]
    rows = [*signed, *(r for r in open_rows if r[0] not in there)]
    body = [[Paragraph(t, STRONG) for t in ("Meaning", "Name", "Date and time", "Signature")]]
    body += [[Paragraph(markup(cell), TEXT) for cell in row] for row in rows]
    heights = [14, *(None if row[3] else 30 for row in rows)]
    made = Table(body, colWidths=[WIDTH * s for s in (0.15, 0.3, 0.2, 0.35)], rowHeights=heights)
    made.setStyle(GRID)
    return made
