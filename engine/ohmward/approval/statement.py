"""What people agree to when they approve a table: verdict, claim, what is declared, where people are exposed."""

from collections.abc import Iterable, Iterator, Mapping
from hashlib import sha256
from typing import Any

from ohmward.approval.approval import Approval
from ohmward.chart.document import canonical_bytes
from ohmward.chart.table import Table
from ohmward.proof.verdict import CLAIM

DOMAIN = b"\x03"


def statement_of(table: Table, verdict: Approval) -> dict[str, Any]:
    """Plain data; the same table under the same rules gives the same statement, read back from a file or not."""
    data: Any = table.data
    steps = [data["steps"][name] for name in data["order"]]
    return {
        "table": verdict.table,
        "procedure": table.procedure,
        "revision": table.revision,
        "title": data["title"],
        "not covered": data["not_covered"],
        "scope": [f"{r['require']} - otherwise: {r['otherwise']}" for r in data["scope"]],
        "positions": verdict.positions,
        "rules": verdict.rules,
        "claim": CLAIM,
        "devices": [d["label"] for _, d in sorted(data["devices"].items())],
        "sources": [_source(s) for _, s in sorted(data["sources"].items())],
        "places": [_place(p, data["sources"]) for _, p in sorted(data["places"].items())],
        "exposures": [_exposure(s, data["sources"]) for s in steps if s["heavy"]],
        "taken as harmless": sorted(set(_harmless(data["steps"].values()))),
    }


def digest_of_statement(statement: Mapping[str, Any]) -> str:
    """SHA-256 over the domain byte and the canonical bytes."""
    return sha256(DOMAIN + canonical_bytes(statement)).hexdigest()


def _source(source: Mapping[str, Any]) -> str:
    return f"{source['label']} ({source['kind']}{', ' + source['limited'] if 'limited' in source else ''})"


def _place(place: Mapping[str, Any], sources: Mapping[str, Any]) -> str:
    return f"{place['label']}: {', '.join(sources[s]['label'] for s in place['holds'])}"


def _harmless(steps: Iterable[Mapping[str, Any]]) -> Iterator[str]:
    """What nobody but people can know to be true: readings that touch nothing, answers that only sound like trouble."""
    for step in steps:
        if "touches" in step:
            yield f"{step['prompt']} - touches {step['touches']}"
        for outcome in step["outcomes"]:
            if outcome.get("work") == "goes on":
                yield f"'{outcome['name']}' to '{step['prompt']}' - the work goes on"


def _exposure(step: Mapping[str, Any], sources: Mapping[str, Any]) -> str:
    said = {how: ", ".join(sources[s]["label"] for s in step[how]) for how in ("hands", "probes", "near")}
    parts = [f"{how} on {said[how]}" for how in ("hands", "probes") if step[how]]
    parts += [f"near {said['near']}"] if step["near"] else []
    parts += step["begun"]
    return f"{step['prompt']} - {'; '.join(parts)}; needs {', '.join(step['needs']) or 'nothing'}"


def lines_of(statement: Mapping[str, Any]) -> list[str]:
    """The statement for people to read."""
    made = [
        f"{statement['procedure']} revision {statement['revision']}: {statement['title']}",
        f"proved: {statement['positions']} positions, rules {statement['rules'][:12]}, table {statement['table'][:12]}",
        f"not covered: {statement['not covered']}",
    ]
    for word in ("scope", "devices", "sources", "places", "exposures", "taken as harmless"):
        made.append(f"{word}:")
        made += [f"  {item}" for item in statement[word]]
    return [*made, f"what the proof says: {statement['claim']}"]
