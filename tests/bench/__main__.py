"""`python -m tests.bench`: what a commit, a decision, a move, a page and a start cost, each beside a bare equivalent."""

import hashlib
import io
import json
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

from reportlab.platypus import SimpleDocTemplate

from ohmward.account.fold import after, fold
from ohmward.chart.compile import compile_chart
from ohmward.chart.resolve import make_plan
from ohmward.chart.table import NODE_MASK, Move, advance
from ohmward.language.library import load_library
from ohmward.record.entry import Entry, Kind
from ohmward.work.answering import decide_answer
from ohmward.work.intents import Answer
from ohmward.work.machine import Mirror
from ohmward_printouts.record_pdf import render_record
from ohmward_printouts.record_story import story
from tests.bench.proof import report
from tests.bench.records import memory, verification
from tests.facts.shopping import Bench, good, seen


def clocked(work, times=30):
    """Median processor time of one call."""
    spans = []
    for _ in range(times):
        start = time.process_time()
        work()
        spans.append(time.process_time() - start)
    return median(spans)


def many(work, count):
    def run():
        for _ in range(count):
            work()

    return run


def say(what, ratio, bar):
    print(f"{what:<66} {ratio:>7.2f}   (bar {bar})")


def commits(folder):
    bench = Bench(folder / "a")
    bench.play(good())
    answers = sum(e.kind is Kind.ANSWERED for e in bench.account.entries)
    begun = sum(e.kind is Kind.BEGUN for e in bench.account.entries)
    rest = bench.account.number - answers - begun
    say("commits per answer, without those before deeds", (bench.session.store.commits - begun - rest) / answers, "1")
    heavy = bench.account.steps
    deeds = sum(e.kind is Kind.ANSWERED and heavy.get(e.step, {"heavy": False})["heavy"] for e in bench.account.entries)
    say("commits before each deed", begun / deeds, "1")
    return bench


def decide_and_encode(folder):
    bench = Bench(folder / "b")
    bench.play(good(until="step: call-off"))
    view, account = bench.view, bench.account
    offered = account.table.packed[account.position & NODE_MASK]
    draft = decide_answer(account, Answer(step="call-off", said=("off",)), view, offered, bench.clock())[0]

    def ours():
        decide_answer(account, Answer(step="call-off", said=("off",)), view, offered, bench.clock())
        entry = Entry(run=account.run, number=account.number + 1, previous=bench.session.head, time="2026-11-25T08:00:00Z", actor="P-02", device="d", kind=draft.kind, trigger=draft.trigger, step=draft.step, said=draft.said, outcome=draft.outcome)
        hashlib.sha256(entry.to_bytes()).digest()

    plain = json.loads(Entry(run=account.run, number=3, previous=bench.session.head, time="2026-11-25T08:00:00Z", actor="P-02", device="d", kind=draft.kind, trigger=draft.trigger, step=draft.step, said=draft.said, outcome=draft.outcome).to_bytes())

    def bare():
        hashlib.sha256(json.dumps(plain, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()).digest()

    say("decide + encode, against json + SHA-256 of the same bytes", clocked(many(ours, 200)) / clocked(many(bare, 200)), "<= 10")
    assert after(account, account.entries[-1]) is not None


def synthetic(steps):
    lines = ["procedure: synthetic", "revision: 1", "title: t", "purpose: p", "not_covered: n", "basis: ['ours']", "devices:", "  b: {kind: breaker, label: b}", "sources:", "  c: {kind: circuit, label: c, through: [b]}", "places:", "  p: {holds: [c]}", "steps:"]
    for n in range(steps):
        lines += [f"  s{n}:", f"    confirm: Step {n}.", "    by: number"]
    lines += ["    then: done", "ends:", "  done: {title: Done}"]
    return compile_chart(make_plan(load_library({"synthetic.yaml": ("\n".join(lines) + "\n").encode()}), "synthetic"))


def moves():
    spans = {}
    for steps in (30, 300):
        table = synthetic(steps)
        mirror = Mirror(table)
        from ohmward.chart.compile import starts

        model = mirror.model_at(starts(table)[0])
        path = [f"answered@s{n}=confirmed" for n in range(29)]
        for trigger in path:
            mirror.fire(model, trigger)

        def walk(mirror=mirror, model=model, table=table, path=path):
            mirror.stand(model, starts(table)[0])
            for trigger in path:
                mirror.fire(model, trigger)

        spans[steps] = clocked(walk, 60)
        position = starts(table)[0]
        assert isinstance(advance(table, position, path[0]), Move)
    say("machine moves, 300 steps against 30", spans[300] / spans[30], "<= 1.2")


def pages(bench):
    account = fold(bench.account.entries)

    def bare():
        SimpleDocTemplate(io.BytesIO(), invariant=1).build(story(account))

    found = seen(bench.session)  # verified once: what it costs stands beside the bare calls elsewhere
    say("record PDF, against the same flowables in bare reportlab", clocked(lambda: render_record(account, found), 7) / clocked(bare, 7), "<= 1.3")


def start(folder):
    """Time to the first prompt, as a whole process: to a refusal after everything was loaded and decided."""
    def whole(*command):
        spans = []
        for _ in range(7):
            begin = time.perf_counter()
            subprocess.run([sys.executable, *command], check=False, capture_output=True)
            spans.append(time.perf_counter() - begin)
        return median(spans)

    shop = folder / "c"
    Bench(shop)
    (shop / "records.db").unlink()
    (shop / "none.yaml").write_text("- {step: nothing, say: x}\n")
    command = ["-m", "ohmward", "work", "run-motor-directly", "--shop", str(shop), "--job", str(shop / "job-proving-fan.yaml"), "--answers", str(shop / "none.yaml"), "--rehearse"]

    def first_prompt():
        spans = []
        for _ in range(5):
            (shop / "records.db").unlink(missing_ok=True)
            begin = time.perf_counter()
            subprocess.run([sys.executable, *command], check=False, capture_output=True)
            spans.append(time.perf_counter() - begin)
        return median(spans)

    passing = whole("-c", "pass")
    say("first prompt, against `python -c pass`", first_prompt() / passing, "<= 30")
    say("--help, against `python -c pass`", whole("-m", "ohmward", "--help") / passing, "-")


def main():
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        bench = commits(folder)
        decide_and_encode(folder)
        moves()
        pages(bench)
        start(folder)
        verification(say, clocked)
        memory(folder, say)
    report(say)


if __name__ == "__main__":
    main()
