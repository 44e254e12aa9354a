"""The safety officer's desk: `check` on files of every kind, the catalogue of faults, any bytes at all."""

import ast
import contextlib
import json
import os
import re
import subprocess
import sys
import tracemalloc

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ohmward.errors import DONE, NO, WRONG, FaultyFileError
from ohmward.language.catalogue import catalogue
from ohmward.language.library import load_one
from ohmward.language.models import Gate, Group, Procedure, Rule
from ohmward.language.nodes import Fields, Items, Text
from ohmward.language.reader import read_node
from ohmward.rehearsal.script import read_script
from ohmward.shop.csv_import import read_rows
from ohmward.shop.models import Job, Register, Roster, Shop
from ohmward.shop.shipped import shipped_files
from ohmward.terminal.main import main
from tests.conftest import ROOT

CODE = re.compile("[a-z]+(-[a-z0-9]+)*")
SINGLE = {"limit", "tag", "alias", "empty", "unreachable", "upstream", "cells", "unconfirmed"}


def codes_of_the_code():
    """Every fault's code, read from the calls that make faults."""
    found = {"no-bands", "no-options", "no-unit", "no-between", "no-hands", "no-probes", "open-bracket"}  # made of a word
    for path in (ROOT / "engine" / "ohmward").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text())):
            if not isinstance(node, ast.Call):
                continue
            name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
            texts = [a.value for a in node.args if isinstance(a, ast.Constant) and isinstance(a.value, str)]
            if name in {"add", "fail", "fault", "_fault", "_one"}:
                found |= {t for t in texts[:1] if CODE.fullmatch(t) and ("-" in t or t in SINGLE)}
                found |= {t for t in texts[1:2] if name in {"_fault", "_one"} and CODE.fullmatch(t) and "-" in t}
            found |= {k.value.value for k in node.keywords if k.arg == "code" and isinstance(k.value, ast.Constant)}
    return found


def test_the_catalogue_has_a_page_for_every_fault_and_for_no_other():
    assert set(catalogue()) == codes_of_the_code()
    for page in catalogue().values():
        assert page.what
        assert page.prefer
        assert page.why


def test_a_fault_is_explained_by_its_code(capsys):
    assert main(["check", "--explain", "cut-at-comma"]) == DONE
    assert "why:    Cut safety text is the worst fault of all." in capsys.readouterr().out
    assert main(["check", "--explain", "cut-at-coma"]) == WRONG
    assert "did you mean 'cut-at-comma'?" in capsys.readouterr().err
    assert main(["check", "--explain", "all"]) == DONE
    out = capsys.readouterr().out
    assert all(code in out for code in catalogue())


def test_the_schemas_are_written_for_an_editor(tmp_path, capsys):
    assert main(["check", "--schema", str(tmp_path / "s")]) == DONE
    names = {"procedure", "gate", "group", "rule", "shop", "roster", "gear", "job"}
    assert {p.name for p in (tmp_path / "s").iterdir()} == {f"{n}.schema.json" for n in names}
    assert json.loads((tmp_path / "s" / "gate.schema.json").read_text())["required"][0] == "gate"
    (tmp_path / "file").write_text("x")
    assert main(["check", "--schema", str(tmp_path / "file" / "s")]) == 3


# -- files of every kind --------------------------------------------------------------------------------

SHIPPED = {n: d.decode() for n, d in shipped_files().items()}
OWN = {
    "procedures/mine.yaml": SHIPPED["isolate.yaml"].replace("procedure: isolate", "procedure: mine"),
    "procedures/gates/mine.yaml": SHIPPED["gates/verified-dead.yaml"].replace("gate: verified-dead", "gate: mine"),
    "procedures/groups/mine.yaml": SHIPPED["groups/motor-readings.yaml"].replace("group: motor-readings", "group: mine"),
    "procedures/rules/mine.yaml": SHIPPED["rules/before-closing.yaml"].replace("rule: before-closing", "rule: mine"),
}
P, G, U, R = OWN
EDITS = [
    (P, "then: isolated", "then: isolatd", "unknown-target"),
    (P, "title: Isolate, hold off, read dead", "title: Isolate # hold off", "cut-at-hash"),
    (P, "    needs:\n      - briefed\n", "    needs: briefed\n", "wrong-kind"),
    (P, "procedure: mine", "procedure: other", "name-differs"),
    (P, "others: leave", "others: leaf", "unknown-target"),
    (P, "others: leave", "brifed: leave\n  others: leave", "unknown-gate"),
    (P, "- verified-dead(motor-circuit, board-box)", "- verified-dead(motor-circuit, board-box", "open-bracket"),
    (G, "- locked-out(it)", "- lockedout(it)", "unknown-gate"),
    (G, "below: 3 V, then: after", "below: 3 A, then: after", "limit"),
    (G, "{name: unexplained, below: 50 V}", "{name: unexplained, below: 50 V, then: aftr}", "unknown-target"),
    (U, "then: otherwise", "then: elsewhere", "unknown-target"),
    (U, "unit: ohm", "unit: ohmz", "bad-value"),
    (U, "between: [terminal to terminal]", "between: [a1 = a2]", "bad-value"),
    (U, "- discharged(capacitor, here)", "- discharged(capacitor)", "gate-key"),
    (R, "- area-clear held", "- area-clear is held", "unknown-words"),
    (R, "in_order: [tools accounted for", "in_order: [tools counted", "unknown-evidence"),
    (R, "whenever: close device", "whenever: closing", "unknown-words"),
    ("roster.yaml", "people:", "persons:", "unknown-field"),
    ("roster.yaml", "id: P-02", "id: P-01", "duplicate-id"),
    ("gear.yaml", "slots: [voltmeter]", "slots: [multimeter]", "bad-value"),
    ("gear.yaml", "voltage: 600 V", "voltage: 600", "bad-value"),
    ("shop.yaml", "shift: 10 h", "shift: long", "bad-value"),
    ("job-proving-fan.yaml", "full-load-current: 3.2 A", "full-load-curent: 3.2 A", "unknown-name"),
    ("job-proving-fan.yaml", "full-load-current: 3.2 A", "full-load-current: 3,2 A", "not-believed"),
    ("job-proving-fan.yaml", "  motor-circuit:", "  motor-circut:", "unknown-name"),
    ("job-proving-fan.yaml", "worker: P-02", "worker: P-22", "unknown-person"),
]


@pytest.fixture
def shop(tmp_path):
    assert main(["new", str(tmp_path / "s")]) == DONE
    return tmp_path / "s"


def put(shop, name, text):
    path = shop / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text)
    return path


@pytest.mark.parametrize(("name", "find", "text", "code"), EDITS, ids=[f"{e[3]}-{i}" for i, e in enumerate(EDITS)])
def test_a_wrong_file_of_any_kind_is_exit_2_with_its_line_and_a_remedy(shop, capsys, name, find, text, code):
    good = OWN.get(name) or (shop / name).read_text()
    assert find in good
    path = put(shop, name, good.replace(find, text, 1))
    capsys.readouterr()
    assert main(["check", "--shop", str(shop), str(path)]) == WRONG
    err = capsys.readouterr().err
    line = good[: good.index(find)].count("\n") + 1 if code != "unknown-field" else 1
    hit = re.search(rf"{re.escape(str(path))}:(\d+):\d+: {code}: ", err)
    assert hit, err
    assert abs(int(hit.group(1)) - line) <= 1
    assert "remedy: " in err
    assert "Traceback" not in err


def test_the_same_files_without_the_edit_have_no_fault(shop, capsys):
    for name, text in OWN.items():
        put(shop, name, text)
    wanted = [str(shop / n) for n in (G, U, "roster.yaml", "gear.yaml", "shop.yaml", "job-proving-fan.yaml")]
    assert main(["check", "--shop", str(shop), *wanted]) == DONE
    assert "no fault found" in capsys.readouterr().out


def test_every_fault_of_every_file_comes_in_one_go(shop, capsys):
    put(shop, P, OWN[P].replace("then: isolated", "then: isolatd"))
    put(shop, G, OWN[G].replace("status: published", "status: sure"))
    for name, find, text, _ in EDITS[-9:]:
        path = shop / name
        path.write_text(path.read_text().replace(find, text, 1))
    assert main(["check", "--shop", str(shop)]) == WRONG
    err = capsys.readouterr().err
    for part in ("isolatd", "'status' cannot be this word", "'persons'", "'multimeter'", "'long'", "full-load-curent", "motor-circut"):
        assert part in err


@pytest.mark.long
def test_a_file_beside_no_shop_is_checked_too(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    path = put(tmp_path, "mine.yaml", OWN[P])
    assert main(["check", str(path)]) == DONE
    assert "mine revision 4: proved" in capsys.readouterr().out
    assert main(["check", str(put(tmp_path, "answers.yaml", "- {step: a}\n"))]) == WRONG
    assert main(["check", str(put(tmp_path, "what.yaml", "x: y\n"))]) == WRONG
    assert main(["check", str(tmp_path / "none.yaml")]) == WRONG
    capsys.readouterr()


@pytest.mark.long
def test_a_procedure_that_breaks_a_rule_is_exit_1(shop, capsys):
    path = put(shop, P, OWN[P].replace("      - verified-dead(motor-circuit, board-box)\n", ""))
    assert main(["check", "--shop", str(shop), str(path), "--json"]) == NO
    report = json.loads(capsys.readouterr().out)
    assert "hands-need-dead" in {s["rule"] for s in report[0]["stories"]}
    assert report[0]["questions"][0]["most"] == 26


def test_an_answers_file_to_fill_in_has_every_question_and_what_was_filled_in_is_worked(shop, capsys):
    job, file = str(shop / "job-proving-fan.yaml"), shop / "a.yaml"
    assert main(["answers", "isolate", "--shop", str(shop), "--job", job, "-o", str(file)]) == DONE
    text = file.read_text()
    assert main(["check", str(file)]) == DONE
    for step, said in {"who": "P-01", "told": "2 people", "gloves": "G-11", "which": "M-07", "source": "K-01", "tag": "Ida, today"}.items():
        text = re.sub(rf'(- step: "[^"\n]*{step}"\n  say: )"\?"', rf'\1"{said}"', text)
    text = re.sub(r'(known"\n  say: )\["\?"\]', r"\1[240.2]", text)
    file.write_text(text.replace('"?"', '"0.1"'))
    assert main(["work", "isolate", "--shop", str(shop), "--job", job, "--rehearse", "--answers", str(file)]) == DONE
    assert "Isolated. " in capsys.readouterr().out
    assert main(["answers", "isolat", "--shop", str(shop), "--job", job, "-o", str(file)]) == WRONG
    capsys.readouterr()


# -- any bytes at all -------------------------------------------------------------------------------------

MODELS = (Procedure, Gate, Group, Rule, Shop, Roster, Register, Job)
PIECES = [line for text in (*SHIPPED.values(), *OWN.values()) for line in text.split("\n") if line.strip()]


def only_own_faults(data):
    for model in MODELS:
        try:
            load_one(data, "f.yaml", model)
        except FaultyFileError as error:
            assert all(d.remedy and d.line >= 1 and d.column >= 1 for d in error.diagnostics)
    for read in (lambda: read_node(data, "f"), lambda: read_script(data, "f"), lambda: read_rows(data, "f", "gear")):
        with contextlib.suppress(FaultyFileError):
            read()


@pytest.mark.parametrize("data", [b"a: !%ed%a0%80 b", b"a: !<%c0%80> b", b"%TAG ! %ed%a0%80\n---\na: !x b"])
def test_escapes_in_a_tag_that_are_no_text_are_a_fault(data):
    with pytest.raises(FaultyFileError) as caught:
        read_node(data, "f.yaml")
    assert [(d.code, d.line) for d in caught.value.diagnostics] == [("not-yaml", 1)]


def flow(node):
    """The node as one line of YAML."""
    match node:
        case Text(text=text):
            return json.dumps(text, ensure_ascii=False)
        case Items(items=items):
            return f"[{', '.join(flow(i) for i in items)}]"
        case Fields(pairs=pairs):
            return "{" + ", ".join(f"{flow(k)}: {flow(v)}" for k, v in pairs) + "}"


def misshapen(node):
    """The node with each value in it, one at a time, in another shape than it should have."""
    yield from ("[]", "{}", "[a]", "{a: b}", '""', "[[a]]", "[{a: b}]", "{a: [b]}")
    match node:
        case Items(items=items):
            for i, item in enumerate(items):
                for other in misshapen(item):
                    yield f"[{', '.join(other if j == i else flow(x) for j, x in enumerate(items))}]"
        case Fields(pairs=pairs):
            for i, (_, value) in enumerate(pairs):
                for other in misshapen(value):
                    yield "{" + ", ".join(f"{flow(k)}: {other if j == i else flow(v)}" for j, (k, v) in enumerate(pairs)) + "}"


SHAPES = [
    (Gate, "gates/discharged.yaml"), (Gate, "gates/meter-rated.yaml"), (Group, "groups/prove-meter.yaml"),
    (Rule, "rules/before-closing.yaml"), (Procedure, "take-down-what-was-left.yaml"),
    (Shop, "shop.yaml"), (Roster, "roster.yaml"), (Register, "gear.yaml"), (Job, "job-proving-fan.yaml"),
]


@pytest.mark.parametrize(("model", "name"), SHAPES, ids=[n for _, n in SHAPES])
def test_a_value_of_another_shape_is_a_fault_at_any_place(shop, model, name):
    text = SHIPPED.get(name) or (shop / name).read_text()
    root, _ = read_node(text.encode(), name)
    assert load_one(flow(root).encode(), name, model).model == load_one(text.encode(), name, model).model
    tried = list(misshapen(root))
    for wrong in tried[:: max(1, len(tried) // 400)]:
        with contextlib.suppress(FaultyFileError):
            load_one(wrong.encode(), name, model)


@settings(max_examples=150)
@given(st.binary(max_size=600))
def test_any_bytes_raise_nothing_but_faults(data):
    only_own_faults(data)


@settings(max_examples=120)
@given(st.lists(st.one_of(st.sampled_from(PIECES), st.text(max_size=12), st.sampled_from(["- ", "{", "}", "[", ": ", "#", "'", '"', "|", ">", "&a", "*a", "!!x", "? ", "---", "\t", "\x00"])), max_size=25))
def test_pieces_of_files_in_any_order_raise_nothing_but_faults(pieces):
    only_own_faults("\n".join(pieces).encode(errors="surrogatepass"))


@pytest.mark.long
@pytest.mark.parametrize("data", [b"a: " * 100_000, b"[" * 50_000, b"{a: " * 20_000, b"- " * 100_000, b"a: &a [*a, *a]\n" * 5_000, b"? " * 60_000, b"'" * 200_000, b'"\\x00"' * 40_000, b"k" * 262_144, b"\xff" * 1000])
def test_bytes_made_to_cost_much_cost_little_memory(data):
    tracemalloc.start()
    only_own_faults(data)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < 200 * 1024 * 1024


@pytest.mark.long
def test_a_guided_fuzzer_finds_no_bytes_that_raise_anything_else(tmp_path):
    """Coverage-guided, from the shipped files on: many thousand inputs for the reader, the models, scripts, CSV."""
    pytest.importorskip("atheris")
    corpus = tmp_path / "corpus"
    corpus.mkdir()
    for number, text in enumerate((*SHIPPED.values(), *OWN.values())):
        (corpus / str(number)).write_text(text)
    found = subprocess.run(
        [sys.executable, "-m", "tests.fuzz", str(corpus), "-runs=6000", "-seed=333", "-max_len=8192", "-rss_limit_mb=1024", "-timeout=20"],
        cwd=ROOT, capture_output=True, text=True, check=False, env={**os.environ, "PYTHONHASHSEED": "0"},
    )
    assert found.returncode == 0, found.stdout[-3000:] + found.stderr[-3000:]
    assert "Done 6000 runs" in found.stderr
