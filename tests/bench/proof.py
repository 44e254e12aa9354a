"""What the proof costs, beside a bare search over the same packed rows, beside loading, beside SPIN; and how it grows."""

import resource
import time
from collections import deque
from statistics import median

from ohmward.chart.compile import compile_chart, starts
from ohmward.chart.resolve import make_plan
from ohmward.chart.table import NODE_MASK, advance
from ohmward.language.library import load_library
from ohmward.proof.search import prepare
from ohmward.proof.verdict import prove
from ohmward.shop.shipped import shipped_files
from tests.checker import spin

GATE = """\
gate: g{n}
title: Gate {n}
why: Because.
basis: ['ours']
status: ours
lost_by: [left site]
holds_for: 10 min
steps:
  q: {{confirm: Is it so?, by: number}}
"""
RULE = """\
rule: any
says: Any.
basis: ['ours']
status: ours
whenever: end in service
must:
  - no trip unanswered
remedy: Any.
bad: {file: chain.yaml, find: ['x'], put: ['y']}
"""


def chain(steps, gates):
    """A straight procedure whose steps each need one of several gates that lapse after ten minutes."""
    lines = ["procedure: chain", "revision: 1", "title: t", "purpose: p", "not_covered: n", "basis: ['ours']", "devices:", "  b: {kind: breaker, label: b}", "sources:", "  c: {kind: circuit, label: c, through: [b]}", "places:", "  p: {holds: [c]}", "when_not_held: {others: done}", "steps:"]
    for n in range(steps):
        lines += [f"  s{n}:", f"    confirm: Step {n}.", "    by: number", f"    needs: [g{n % gates}]"]
    lines += ["    then: done", "ends:", "  done: {title: Done}"]
    files = {"chain.yaml": ("\n".join(lines) + "\n").encode(), "rules/any.yaml": RULE.encode()}
    files |= {f"gates/g{n}.yaml": GATE.format(n=n).encode() for n in range(gates)}
    return load_library(files)


def clocked(work):
    begin = time.process_time()
    result = work()
    return time.process_time() - begin, result


def bare(table, forget):
    """Breadth first over the packed rows, nothing checked on the way."""
    waiting = deque({forget(p) for p in starts(table)})
    seen = set(waiting)
    while waiting:
        position = waiting.popleft()
        for trigger in table.packed[position & NODE_MASK]:
            to = forget(advance(table, position, trigger).position)
            if to not in seen:
                seen.add(to)
                waiting.append(to)
    return len(seen)


def report(say):
    """Every ratio of the proof."""
    loading, library = clocked(lambda: load_library(shipped_files()))
    compiling, tables = clocked(lambda: [compile_chart(make_plan(library, name)) for name in library.procedures])
    table = next(t for t in tables if t.procedure == "isolate")
    ours = prepare(table, library)
    searching, _ = clocked(lambda: ours.run(10**7))
    plainly, positions = clocked(lambda: bare(table, ours.forget))
    say("search with rules, by position it stands for, against a bare one", searching / plainly, "<= 3")
    print(f"  isolate: {len(ours.last.found.kept)} states kept stand for {positions} positions")
    say("a bare search of this one chart, nothing checked, against loading all files", plainly / loading, "-")
    proving, _ = clocked(lambda: [prove(t, library) for t in tables])
    say("the whole library's proof, against loading its files", proving / loading, "<= 5")
    say("the whole library's proof, against loading and compiling them", proving / (loading + compiling), "-")
    begin = time.perf_counter()
    spin(table, ours.asked, ours.credit)
    say("SPIN's full time on the same chart, against ours", (time.perf_counter() - begin) / searching, "-")
    desk(say, library, {t.procedure: t for t in tables})
    growth(say)


def desk(say, library, tables):
    """What a wrong edit costs a safety officer: each rule's own bad example, from its file to its story."""
    from tests.facts.test_proof import edited, tables_with  # reads every file: not before that was timed

    clean, spans, words = {}, [], []
    for name, rule in library.rules.items():
        bad = rule.model.bad
        if bad is None or name == "hold-before-discharge":  # that one is refused by the compiler already
            continue
        changed = edited(bad)
        table = next(t for t in tables_with(changed, bad))
        if table.procedure not in clean:
            clean[table.procedure], _ = clocked(lambda t=tables[table.procedure]: prove(t, library))
        span, verdict = clocked(lambda t=table, c=changed: prove(t, c))
        stories = [s for s in verdict.stories if s.rule == name]
        if stories:
            spans.append(span / clean[table.procedure])
            words.append(len(stories[0].render().split()))
    say("a wrong edit's verdict, against the right one's: median", median(spans), "-")
    say("the same: largest", max(spans), "-")
    print(f"  {len(words)} wrong edits told, in {median(words):.0f} words (median), at most {max(words)}")


def growth(say):
    """Positions kept as a straight procedure grows, and the memory that the largest takes."""
    for steps, gates in ((30, 10), (150, 24), (300, 40)):
        library = chain(steps, gates)
        search = prepare(compile_chart(make_plan(library, "chain")), library)
        found = search.run(10**7)
        print(f"  {steps} steps, {gates} gates that lapse: {len(found.kept)} states kept, complete: {found.complete}")
    say("memory of all this, in GiB", resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20, "<= 2")
