"""A safety officer's own files: copies of what is shipped, rules of one's own and their bad examples."""

from pathlib import PurePosixPath

import pytest

from ohmward.errors import DONE, FAILED, NO, WRONG, FaultyFileError
from ohmward.language.library import load_library
from ohmward.language.models import Bad
from ohmward.proof.bounds import all_demanded, demands
from ohmward.proof.example import ExampleError, edited, try_example
from ohmward.proof.rule_words import unknown_words
from ohmward.shop.shipped import shipped_files
from ohmward.terminal.main import main
from tests.conftest import ROOT
from tests.facts.test_rules import new_shop

TOOLS = """\
rule: no-tool-left
says: Nobody closes a box before the tools are counted.
basis: [ours]
status: ours
whenever: its own steps
on_the_way:
  - {after: [uncover], to: [an end held off], passes: [cover], only_in: [isolate]}
remedy: Cover it.
bad:
  file: isolate.yaml
  find: ['changes: [cover board-cover]']
  put: ['takes: 1 min']
"""


def shop_with(tmp_path, text):
    folder = tmp_path if (tmp_path / "shop.yaml").exists() else new_shop(tmp_path)
    (folder / "procedures" / "rules").mkdir(parents=True, exist_ok=True)
    (folder / "procedures" / "rules" / "no-tool-left.yaml").write_text(text)
    return folder


def checked(folder, capsys, *names):
    code = main(["check", "--shop", str(folder), *names])
    return code, "".join(capsys.readouterr())


@pytest.mark.parametrize(
    ("find", "put", "words"),
    [
        ("file: isolate.yaml", "file: isolat.yaml", "there is no file 'isolat.yaml' below procedures"),
        ("[cover board-cover]", "[cover bord-cover]", "these lines do not stand one after another in isolate.yaml"),
        ("find: ['changes: [cover board-cover]']", "find: []", "these lines do not stand one after another"),
        ("find: ['changes: [cover board-cover]']\n  put: ['takes: 1 min']", "find: ['evidence: call off']", "this edit does not break the rule: it would never speak"),
        ("put: ['takes: 1 min']", "put: ['changes: [cover it all]']", "this edit is refused before anything is proved"),
        ("after: [uncover]", "after: [unocver]", "did you mean 'uncover'?"),
        ("after: [uncover]", "after: [somebody elses lock]", "'somebody elses lock' is none of the answers and effects that there are"),
        ("after: [uncover]", "after: []", "this list is empty: it asks for nothing"),
        ("passes: [cover]", "passes: [covered well]", "no step gives the evidence 'covered well'"),
        ("only_in: [isolate]", "only_in: [isolat]", "did you mean 'isolate'?"),
        ("only_in: [isolate]", "asks_for: refrigerent", "did you mean 'refrigerant'?"),
        ("after: [uncover], to: [an end held off], passes: [cover]", "after: [something else comes in], to: [an end], passes: [cover it]", "is about nothing where a way begins with an answer"),
    ],
)
def test_a_rule_that_would_never_speak_is_a_fault_at_its_place(tmp_path, capsys, find, put, words):
    assert find in TOOLS
    code, said = checked(shop_with(tmp_path, TOOLS.replace(find, put)), capsys, str(tmp_path / "procedures" / "rules" / "no-tool-left.yaml"))
    assert code == WRONG
    assert words in " ".join(said.split())
    assert "no-tool-left.yaml:" in said


@pytest.mark.long
def test_a_rule_of_ones_own_whose_bad_example_breaks_it_is_kept_by_what_is_shipped(tmp_path, capsys):
    code, said = checked(shop_with(tmp_path, TOOLS), capsys, str(tmp_path / "procedures" / "rules" / "no-tool-left.yaml"))
    assert code == DONE
    assert "isolate revision" in said
    assert "NOT PROVED" not in said


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ("whenever: gate verified-dead\nmust_contain: []\n", "this rule asks for nothing"),
        ("whenever: every step\nneeds: {others asked: [qualfied]}\n", "there is no gate 'qualfied'"),
        ("whenever: every step\nneeds: {others asked: []}\n", "this list is empty"),
        ("whenever: every step\ntold_apart: [uncover]\n", "'uncover' is not an effect that this speaks of"),
        ("whenever: every step\ndenied_by: {uncover: [barred]}\n", "'uncover' is not an effect that this speaks of"),
        ("whenever: end\nmust: [nothing-like-it is next]\n", "'nothing-like-it' is none of the procedures that there are"),
        ("whenever: end\nmust: [what it can start is held off elsewhere]\n", "it is asked of a device that is closed or released"),
        ("whenever: close device\nmust: [it says what it leaves]\n", "it is asked at an end, or in another situation"),
        ("whenever: gate verified-dead\nreads_between: {absence of voltage: [at least three points]}\n", "'at least three points' is no list of points"),
    ],
)
def test_words_that_mean_nothing_in_a_rule_are_faults(tmp_path, capsys, fields, words):
    text = "rule: no-tool-left\nsays: It.\nbasis: [ours]\nstatus: ours\nremedy: Mend it.\n" + fields
    code, said = checked(shop_with(tmp_path, text), capsys, "after-a-trip")
    assert code == WRONG
    assert words in " ".join(said.split())


def test_no_shipped_rule_speaks_of_what_is_not_there():
    library = load_library(shipped_files())
    unknown_words(library)
    assert [d for s in library.rules.values() for d in s.faults.found] == []


def test_an_example_is_made_with_what_belongs_to_it_and_of_ones_own_file_first():
    files = {**shipped_files(), "own/isolate.yaml": b"a: 1\nb: 2\n"}
    bad = Bad(file="isolate.yaml", find=("b: 2",), put=("b: 3", "c: 4"), also=Bad(file="after-a-trip.yaml", find=("revision: 6",), put=("revision: 7",)))
    made = edited(files, bad)
    assert made["own/isolate.yaml"] == b"a: 1\nb: 3\nc: 4\n"
    assert b"revision: 7\n" in made["after-a-trip.yaml"]
    with pytest.raises(ExampleError):
        edited(files, Bad(file="isolate.yaml", find=("b: 5",)))


@pytest.mark.parametrize(("name", "new", "where"), [("isolate", "isolate-ours", ""), ("verified-dead", "dead-ours", "gates"), ("prove-meter", "prove-ours", "groups"), ("hands-need-dead", "hands-ours", "rules")])
def test_what_is_shipped_is_copied_under_an_id_of_its_own_once(tmp_path, capsys, name, new, where):
    folder = new_shop(tmp_path)
    assert main(["copy", name, new, "--shop", str(folder)]) == DONE
    text = (folder / "procedures" / where / f"{new}.yaml").read_text()
    assert text.split("\n")[0].endswith(f": {new}")
    assert ("revision: 1\n" in text) is (where == "")
    assert f"{new}.yaml" in capsys.readouterr().out
    origin = next(n for n in shipped_files() if PurePosixPath(n).stem == name)
    assert text.split("\n")[3:] == shipped_files()[origin].decode().split("\n")[3:]
    assert main(["copy", name, new, "--shop", str(folder)]) == WRONG
    assert "is there already" in capsys.readouterr().err


@pytest.mark.parametrize(("name", "new", "words"), [("isolat", "x", "did you mean 'isolate'?"), ("isolate", "energized-load-test", "is there already"), ("isolate", "../x", "is no id"), ("isolate", "Isolate", "is no id")])
def test_a_copy_that_cannot_be_is_refused_and_nothing_is_written(tmp_path, capsys, name, new, words):
    folder = new_shop(tmp_path)
    before = sorted(folder.rglob("*"))
    assert main(["copy", name, new, "--shop", str(folder)]) == WRONG
    assert words in capsys.readouterr().err
    assert sorted(folder.rglob("*")) == before


def test_a_copy_that_cannot_be_written_says_so(tmp_path, capsys):
    folder = new_shop(tmp_path)
    (folder / "procedures" / "gates").write_text("a file")
    assert main(["copy", "briefed", "briefed-ours", "--shop", str(folder)]) == FAILED
    assert "could not be made" in capsys.readouterr().err


def test_a_drawing_says_proved_only_under_the_rules_of_today(tmp_path):
    folder = new_shop(tmp_path)
    sheet = tmp_path / "sheet.svg"
    main(["draw", "cooling-check", "-o", str(sheet), "--shop", str(folder)])
    assert "NOT SHOWN TO BE PROVED" not in sheet.read_text()
    shop_with(tmp_path, TOOLS)
    main(["draw", "cooling-check", "-o", str(sheet), "--shop", str(folder)])
    assert "NOT SHOWN TO BE PROVED" in sheet.read_text()


def test_a_copy_wants_a_shop(tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert main(["copy", "isolate", "x"]) == WRONG
    assert "ohmward new DIR" in capsys.readouterr().err


@pytest.mark.long
def test_a_copy_is_proved_as_it_stands_and_told_as_no_change(tmp_path, capsys):
    folder = new_shop(tmp_path)
    main(["copy", "isolate", "isolate-ours", "--shop", str(folder)])
    assert checked(folder, capsys, "isolate-ours")[0] == DONE
    main(["compare", "isolate", "isolate-ours", "--shop", str(folder)])
    assert "no change that means anything" in capsys.readouterr().out
    path = folder / "procedures" / "isolate-ours.yaml"
    path.write_text(path.read_text().replace("      - verified-dead(motor-circuit, board-box)\n", "", 1))
    code, said = checked(folder, capsys, "isolate-ours")
    assert (code, "hands-need-dead" in said) == (NO, True)


def test_two_files_with_one_id_are_told_at_the_shops_own():
    with pytest.raises(FaultyFileError) as caught:
        load_library({**shipped_files(), "own/isolate.yaml": shipped_files()["isolate.yaml"]})
    assert [(d.file, d.code) for d in caught.value.diagnostics] == [("own/isolate.yaml", "duplicate-id")]


@pytest.mark.long
def test_the_rule_in_the_guide_is_read_and_broken_by_its_own_example():
    text = (ROOT / "DEVELOPERS.md").read_text()
    rule = "rule: " + text.split("```yaml\nrule: ")[1].split("```")[0]
    files = {**shipped_files(), "own/rules/no-tool-left.yaml": rule.encode()}
    library = load_library(files)
    unknown_words(library)
    source = library.rules["no-tool-left"]
    try_example(source, files)
    assert source.faults.found == []


def test_places_in_own_files_are_told_under_their_paths(tmp_path, capsys):
    folder = new_shop(tmp_path)
    main(["copy", "isolate", "isolate-ours", "--shop", str(folder)])
    path = folder / "procedures" / "isolate-ours.yaml"
    path.write_text(path.read_text().replace("      - verified-dead(motor-circuit, board-box)\n", "", 1))
    capsys.readouterr()
    assert main(["compare", "isolate", "isolate-ours", "--shop", str(folder)]) == NO
    said = " ".join(capsys.readouterr().out.split())
    assert "step read-dead (own/" not in said
    assert "procedures/isolate-ours.yaml:77)" in said


def test_a_message_is_broken_between_words_where_somebody_reads_it_and_the_caret_stays_in_place(tmp_path, capsys, monkeypatch):
    folder = shop_with(tmp_path, TOOLS.replace("after: [uncover]", "after: [unocver]"))
    piped = checked(folder, capsys, "isolate")[1]
    monkeypatch.setattr("sys.stderr.isatty", lambda: True, raising=False)
    monkeypatch.setenv("COLUMNS", "60")
    shown = checked(folder, capsys, "isolate")[1]
    quoted = [line for line in piped.split("\n") if line.startswith("   |")]
    assert [line for line in shown.split("\n") if line.startswith("   |")] == quoted
    assert len(quoted) == 2
    assert all(len(line) <= 60 for line in shown.split("\n") if not line.startswith("   |"))
    assert "".join(shown.split()) == "".join(piped.split())


@pytest.mark.parametrize(
    ("old", "new", "no_wider"),
    [
        ("x >= -5 V", "x >= 2 * -5 V", False),
        ("x <= -5 V", "x <= 0.5 * -5 V", False),
        ("x > 0 V", "x >= 2 * 0 V", False),
        ("x >= fact.outdoor", "x >= 2 * fact.outdoor", False),
        ("x >= fact.a - fact.b", "x >= 2 * (fact.a - fact.b)", False),
        ("gear.voltage >= it.to-ground", "gear.voltage >= 2 * it.to-ground", True),
        ("gear.voltage > it.to-ground", "gear.voltage >= 2 * it.to-ground", False),
        ("gear.fuse <= it.protection", "gear.fuse <= 50 % * it.protection", True),
        ("gear.fuse <= it.protection", "gear.fuse <= 2 * it.protection", False),
        ("x = 1 V or x = 2 V", "x = 2 V", True),
        ("x = 2 V", "x = 1 V or x = 2 V", False),
        ("x <= 300 V", "300 V >= x", True),
        ("x < 300 V", "x = 120 V", True),
        ("x < 120 V", "x = 120 V", False),
    ],
)
def test_a_condition_is_no_wider_only_where_it_surely_permits_nothing_more(old, new, no_wider):
    assert all_demanded(demands((old,)), demands((new,))) is no_wider
