"""Rules over steps as they are written: by which answers they have an effect, which answers end the work, what answers tell."""

import re
from collections.abc import Iterator, Sequence
from typing import Any

from ohmward.chart.plan import Leads
from ohmward.chart.table import Table
from ohmward.language.effects import UPSTREAM
from ohmward.language.lists import TRIPPING
from ohmward.language.models import Rule
from ohmward.proof.after_answer import Way, Work, way_after
from ohmward.proof.demands import EVERY, OUTSIDE, OWN
from ohmward.proof.gate_rules import has_effect, only_by, only_where

GOES_ON = "goes on"


def own_faults(table: Table, rule: Rule) -> Iterator[tuple[str, str]]:
    """(step, what is wrong) for each step that breaks a rule over steps as they are written; one of a gate once."""
    data: Any = table.data
    seen: set[tuple[str, str]] = set()
    for name in _watched(data, rule):
        step = data["steps"][name]
        for story in (*only_by(table, name, rule), *only_where(table, name, rule), *_answers(data, name, rule)):
            where = (f"{step['file']}:{step['line']}" if step["owner"] else name, story)
            if where not in seen:
                seen.add(where)
                yield name, story


def _watched(data: Any, rule: Rule) -> list[str]:  # noqa: ANN401  plain data
    """Steps of the procedure; of every gate as well; or of every gate but one."""
    if not {OWN, EVERY}.intersection(rule.situations) and not any(
        s.startswith(OUTSIDE) for s in rule.situations
    ):
        return []
    names = {s.removeprefix(OUTSIDE) for s in rule.situations if s.startswith(OUTSIDE)}
    return [
        name
        for name, step in data["steps"].items()
        if not step["owner"]
        or (OWN not in rule.situations and data["gates"][step["owner"]]["gate"] not in names)
    ]


def _answers(data: Any, name: str, rule: Rule) -> Iterator[str]:  # noqa: ANN401
    step = data["steps"][name]
    for outcome in step["outcomes"]:
        if outcome["leads"] == Leads.ON.value:
            said = f"'{outcome['name']}' to '{step['prompt']}'"
            yield from (f"{said} {wrong}" for wrong in _ended(data, name, outcome, rule))
            yield from (f"{said} {wrong}" for wrong in _told(data, outcome, rule))


# -- what ends the work ----------------------------------------------------------------------------------


def _ended(data: Any, name: str, outcome: Any, rule: Rule) -> Iterator[str]:  # noqa: ANN401
    """An answer that ends the work, or after which all stays off, and goes on all the same."""
    said = outcome.get("work")
    loose = data["steps"][name].get("touches") is not None  # a tester's own check says nothing of the machine
    if rule.stops and (said == Work.ENDS or (outcome["name"] in rule.stops and not loose)):
        yield from way_after(data, Way(name, outcome), Work.ENDS)
    elif rule.stays_off and (said == Work.STAYS_OFF or (outcome["name"] in rule.stays_off and not loose)):
        yield from way_after(data, Way(name, outcome), Work.STAYS_OFF)
    elif said is None and not loose and outcome["name"] not in rule.stays_off:
        word = _sounds(rule.stops_by, outcome["name"])
        for wrong in way_after(data, Way(name, outcome), Work.ENDS) if word else ():
            yield f"speaks of '{word}', {wrong}, and does not say what becomes of the work"


def _sounds(words: Sequence[str], answer: str) -> str:
    """The first of some beginnings of words with which a word of an answer begins; '' for none."""
    return next((w for w in words if re.search(rf"\b{re.escape(w)}", answer)), "")


# -- what is told ----------------------------------------------------------------------------------------


def _told(data: Any, outcome: Any, rule: Rule) -> Iterator[str]:  # noqa: ANN401
    """An answer that tells something and does not have its effect, on what it speaks of."""
    for effect, answers in rule.tells.items():
        if outcome["name"] in answers and not has_effect(outcome["effects"], effect):
            yield f"does not count as '{effect}'"
    for effect, words in rule.tells_by.items():
        word = _sounds(words, outcome["name"])
        silent = outcome.get("work") == GOES_ON or has_effect(outcome["effects"], effect)
        if word and not silent:
            yield f"speaks of '{word}' and does not count as '{effect}'"
    if rule.tells:
        yield from _of_another_device(data, outcome)


def _of_another_device(data: Any, outcome: Any) -> Iterator[str]:  # noqa: ANN401
    """A trip of what is upstream that does not speak of it, where something declared can trip; or the other way round."""
    if f"trip {UPSTREAM}" in outcome["effects"]:
        own = [d["label"] for d in data["devices"].values() if d["kind"] in TRIPPING]
        if own and UPSTREAM not in outcome["name"]:
            yield f"counts as 'trip {UPSTREAM}' and does not speak of what is upstream; here can trip: {', '.join(own)}"
    elif has_effect(outcome["effects"], "trip") and UPSTREAM in outcome["name"]:
        yield f"speaks of what is {UPSTREAM} and does not count as 'trip {UPSTREAM}'"
