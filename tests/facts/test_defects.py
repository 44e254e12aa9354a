"""Defects planted into shipped files: killed wherever a rule names what was changed; a bare change of form is seen as one."""

import pytest

from tests.defects import KILLED, SAME, SILENT, compiled, planted, same_behaviour, spoken_of, verdict_on

OPERATORS = {
    "drop what it means",
    "drop a need",
    "drop an exposure",
    "drop an effect",
    "delay an effect",
    "drop a lost_by",
    "drop a rests_on",
    "retarget an outcome",
    "widen a band",
    "drop an evidence tag",
    "swap neighbouring steps",
}
NAME = "energized-load-test"


def test_every_operator_plants_something():
    assert {operator for name in ("isolate", "after-a-trip") for operator, *_ in planted(name)} == OPERATORS


@pytest.mark.long
@pytest.mark.parametrize(("operator", "file", "where", "what", "changed"), planted(NAME, every=11))
def test_a_planted_defect_is_killed_where_a_rule_names_it(operator, file, where, what, changed):
    verdict, by = verdict_on(NAME, file, changed)
    assert verdict in {KILLED, SAME, SILENT}
    assert verdict != KILLED or by
    assert not (verdict == SILENT and spoken_of(operator, file, where, what)), (operator, where, what)


@pytest.mark.long
def test_the_defects_that_a_rule_names_are_killed_one_of_each_kind():
    """Read once by a person: what the rule is that kills it."""
    found = {}
    for operator, file, where, what, changed in planted("isolate"):
        if operator not in found and spoken_of(operator, file, where, what):
            found[operator] = verdict_on("isolate", file, changed)
    assert set(found) == {"drop a need", "drop an exposure", "drop an effect", "drop an evidence tag", "drop a lost_by", "retarget an outcome"}
    assert all(verdict in {KILLED, SAME} for verdict, _ in found.values()), found


@pytest.mark.long
def test_two_charts_that_differ_in_one_answer_are_not_the_same_behaviour():
    assert same_behaviour(compiled(NAME), compiled(NAME))
    assert not same_behaviour(compiled(NAME), compiled("isolate"))
