"""`ohmward reckon`: one calculation of the trade, with its working and source; `ohmward match`: two motors' nameplates."""

import argparse
import json
from collections.abc import Mapping
from pathlib import Path

from rich.console import Console

from ohmward.errors import DONE, NO, UsageError
from ohmward.language.evaluate import evaluate
from ohmward.language.expression import Call, Name, Undecided, Value
from ohmward.language.suggest import remedy_for
from ohmward.language.working import workings
from ohmward.shop.folder import read_bytes
from ohmward.shop.nameplate import read_nameplate
from ohmward.terminal.screen import CAUTION, Page
from ohmward.trade.catalogue import FORMULAS, SUBJECTS
from ohmward.trade.formula import Formula
from ohmward.trade.quantity import QuantityError
from ohmward.trade.replacement import replacement_differences
from ohmward.trade.span import parse_span


def reckon(options: argparse.Namespace) -> int:
    """Exit 0 with a result, 1 where it cannot be known, 2 for a wrong name or value."""
    page = Page(Console(highlight=False, soft_wrap=True))
    if options.calculation is None:
        _list(page)
        return DONE
    formula = FORMULAS.get(options.calculation)
    if formula is None:
        raise UsageError(
            f"there is no calculation '{options.calculation}'; {remedy_for(options.calculation, FORMULAS, what='calculations')}"
        )
    if not options.values:
        _describe(page, formula)
        return DONE
    values = _values(formula, options.values)
    call = Call(formula.name, tuple(Name(i.name, 0) for i in formula.inputs), 0)
    return _answer(page, call, values, as_json=options.json)


def _values(formula: Formula, texts: list[str]) -> dict[str, Value]:
    """Inputs by `name=value`, each once and all of them."""
    known = {i.name: i for i in formula.inputs}
    values: dict[str, Value] = {}
    for text in texts:
        name, equals, said = text.partition("=")
        if not equals or name not in known:
            raise UsageError(f"'{text}' is not NAME=VALUE; {remedy_for(name, known, what='inputs')}")
        if name in values:
            raise UsageError(f"'{name}' is given twice")
        values[name] = said if known[name].kind == "text" else _number(name, said)
    missing = [n for n in known if n not in values]
    if missing:
        raise UsageError(f"{formula.name} also needs: {', '.join(missing)}")
    return values


def _number(name: str, said: str) -> Value:
    """`120 V`, or `119 V..121 V` for what an instrument can vouch for."""
    try:
        return parse_span(said)
    except QuantityError as error:
        raise UsageError(f"{name}: {error}") from None


def _answer(page: Page, call: Call, values: Mapping[str, Value], *, as_json: bool) -> int:
    result, work = evaluate(call, values), workings(call, values)[-1]
    unknown = isinstance(result, Undecided)
    if as_json:
        made = {
            "calculation": work.name,
            "inputs": dict(work.given),
            "formula": work.words,
            "between": dict(work.via),
            "decided": not unknown,
            "result": work.result,
            "source": work.source,
            "holds for": work.domain,
        }
        print(json.dumps(made, indent=2, ensure_ascii=True))
        return NO if unknown else DONE
    for word, text in (
        ("from", work.inputs),
        ("formula", work.words),
        *work.via,
        ("result", work.result),
        ("source", work.source),
        ("holds for", work.domain),
    ):
        page.pair(word, text, style="bold" if word == "result" else "", room=max(11, len(word) + 1))
    page.line()
    page.line(CAUTION)
    return NO if unknown else DONE


def _list(page: Page) -> None:
    for subject, formulas in SUBJECTS.items():
        page.line(subject, style="bold")
        for formula in formulas:
            page.pair(f"  {formula.name}", formula.words, room=30)
    page.line()
    page.line("One with its inputs: `ohmward reckon NAME`; computed: `ohmward reckon NAME INPUT=VALUE …`.")


def _describe(page: Page, formula: Formula) -> None:
    page.line(formula.name, style="bold")
    for wanted in formula.inputs:
        kind = f"one of {', '.join(wanted.words)}" if wanted.words else wanted.kind
        page.pair(f"  {wanted.name}", kind, room=20)
    gives = f"{formula.gives}" + (f", in {formula.unit}" if formula.unit else "")
    for word, text in (
        ("gives", gives),
        ("formula", formula.words),
        ("source", f"{formula.source}; {formula.status}"),
        ("holds for", formula.domain),
    ):
        page.pair(word, text)


def match(options: argparse.Namespace) -> int:
    """Exit 0 when a replacement motor fits, 1 when something stops it, 2 for a wrong file."""
    old, new = (read_nameplate(read_bytes(Path(f)), f) for f in (options.old, options.new))
    differences = replacement_differences(old, new)
    if options.json:
        made = [
            {"what": d.what, "old": d.old, "new": d.new, "means": d.means, "stops": d.stops}
            for d in differences
        ]
        print(json.dumps({"fits": not any(d.stops for d in differences), "differences": made}, indent=2))
    else:
        page = Page(Console(highlight=False, soft_wrap=True))
        page.line("Nothing differs." if not differences else "What differs:", style="bold")
        for d in differences:
            page.pair("  STOPS" if d.stops else "  note", f"{d.what}: {d.old} -> {d.new}. {d.means}", room=9)
        page.line()
        page.line(CAUTION)
    return NO if any(d.stops for d in differences) else DONE
