"""Rules over steps as they are written: by which answers they have an effect, which answers end the work, what answers tell."""

import re
from collections.abc import Iterator, Sequence
from typing import Any

from ohmward.chart.plan import Leads
from ohmward.chart.table import Table
from ohmward.language.effects import UPSTREAM
from ohmward.language.lists import TRIPPING
from ohmward.language.models import Rule
from ohmward.proof.after_answer import Way, Work, way_after, with_asked
from ohmward.proof.demands import EVERY, OUTSIDE, OWN, WORK_BEGINS
from ohmward.proof.gate_rules import has_effect, only_by, only_where
from ohmward.proof.on_the_way import unpassed
from ohmward.proof.reading_rules import reading_faults
from ohmward.proof.scope_rules import scope_faults

GOES_ON = "goes on"
TRIP = "trip"
ABOVE = (UPSTREAM, "main", "feeder", "service")  # words for what is upstream of all that is declared


def own_faults(table: Table, rule: Rule) -> Iterator[tuple[str, str]]:
    """(step, what is wrong) for each step that breaks a rule over steps as they are written; one of a gate once."""
    data: Any = table.data
    seen: set[tuple[str, str]] = set()
    nowhere = rule.model_copy(update={"only_by": dict.fromkeys(rule.only_by, ())})  # in a gate of a shop's own
    for name in _watched(data, rule):
        step = data["steps"][name]
        effects = only_by(table, name, nowhere if step["owner"] else rule)
        written = (*only_where(table, name, rule), *reading_faults(table, name, rule))
        asked = (*_needed(data, step, rule), *_means(step, rule), *_offered(step, rule), *_counts(table, name, rule), *_apart(step, rule))
        for story in (*effects, *written, *asked, *_answers(table, name, rule)):
            where = (f"{step['file']}:{step['line']}" if step["owner"] else name, story)
            if where not in seen:
                seen.add(where)
                yield name, story
    if OWN in rule.situations:
        yield from unpassed(table, rule)
    if WORK_BEGINS in rule.situations:
        yield from ((data["order"][0], story) for story in scope_faults(table, rule))


def _watched(data: Any, rule: Rule) -> Iterator[str]:  # noqa: ANN401  plain data
    """Steps of the procedure; of every gate as well; or of every gate but one. Several situations add up."""
    for name, step in data["steps"].items():
        gate = data["gates"][step["owner"]]["gate"] if step["owner"] else ""
        for situation in rule.situations:
            but = situation.removeprefix(OUTSIDE)
            if situation == EVERY or (situation == OWN and not gate) or (but not in {situation, gate}):
                yield name
                break


def _needed(data: Any, step: Any, rule: Rule) -> Iterator[str]:  # noqa: ANN401  plain data
    """`needs`: gates, by name, that a step with some evidence does not need."""
    wanted = rule.needs.get(step["evidence"], ())
    needs = {data["gates"][key]["gate"] for key in with_asked(data, step["needs"])} if wanted else set()
    for gate in wanted:
        if gate not in needs:
            yield f"'{step['prompt']}' does not need '{gate}'"


def _means(step: Any, rule: Rule) -> Iterator[str]:  # noqa: ANN401
    """`means`: effects that a step with some evidence does not have."""
    for effect in rule.means.get(step["evidence"], ()):
        if not has_effect([*step["begun"], *step["confirmed"]], effect):
            yield f"'{step['prompt']}' does not say '{effect}' in its changes"


def _offered(step: Any, rule: Rule) -> Iterator[str]:  # noqa: ANN401
    """`offers`: answers that nobody can give to a question with some evidence; an effect stands for any answer that has it."""
    given = {o["name"] for o in step["outcomes"]} | {e.partition(" ")[0] for o in step["outcomes"] for e in o["effects"]}
    for answer in rule.offers.get(step["evidence"], ()):
        if answer not in given:
            yield f"nobody can answer '{answer}' to '{step['prompt']}'"


def _counts(table: Table, name: str, rule: Rule) -> Iterator[str]:
    """`told_by`: an answer that counts as some evidence and is none of those that may."""
    data: Any = table.data
    step = data["steps"][name]
    answers = rule.told_by.get(step["evidence"])
    if answers is None or step["kind"] != "choice":
        return
    known = {*answers, *(o["name"] for o in step["outcomes"] if o.get("work") == GOES_ON)}  # which approvers read
    for row in table.rows:
        told = row.trigger.removeprefix(f"answered@{name}=")
        if told != row.trigger and step["evidence"] in row.marks and told not in known:
            yield f"'{told}' to '{step['prompt']}' counts as '{step['evidence']}'; only these do: {'; '.join(answers)}"


def _apart(step: Any, rule: Rule) -> Iterator[str]:  # noqa: ANN401
    """`told_apart`, `denied_by`: an effect that a question has whatever is answered, or with an answer that says it is not so."""
    told = [o for o in step["outcomes"] if o["leads"] == Leads.ON.value]
    for word in rule.told_apart if step["kind"] == "choice" else ():
        having = [{e for e in (*step["confirmed"], *o["effects"]) if has_effect([e], word)} for o in told]
        for effect in sorted(set.intersection(*having) if having else ()):
            yield f"'{step['prompt']}' counts as '{effect}' whatever is answered"
    for word, denials in rule.denied_by.items():
        for outcome in told:
            spoken = sounds_like(denials, outcome["name"])
            if spoken and has_effect(outcome["effects"], word):
                yield f"'{outcome['name']}' to '{step['prompt']}' speaks of '{spoken}' and counts as '{word}'"


def _answers(table: Table, name: str, rule: Rule) -> Iterator[str]:
    data: Any = table.data
    step = data["steps"][name]
    for outcome in step["outcomes"]:
        if outcome["leads"] == Leads.ON.value:
            said = f"'{outcome['name']}' to '{step['prompt']}'"
            yield from (f"{said} {wrong}" for wrong in _ended(table, Way(name, outcome), rule))
            yield from (f"{said} {wrong}" for wrong in _told(data, outcome, rule))


# -- what ends the work ----------------------------------------------------------------------------------


def _ended(table: Table, way: Way, rule: Rule) -> Iterator[str]:
    """An answer that ends the work, or after which all stays off, and goes on all the same."""
    data: Any = table.data
    step, name = data["steps"][way.step], way.outcome["name"]
    said = way.outcome.get("work")
    own_check = bool(step["owner"]) and "touches" in step  # what a gate reads of an instrument itself
    if rule.stops and (said == Work.ENDS or (name in rule.stops and not own_check)):
        yield from way_after(table, way, Work.ENDS, again=False)
    elif rule.stays_off and (said == Work.STAYS_OFF or (name in rule.stays_off and not own_check)):
        yield from way_after(table, way, Work.STAYS_OFF, again=False)
    elif said is None and not own_check:
        word = sounds_like(rule.stops_by, name)
        for wrong in way_after(table, way, Work.ENDS, again=True) if word else ():
            yield f"speaks of '{word}', {wrong}, and does not say what becomes of the work"


def sounds_like(words: Sequence[str], answer: str) -> str:
    """The first of some words that an answer speaks of, `burn-` for all that begin so; '' for none, and for one denied right before it."""
    for word in words:
        end = "" if word.endswith("-") else r"(?![\w-])"
        pattern = rf"(?<![\w-]){re.escape(word.removesuffix('-'))}{end}"
        if any(not re.search(r"\b(no|not|nothing|never) $", answer[: m.start()]) for m in re.finditer(pattern, answer)):
            return word
    return ""


# -- what is told ----------------------------------------------------------------------------------------


def _told(data: Any, outcome: Any, rule: Rule) -> Iterator[str]:  # noqa: ANN401  plain data
    """An answer that tells something and does not have its effect, on what it speaks of."""
    for effect, answers in rule.tells.items():
        if outcome["name"] in answers and not has_effect(outcome["effects"], effect):
            yield f"does not count as '{effect}'"
    for effect, words in rule.tells_by.items():
        word = sounds_like(words, outcome["name"])
        silent = outcome.get("work") == GOES_ON or has_effect(outcome["effects"], effect)
        if word and not silent:
            yield f"speaks of '{word}' and does not count as '{effect}'"
    if TRIP in {*rule.tells, *rule.tells_by}:
        yield from _of_another_device(data, outcome)


def _of_another_device(data: Any, outcome: Any) -> Iterator[str]:  # noqa: ANN401
    """A trip of what cannot trip here; one of what is upstream that does not speak of it, or the other way round."""
    upstream = bool(sounds_like(ABOVE, outcome["name"]))
    here = {d for path in data["path"].values() for d in path if data["devices"][d]["kind"] in TRIPPING}
    for effect in outcome["effects"]:
        verb, _, device = effect.partition(" ")
        if verb == TRIP and device == UPSTREAM and here and not upstream:
            can = ", ".join(sorted(data["devices"][d]["label"] for d in here))
            yield f"counts as '{effect}' and does not speak of what is {UPSTREAM}; here can trip: {can}"
        elif verb == TRIP and device not in {*here, UPSTREAM}:
            yield f"counts as '{effect}', which can trip no circuit here"
        elif verb in {TRIP, "answer"} and device != UPSTREAM and UPSTREAM in outcome["name"] and upstream:
            yield f"speaks of what is {UPSTREAM} and counts as '{effect}'"
