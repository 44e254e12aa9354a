"""How long an inspection counts: the shortest time that a rule over the beginning of work names.

Source: 29 CFR 1910.147(c)(6)(i), at least annually; a shop's own rule may ask for it more often.
"""

import re
from collections.abc import Mapping

from ohmward.language.library import load_one
from ohmward.language.models import Rule
from ohmward.proof.demands import WORK_BEGINS
from ohmward.proof.scope_rules import INSPECTED

YEAR = 12  # months


def months_between(rules: Mapping[str, bytes]) -> int:
    """Months between two inspections, from rule files by their id; never more than twelve."""
    months = [YEAR]
    for name, data in rules.items():
        if WORK_BEGINS.encode() in data:
            rule = load_one(data, name, Rule).model
            months += [int(m[1]) for m in (re.fullmatch(INSPECTED, phrase) for phrase in rule.must) if m]
    return min(months)
