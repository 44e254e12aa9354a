"""The rules as files: every one has a page and a bad example, shops add and tighten, and never weaken."""

import re
import subprocess
import sys

import pytest

from ohmward.approval.inspected import months_between
from ohmward.chart.compile import compile_chart
from ohmward.chart.resolve import make_plan
from ohmward.errors import FaultyFileError
from ohmward.language.library import load_library
from ohmward.proof.obligations import obligations
from ohmward.proof.page import page_of
from ohmward.proof.routines import routine_faults
from ohmward.shop.folder import make_shop
from ohmward.shop.shipped import shipped_files
from tests.conftest import shipped, table_of
from tests.facts.shopping import DAY, approved

BASELINE = 28


def new_shop(folder):
    make_shop(folder, DAY.date())
    return folder


def run_in(shop, *words):
    command = [sys.executable, "-m", "ohmward", *words]
    return subprocess.run(command, capture_output=True, text=True, check=False, cwd=shop)


def library_with(name, text):
    return load_library(shipped_files() | {f"own/rules/{name}.yaml": text.encode()})


def rule(name, **fields):
    lines = [f"rule: {name}", "says: Something.", "basis: ['ours']", "status: ours", "remedy: Mend it."]
    return "\n".join([*lines, *(f"{k}: {v}" for k, v in fields.items())]) + "\n"


def asked(library, procedure="isolate"):
    return obligations(table_of(procedure), library.rules, frozenset(library.gates))


def test_there_are_at_least_as_many_rules_as_the_baseline_has_and_each_names_its_basis():
    rules = [s.model for s in shipped().rules.values()]
    assert len(rules) >= BASELINE
    for known in rules:
        assert known.basis
        assert known.remedy
        assert known.bad is not None or known.whenever == "work begins", known.rule
        assert known.status != "published" or any("CFR" in b or "NFPA" in b or "IEC" in b for b in known.basis), known.rule


@pytest.mark.parametrize("name", sorted(shipped().rules))
def test_every_rule_has_a_page_with_what_it_says_where_and_how_it_is_mended(name):
    known = shipped().rules[name].model
    page = page_of(known)
    assert page.startswith(name + "\n")
    for text in (known.says, known.whenever, known.remedy, *known.basis, *known.must, *known.in_order, *known.refuses):
        assert text in page
    assert (known.bad is None) or f"broken by this edit of {known.bad.file}" in page


def test_check_explains_a_rule_and_says_what_is_near_when_there_is_none(tmp_path):
    shown = run_in(tmp_path, "check", "--explain", "hands-need-dead")
    assert shown.returncode == 0
    assert "read dead at that place" in shown.stdout
    wrong = run_in(tmp_path, "check", "--explain", "hands-need-deed")
    assert wrong.returncode != 0
    assert "hands-need-dead" in wrong.stderr


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"whenever": "closing device"}, "'closing device' is not something that a rule can watch"),
        ({"whenever": "hands on circuit, fit leads"}, "'fit leads' is not something that a rule can watch"),
        ({"whenever": "gate verified-deed"}, "there is no gate 'verified-deed'"),
        ({"whenever": "hands on circuit", "must": "[source is off]"}, "'source is off' is not something that a rule can demand"),
        ({"whenever": "hands on circuit", "must": "[source is held off or it is dark]"}, "'it is dark' is not something that a rule can demand"),
        ({"whenever": "work begins", "must": "[inspected within 13 months by another person]"}, "cannot be asked before work begins|can be asked before work begins"),
        ({"whenever": "work begins", "must": "[source is held off]"}, "can be asked before work begins"),
        ({"whenever": "work begins", "must": "[its scope ends at 0 V to ground]"}, "can be asked before work begins"),
        ({"whenever": "every step", "counts_from": {"x": ["1 Mohm +"]}}, "a value is expected before the end"),
        ({"whenever": "gate verified-dead", "suits": ["gear.voltage >"]}, "a value is expected before the end"),
        ({"whenever": "every step", "only_where": {"x": "y <"}}, "a value is expected before the end"),
        ({"whenever": "gate verified-dead", "read_by_two": {"x": "1 V V"}}, "'V' is not expected here"),
        ({"whenever": "every step", "told_apart": ["cover up"]}, "'cover up' is not an effect"),
        ({"whenever": "its own steps", "on_the_way": [{"after": ["uncover"], "to": ["the end"], "passes": ["x"]}]}, "'the end' is nothing that a way leads to"),
        ({"whenever": "its own steps", "on_the_way": [{"after": ["uncover"], "to": ["cover"], "passes": ["x"]}]}, "'cover' is nothing that a way leads to"),
        ({"whenever": "its own steps", "on_the_way": [{"after": ["uncover"], "to": ["gate verified-deed"], "passes": ["x"]}]}, "there is no gate 'verified-deed'"),
    ],
)
def test_a_rule_whose_words_are_not_known_is_refused_with_what_would_do(fields, says):
    with pytest.raises(FaultyFileError) as refused:
        asked(library_with("own", rule("own", **fields)))
    found = [d for d in refused.value.diagnostics if re.search(says, d.problem)]
    assert found
    assert found[0].remedy


@pytest.mark.parametrize(
    ("fields", "word", "says"),
    [
        ({"whenever": "close device", "where": "it drives a part", "must": ["no unanswered trip in series"]}, "where", "close device"),
        ({"whenever": "hands on circuit", "where": "a disconnect or plug starts a part", "must": "[source is held off]"}, "where", "hands on circuit"),
        ({"whenever": "hands on circuit", "where": "the store can return", "must": "[source is held off]"}, "where", "hands on circuit"),
        ({"whenever": "hands on circuit, work begins", "unless": "tier low", "must": "[inspected within 1 months by another person]"}, "unless", "work begins"),
        ({"whenever": "hands on circuit", "in_order": ["call off"], "since": "held off"}, "since", "hands on circuit"),
        ({"whenever": "close device", "since": "held off", "must": ["no unanswered trip in series"]}, "since", "there are none"),
        ({"whenever": "end in service", "in_order": ["call off"]}, "in_order", "end in service"),
        ({"whenever": "hands on circuit", "refuses": ["x"]}, "refuses", "hands on circuit"),
        ({"whenever": "place", "lost_by": ["left site"]}, "lost_by", "place"),
        ({"whenever": "close device", "must_contain": ["x"]}, "must_contain", "close device"),
        ({"whenever": "close device", "never": ["trip"]}, "never", "close device"),
        ({"whenever": "close device", "suits": ["gear.in-date"]}, "suits", "close device"),
        ({"whenever": "close device", "reads_between": {"x": ["a"]}}, "reads_between", "close device"),
        ({"whenever": "close device", "bounds": {"x": {"held": "at most 3 V"}}}, "bounds", "close device"),
    ],
)
def test_a_field_that_says_nothing_with_what_is_watched_is_a_fault(fields, word, says):
    with pytest.raises(FaultyFileError) as caught:
        asked(library_with("mine", rule("mine", **fields)))
    fault = next(d for d in caught.value.diagnostics if d.code == "says-nothing")
    assert (fault.code, f"`{word}:`" in fault.problem, says in fault.problem) == ("says-nothing", True, True)


def broken_by(library, procedure, name):
    table = compile_chart(make_plan(library, procedure))
    return [words for rule_, _, words in routine_faults(table, library.rules) if rule_ == name]


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"whenever": "gate locked-out", "lost_by": "[supervisor left]"}, "'supervisor left' does not lose it"),
        ({"whenever": "gate locked-out", "refuses": "[it is dark]"}, "nobody can answer 'it is dark'"),
        ({"whenever": "gate locked-out", "refuses": "[nothing moved]"}, "'nothing moved' does not keep it from being held"),
        ({"whenever": "gate verified-dead", "reads_between": "{absence of voltage: [line to line]}"}, "is not read between line to line"),
        ({"whenever": "gate meter-rated", "suits": "[gear.voltage >= 2 * it.to-ground]"}, "it does not ask that gear.voltage >= 2 * it.to-ground"),
        ({"whenever": "gate locked-out", "never": "[hold off]"}, "held after 'hold off'"),
    ],
)
def test_a_rule_over_a_routine_says_what_the_routine_lacks(fields, says):
    library = library_with("own", rule("own", **fields))
    assert any(says in words for words in broken_by(library, "isolate", "own")), broken_by(library, "isolate", "own")


def test_a_rule_over_gear_is_met_by_a_stricter_condition():
    looser = library_with("own", rule("own", whenever="gate meter-rated", suits="[gear.voltage >= it.to-ground]"))
    assert broken_by(looser, "isolate", "own") == []


@pytest.mark.parametrize("where", ["rules/hands-need-dead.yaml", "rules/own.yaml"])
def test_a_shop_rule_never_takes_the_place_of_a_shipped_one(tmp_path, where):
    """Tried in a shop's folder: a weaker rule under a shipped id, in a file of that name or of another."""
    shop = new_shop(tmp_path)
    path = shop / "procedures" / where
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(rule("hands-need-dead", whenever="hands on circuit", must="[qualified(source) held]"))
    tried = run_in(shop, "check", "isolate")
    assert tried.returncode != 0
    assert "hands-need-dead" in tried.stderr
    assert "proved" not in tried.stdout


def test_a_shop_tightens_the_yearly_inspection_and_cannot_stretch_it():
    shipped_rules = {n.rpartition("/")[2].removesuffix(".yaml"): d for n, d in shipped_files().items() if n.startswith("rules/")}
    assert months_between(shipped_rules) == 12
    often = rule("often", whenever="work begins", must="[inspected within 6 months by another person]").encode()
    assert months_between(shipped_rules | {"often": often}) == 6
    assert months_between({}) == 12


def test_due_counts_from_the_shops_own_inspection_rule(tmp_path):
    shop = new_shop(tmp_path)
    approved(shop, "isolate")
    path = shop / "procedures" / "rules" / "often.yaml"
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(rule("often", whenever="work begins", must="[inspected within 1 months by another person]"))
    shown = run_in(shop, "due", "--within", "40")
    assert "yearly inspection ends 2026-12-20" in shown.stdout  # agreed to on 2026-11-20
