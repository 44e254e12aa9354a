"""Approval: two different people agree to exactly one table; what is recalled stops; somebody else inspects."""

import contextlib
import json
import threading
from dataclasses import replace
from datetime import date, timedelta

import pytest

from ohmward.approval.approval import Approval
from ohmward.approval.consent import (
    Approvals,
    Consent,
    Inspection,
    Word,
    decide_consent,
    decide_work,
    must_inspect_another,
    read_approvals,
    same_name,
    write_approvals,
)
from ohmward.approval.signed_word import approval_bytes, signed_only, to_sign, why_not
from ohmward.approval.statement import digest_of_statement, statement_of
from ohmward.chart.document import canonical_bytes, digest_of_table, from_document, to_document
from ohmward.errors import DONE, NO, WRONG, RefusedError, StoreError
from ohmward.record.entry import Entry, Kind
from ohmward.record.packed import pack
from ohmward.shop.folder import open_shop
from ohmward.shop.models import Gear
from ohmward.shop.snapshot import came_back
from ohmward.store.sqlite import SqliteStore
from ohmward.terminal import approving
from ohmward.terminal.approvals import _seen_until, approvals_in, change_approvals, verdict_on
from ohmward.terminal.edge import utc_now
from ohmward.terminal.main import main
from ohmward.terminal.watching import Watching, stop_what_was_recalled
from ohmward.work.intents import Answer, Begin
from tests.conftest import table_of
from tests.facts.shopping import Bench, approved, enrolled, good, words_file
from tests.sealed import PEOPLE, Small, key_for

FRESH = Consent(table="ab" * 32, procedure="isolate", revision=1, statement="cd" * 32)
OFFICER = Word(person="P-04", name="Oskar Lindt-Weiss", role="safety-officer", time="2026-11-01T08:00:00Z")
LEAD = Word(person="P-03", name="Nuria Falk", role="supervisor", time="2026-11-02T08:00:00Z")
NAME = "run-motor-directly"


# -- pure ------------------------------------------------------------------------------------------------


def test_two_different_people_make_an_approval_whole():
    one = decide_consent(None, FRESH, OFFICER)
    assert not one.whole
    two = decide_consent(one, FRESH, LEAD)
    assert two.whole
    assert two.since == "2026-11-02"
    assert decide_work(two, FRESH.statement, "isolate") == two


@pytest.mark.parametrize(("person", "name"), [("P-04", "Oskar Lindt-Weiss"), ("P-04", "Somebody Else"), ("P-09", "oskar lindt weiss"), ("P-09", "Öskar  LINDT-WEISS")])
def test_nobody_is_the_second_to_themselves_by_id_or_by_a_name_that_reads_alike(person, name):
    one = decide_consent(None, FRESH, OFFICER)
    with pytest.raises(RefusedError, match="somebody else must be the second"):
        decide_consent(one, FRESH, Word(person=person, name=name, role="supervisor", time=LEAD.time))


@pytest.mark.parametrize("role", ["apprentice", "qualified-person"])
def test_only_a_safety_officer_or_a_supervisor_approves(role):
    with pytest.raises(RefusedError, match="is approved by a safety officer or a supervisor"):
        decide_consent(None, FRESH, Word(person="P-01", name="Ida", role=role, time=LEAD.time))


def test_a_word_given_to_another_statement_does_not_count():
    one = decide_consent(None, replace(FRESH, statement="ef" * 32), OFFICER)
    two = decide_consent(one, FRESH, LEAD)
    assert [w.person for w in two.by] == ["P-03"]


def test_what_is_not_whole_or_recalled_or_other_is_not_worked():
    one = decide_consent(None, FRESH, OFFICER)
    two = decide_consent(one, FRESH, LEAD)
    for known, words in ((None, "is not approved"), (one, "by Oskar Lindt-Weiss only"), (replace(two, recalled=LEAD), "was recalled by Nuria Falk")):
        with pytest.raises(RefusedError, match=words):
            decide_work(known, FRESH.statement, "isolate")
    with pytest.raises(RefusedError, match="as it stands is not approved"):
        decide_work(two, "00" * 32, "isolate")
    with pytest.raises(RefusedError, match="this table was recalled"):
        decide_consent(replace(two, recalled=LEAD), FRESH, OFFICER)


def test_names_read_alike_without_case_accents_and_signs_only():
    assert same_name("Nuria Falk", "núria  FALK")
    assert not same_name("Nuria Falk", "Nuria Falke")


def test_an_inspection_is_made_by_somebody_else():
    """Source: 29 CFR 1910.147(c)(6)(i)(A)."""
    must_inspect_another(OFFICER, ["P-02"], {"P-02": "Tomas Reyl"})
    for workers, names in ((["P-04"], {}), (["P-08"], {"P-08": "Oskar Lindt Weiss"})):
        with pytest.raises(RefusedError, match="inspected by somebody else"):
            must_inspect_another(OFFICER, workers, names)


def test_the_file_comes_back_as_it_was_written():
    known = Approvals().put(decide_consent(decide_consent(None, FRESH, OFFICER), FRESH, LEAD))
    assert read_approvals(write_approvals(known), "f") == known


GOOD = json.loads(write_approvals(Approvals().put(decide_consent(None, FRESH, OFFICER))))


@pytest.mark.parametrize("wrong", [b"", b"[]", b"{}", b"null", b"[" * 5000, json.dumps({**GOOD, "format": "x"}).encode(), json.dumps({**GOOD, "more": 1}).encode(), json.dumps(GOOD).replace("2026-11-01", "20xx-11-01").encode(), json.dumps(GOOD).replace('"person"', '"persona"').encode(), json.dumps(GOOD).replace('"revision": 1', '"revision": "one"').encode(), json.dumps({**GOOD, "tables": {"x": {**next(iter(GOOD["tables"].values())), "by": [next(iter(GOOD["tables"].values()))["by"][0]] * 2}}}).encode()])
def test_approvals_that_cannot_be_read_are_refused_not_skipped(wrong):
    with pytest.raises(StoreError, match="cannot be read"):
        read_approvals(wrong, "approvals.json")


def test_a_statement_does_not_rest_on_the_order_in_which_a_table_was_read():
    for name in ("isolate", NAME):
        table = table_of(name)
        again = from_document(json.loads(canonical_bytes(to_document(table))))
        verdict = Approval(table="t", procedure=name, revision=1, positions=1, rules="r", version="v")
        assert statement_of(table, verdict) == statement_of(again, verdict)
        assert statement_of(table, verdict)["exposures"]


# -- through the doors -----------------------------------------------------------------------------------


@pytest.fixture
def shop(tmp_path):
    folder = Bench(tmp_path / "s").folder
    enrolled(folder)
    return folder


def say(capsys, *arguments):
    capsys.readouterr()
    code = main(list(arguments))
    got = capsys.readouterr()
    return code, got.out, got.err


def approve(capsys, shop, person, back):
    return say(capsys, "approve", NAME, "--as", person, "--read-back", back, "--shop", str(shop), "--passphrases", str(words_file(shop.parent)))


def table_of_shop(capsys, shop):
    code, out, err = approve(capsys, shop, "P-04", "0 00000000")
    assert (code, "nothing was approved" in err) == (NO, True)
    return out.split("table ")[1].split()[0][:8]


def test_a_procedure_is_worked_after_two_people_read_back_what_they_saw(shop, capsys, tmp_path):
    (tmp_path / "a.yaml").write_text(good())
    run = ["work", NAME, "--shop", str(shop), "--job", str(shop / "job-proving-fan.yaml"), "--answers", str(tmp_path / "a.yaml"), "--passphrases", str(words_file(tmp_path))]
    code, _, err = say(capsys, *run)
    assert (code, "as it stands is not approved: two people" in err) == (NO, True)
    table = table_of_shop(capsys, shop)
    code, out, _ = approve(capsys, shop, "P-04", f"0 {table}")
    assert code == DONE
    assert "a second person must look" in out
    assert out.index("No revision of this procedure was approved here before") < out.index("exposures:")
    assert "what the proof says: No declared step can break a rule" in out
    assert say(capsys, *run)[0] == NO
    assert approve(capsys, shop, "P-04", f"0 {table}")[0] == NO
    code, out, _ = approve(capsys, shop, "P-03", f" 0   {table} ")
    assert (code, "approved by Oskar Lindt-Weiss (P-04)" in out) == (DONE, True)
    assert say(capsys, *run)[0] == DONE
    code, out, _ = say(capsys, "approve", "--shop", str(shop))
    assert out.count("approved by") == 1
    code, out, _ = say(capsys, "runs", "--shop", str(shop))
    run_id = next(line.split()[0] for line in out.split("\n") if "REHEARSAL" not in line and line)
    code, out, _ = say(capsys, "export", run_id, "-o", str(tmp_path / "r.json"), "--shop", str(shop))
    assert code == DONE
    assert "approved by Oskar Lindt-Weiss (P-04), Nuria Falk (P-03)" in open_account_proof(tmp_path / "r.json")
    # the yearly inspection, by somebody else than who worked it
    keys = ("--passphrases", str(words_file(tmp_path)), "--shop", str(shop))
    assert say(capsys, "inspect", run_id, "--as", "P-02", *keys)[0] == NO
    code, out, _ = say(capsys, "inspect", run_id, "--as", "P-03", *keys)
    assert (code, "last inspection" in out, "(1 so far)" in out) == (DONE, True, True)
    # an inspection that nobody signed, or that was signed for something else, does not count
    path = shop / "approvals.json"
    kept = path.read_bytes()
    for find, put in ((b'"equipment": "proving-fan"', b'"equipment": "another-fan"'), (b'"employees": [\n', b'"employees": [\n      "P-03",\n')):
        changed = kept.replace(find, put)
        if changed == kept:
            changed = kept.replace(find.replace(b": ", b":").replace(b"\n", b""), put.replace(b": ", b":").replace(b"\n", b"").replace(b"      ", b""))
        assert changed != kept
        path.write_bytes(changed)
        assert "last inspection" not in say(capsys, "approve", "--shop", str(shop))[1]
    path.write_bytes(kept)
    assert "last inspection" in say(capsys, "approve", "--shop", str(shop))[1]


def open_account_proof(path):
    from ohmward.record.bundle import verify_bundle

    return verify_bundle(path.read_bytes()).entries[0].data["proof"]


def test_who_approves_is_asked_for_and_known(shop, capsys):
    base = ("--shop", str(shop))
    assert say(capsys, "approve", *base) == (DONE, "nothing is approved here yet\n", "")
    assert say(capsys, "approve", NAME, *base)[0] == WRONG
    code, _, err = say(capsys, "approve", NAME, "--as", "P-44", *base)
    assert (code, "'P-44' is not in the roster" in err) == (WRONG, True)
    code, _, err = say(capsys, "approve", NAME, "--as", "P-02", *base)
    assert (code, "is apprentice" in err) == (NO, True)
    code, _, err = say(capsys, "approve", NAME, "--as", "P-04", *base)
    assert (code, "this is not a terminal" in err) == (WRONG, True)
    roster = shop / "roster.yaml"
    roster.write_text(roster.read_text().replace("role: safety-officer", "role: safety-officer, until: 2020-01-01"))
    code, _, err = say(capsys, "approve", NAME, "--as", "P-04", *base)
    assert (code, "ended on 2020-01-01" in err) == (NO, True)


def test_a_second_revision_shows_what_is_looser_since_the_last_and_its_count_is_read_back(shop, capsys, monkeypatch):
    approved(shop, NAME)
    from tests.facts.test_compare import changed

    looser = changed(f"{NAME}.yaml", "momentary: 1 s", "momentary: 5 s", NAME)
    verdict = Approval(table=digest_of_table(looser), procedure=NAME, revision=9, positions=1, rules="r", version="v")
    monkeypatch.setattr(approving, "table_of", lambda *_: looser)
    monkeypatch.setattr(approving, "verdict_on", lambda *_: verdict)
    code, _, err = approve(capsys, shop, "P-04", "x")
    assert (code, "the table approved last cannot be read" in err) == (NO, True)
    (shop / "approved").mkdir()
    old = table_of(NAME)
    (shop / "approved" / f"{digest_of_table(old)}.json").write_bytes(canonical_bytes(to_document(old)))
    code, out, _ = approve(capsys, shop, "P-04", f"0 {verdict.table[:8]}")
    assert code == NO
    assert "momentary: 1 s -> 5 s" in out.split("STRICTER")[0].split("LOOSER")[1]
    assert approve(capsys, shop, "P-04", f"1 {verdict.table[:8]}")[0] == DONE


def test_a_recalled_procedure_is_not_worked_and_an_open_run_makes_safe(tmp_path, capsys):
    bench = Bench(tmp_path / "s", rehearsal=False)
    bench.play(good(until="step: unlock"))
    run = bench.account.run
    code, out, _ = say(capsys, "recall", NAME, "--as", "P-04", "--why", "the band was wrong", "--shop", str(bench.folder))
    assert code == DONE
    assert f"{run}" in out
    assert "OPEN: call them" in out
    with pytest.raises(RefusedError, match="was recalled by Oskar Lindt-Weiss"):
        bench.open(rehearsal=False)
    bench.resume()
    said = stop_what_was_recalled(bench.folder, bench.session)
    assert said == ["this procedure was recalled: the band was wrong. Make safe."]
    assert bench.view.kind.startswith(("reconcile", "safe")) or bench.view.step.startswith(("reconcile", "safe"))
    bench.session.store.close()
    code, _, err = say(capsys, "recall", NAME, "--as", "P-04", "--why", "again", "--shop", str(bench.folder))
    assert (code, "no approved revision of 'run-motor-directly' is left" in err) == (WRONG, True)


def test_recalled_gear_is_out_of_use_in_new_runs_and_in_open_ones(tmp_path, capsys):
    bench = Bench(tmp_path / "s", rehearsal=False)
    bench.play(good(until="step: unlock"))
    assert bench.account.slots["voltmeter"] == "M-07"
    code, out, _ = say(capsys, "recall", "M-07", "--as", "P-03", "--why", "the maker calls it back", "--shop", str(bench.folder))
    assert (code, "1 runs used it" in out) == (DONE, True)
    bench.resume()
    said = stop_what_was_recalled(bench.folder, bench.session)
    assert said == ["M-07 was recalled: the maker calls it back. Put it away and tag it."]
    assert "M-07" in bench.account.bad
    assert not [g for g in bench.account.held if g.startswith("meter-proved")]
    rehearsed = bench.open()
    assert rehearsed.account.opened["gear"]["M-07"]["names"]["withdrawn"] == "true"
    rehearsed.store.close()


class Typed:
    """Answers that do something else while somebody types."""

    def __init__(self, intent, meanwhile=lambda: None):
        self.intent, self.meanwhile = intent, meanwhile

    def next(self, view):
        self.meanwhile()
        return self.intent

    def told(self, told):
        self.seen = told


def register_line(folder, number, more):
    path = folder / "gear.yaml"
    lines = path.read_text().split("\n")
    at = next(n for n, line in enumerate(lines) if f"id: {number}" in line)
    lines.insert(at + 1, f"    {more}")
    path.write_text("\n".join(lines))


def test_what_is_recalled_while_somebody_works_is_seen_before_the_next_deed(tmp_path, capsys):
    bench = Bench(tmp_path / "s", rehearsal=False)
    bench.play(good(until="step: unlock"))
    begin = Begin(step="unlock")
    watching = Watching(Typed(begin), bench.session, bench.folder)
    assert watching.next(bench.view) == begin
    recall = lambda: say(capsys, "recall", NAME, "--as", "P-04", "--why", "the band was wrong", "--shop", str(bench.folder))  # noqa: E731
    watching.within = Typed(Answer(step="unlock", said=("done",)), recall)
    assert watching.next(bench.view) == Answer(step="unlock", said=("done",))  # a deed that is told is never refused
    watching.within = Typed(begin)
    assert watching.next(bench.view) is None
    assert bench.view.mode in {"safe", "reconcile"}
    assert "was recalled: the band was wrong. Make safe." in capsys.readouterr().err
    watching.told("heard")
    assert watching.within.seen == "heard"


def test_a_deed_is_not_begun_when_the_recall_came_while_it_was_typed(tmp_path, capsys):
    bench = Bench(tmp_path / "s", rehearsal=False)
    bench.play(good(until="step: unlock"))
    recall = lambda: say(capsys, "recall", "M-07", "--as", "P-03", "--why", "the maker calls it back", "--shop", str(bench.folder))  # noqa: E731
    assert Watching(Typed(Begin(step="unlock"), recall), bench.session, bench.folder).next(bench.view) is None
    assert "M-07" in bench.account.bad


def test_gear_that_the_register_withdraws_meanwhile_is_put_away(tmp_path, capsys):
    bench = Bench(tmp_path / "s")
    bench.play(good(until="step: unlock"))
    watching = Watching(Typed(Begin(step="unlock")), bench.session, bench.folder)
    register_line(bench.folder, "M-07", "withdrawn: yes")
    assert watching.next(bench.view) is None
    assert "M-07 is withdrawn from service now. Put it away and tag it." in capsys.readouterr().err
    assert "M-07" in bench.account.bad
    assert not [g for g in bench.account.held if g.startswith("meter-proved")]


@pytest.mark.parametrize(("edit", "words"), [("category: 3\n    voltage: 600 V", "stands otherwise in the register"), ("id: M-07", "is no longer in the register")])
def test_gear_that_the_register_tells_otherwise_or_no_longer_is_put_away(tmp_path, capsys, edit, words):
    bench = Bench(tmp_path / "s")
    bench.play(good(until="step: unlock"))
    path = bench.folder / "gear.yaml"
    head, mid, tail = path.read_text().partition("id: M-07")
    put = {"id: M-07": "id: M-77", "category: 3\n    voltage: 600 V": "category: 2\n    voltage: 50 V"}[edit]
    path.write_text(head + (mid + tail).replace(edit, put, 1))
    assert Watching(Typed(Begin(step="unlock")), bench.session, bench.folder).next(bench.view) is None
    assert words in capsys.readouterr().err
    assert "M-07" in bench.account.bad


def test_what_is_recalled_before_it_is_picked_is_put_away_when_it_is_picked(tmp_path, capsys):
    bench = Bench(tmp_path / "s", rehearsal=False)
    bench.play(good(until="meter-rated(voltmeter"))
    which = bench.view.step
    watching = Watching(Typed(Answer(step=which, said=("M-07",))), bench.session, bench.folder)
    assert say(capsys, "recall", "M-07", "--as", "P-03", "--why", "the maker calls it back", "--shop", str(bench.folder))[0] == DONE
    assert bench.session.apply(watching.next(bench.view)).taken
    assert "M-07 was recalled: the maker calls it back. Put it away" in capsys.readouterr().err
    assert "M-07" in bench.account.bad
    assert "voltmeter" not in bench.account.slots


def test_what_is_recalled_while_the_first_passphrase_is_asked_is_seen_before_the_first_question(tmp_path, capsys):
    bench = Bench(tmp_path / "s", rehearsal=False)
    assert say(capsys, "recall", NAME, "--as", "P-04", "--why", "the band was wrong", "--shop", str(bench.folder))[0] == DONE
    watching = Watching(Typed(Answer(step="arrival", said=("1",))), bench.session, bench.folder)
    assert watching.next(bench.view) is None
    assert bench.view.mode == "safe"


def test_a_withdrawal_beside_a_file_that_is_half_saved_is_seen_when_it_is_whole_again(tmp_path, capsys):
    bench = Bench(tmp_path / "s")
    bench.play(good(until="step: unlock"))
    watching = Watching(Typed(Begin(step="unlock")), bench.session, bench.folder)
    watching.next(bench.view)
    roster = bench.folder / "roster.yaml"
    kept = roster.read_text()
    roster.write_text("half\n")
    register_line(bench.folder, "M-07", "withdrawn: yes")
    watching.next(bench.view)
    assert "M-07" not in bench.account.bad
    roster.write_text(kept)
    assert watching.next(bench.view) is None
    assert "M-07" in bench.account.bad


def test_a_next_deed_does_not_begin_by_itself_before_somebody_has_looked(tmp_path, capsys):
    bench = Bench(tmp_path / "s")
    bleed = next(line for line in good().split("\n") if "discharged(run-capacitor, board-box).bleed" in line)
    bench.play(good(until=bleed))
    asked = []
    bench.session.watch = lambda: asked.append(1) or True
    bench.play(f"{bleed}\n" if "say" in bleed else f"{bleed}\n  say: done\n")
    assert asked
    assert bench.view.mode == "ready"
    assert bench.view.step.endswith(".read")


def test_a_register_that_cannot_be_read_now_stops_nobody_and_is_said(tmp_path, capsys):
    bench = Bench(tmp_path / "s")
    bench.play(good(until="step: unlock"))
    watching = Watching(Typed(Begin(step="unlock")), bench.session, bench.folder)
    (bench.folder / "gear.yaml").write_text("half\n")
    watching.next(bench.view)
    assert "whether gear was withdrawn is not known" in capsys.readouterr().err
    assert watching.next(bench.view) == Begin(step="unlock")
    assert "M-07" not in bench.account.bad


def test_gear_that_came_back_after_its_recall_stays_in_use(tmp_path, capsys):
    bench = Bench(tmp_path / "s", rehearsal=False)
    bench.play(good(until="step: unlock"))
    assert say(capsys, "recall", "M-07", "--as", "P-03", "--why", "the maker calls it back", "--shop", str(bench.folder))[0] == DONE
    register_line(bench.folder, "M-07", f"returned: {(utc_now().date() + timedelta(days=1)).isoformat()}")
    assert stop_what_was_recalled(bench.folder, bench.session) != []  # that day has not come yet
    bench.session.account = replace(bench.account, slots={"voltmeter": "M-07"}, entries=bench.account.entries[:-1])
    bench.clock.offset += timedelta(days=10)
    assert stop_what_was_recalled(bench.folder, bench.session) == []
    assert bench.account.slots["voltmeter"] == "M-07"


@pytest.mark.parametrize(("day", "back"), [(-1, False), (0, False), (1, True), (2, True), (3, False)])
def test_a_thing_comes_back_on_a_day_after_it_was_found_bad_and_not_on_one_to_come(day, back):
    found, today = date(2026, 11, 20), date(2026, 11, 22)
    gear = Gear(id="M-07", label="a meter", slots=("voltmeter",), category="3", voltage="600 V", returned=(found + timedelta(days=day)).isoformat())
    assert came_back(gear, found.isoformat(), today.isoformat()) is back


def test_what_cannot_be_recalled_or_inspected_is_said(tmp_path, capsys):
    bench = Bench(tmp_path / "s", rehearsal=False)
    base = ("--as", "P-04", "--shop", str(bench.folder))
    keys = (*base, "--passphrases", str(words_file(tmp_path)))
    run = bench.account.run
    bench.session.store.close()
    code, _, err = say(capsys, "recall", "M-99", "--why", "x", *base)
    assert (code, "is no gear of the register" in err) == (WRONG, True)
    assert say(capsys, "recall", "M-07", "--why", "  ", *base)[0] == WRONG
    code, _, err = say(capsys, "inspect", run, *keys)
    assert (code, "is still open" in err) == (NO, True)
    assert say(capsys, "inspect", "r0", *keys)[0] == WRONG


def test_a_year_after_the_last_inspection_is_told(tmp_path, capsys):
    """Source: 29 CFR 1910.147(c)(6)(i): at least annually."""
    folder = Bench(tmp_path / "s", rehearsal=False).folder
    change_approvals(folder, lambda a: a)
    path = folder / "approvals.json"
    path.write_bytes(path.read_bytes().replace(b"2026-11-20T", b"2025-01-10T"))
    code, out, _ = say(capsys, "due", "--shop", str(folder))
    assert code == NO
    assert "OUT OF DATE  run-motor-directly revision" in out
    assert "yearly inspection ended 2026-01-10" in out


def test_two_who_approve_at_the_same_moment_both_count(tmp_path):
    def one(number):
        consent = Consent(table=f"{number:064x}", procedure=f"p{number}", revision=1, statement="s", by=(OFFICER,))
        change_approvals(tmp_path, lambda a: a.put(consent))

    threads = [threading.Thread(target=one, args=(n,)) for n in range(12)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(approvals_in(tmp_path).tables) == 12


def test_approvals_that_cannot_be_written_change_nothing(tmp_path):
    with pytest.raises(StoreError, match="nothing was changed"):
        change_approvals(tmp_path / "none", lambda a: a)
    (tmp_path / "approvals.json").mkdir()
    with pytest.raises(StoreError, match="cannot be read"):
        approvals_in(tmp_path)


# -- by key ------------------------------------------------------------------------------------------------


def by_key(consent, *people, shop):
    for person in people:
        name, role = PEOPLE[person]
        word = to_sign(Word(person=person, name=name, role=role, time="2026-11-25T09:00:00Z"), shop.desk.keys)
        word = replace(word, signature=pack(key_for(person).sign(approval_bytes(consent, word))))
        consent = decide_consent(consent, consent, word)
    return consent


def test_words_count_while_they_are_signed_and_their_signers_keys_and_roles_hold():
    shop = Small()
    two = by_key(FRESH, "P-04", "P-03", shop=shop)
    assert signed_only(two, shop.desk.diary.lists) == two
    assert signed_only(None, shop.desk.diary.lists) is None
    first = two.by[0]
    for change in ({"signature": ""}, {"signature": "!"}, {"time": "2026-11-26T09:00:00Z"}, {"person": "P-03"}, {"name": "Somebody"}, {"list_version": 9}, {"key": "0" * 64}):
        assert why_not(two, replace(first, **change), shop.desk.diary.lists), change
    assert "does not hold" in why_not(replace(two, table="00" * 32), first, shop.desk.diary.lists)
    shop.revoke("P-03")
    one = signed_only(two, shop.desk.diary.lists)
    with pytest.raises(RefusedError, match="was approved by Oskar Lindt-Weiss only"):
        decide_work(one, FRESH.statement, "isolate")
    with pytest.raises(RefusedError, match="no word of approval that counts"):
        decide_work(signed_only(decide_consent(None, FRESH, OFFICER), shop.desk.diary.lists), FRESH.statement, "isolate")
    with pytest.raises(LookupError):
        to_sign(replace(LEAD, person="P-09"), shop.desk.keys)


def test_approvals_of_the_first_format_are_read_and_do_not_count():
    old = {**GOOD, "format": "ohmward-approvals-1"}
    for consent in old["tables"].values():
        for word in consent["by"]:
            for more in ("key", "list_version", "signature"):
                del word[more]
    known = read_approvals(json.dumps(old).encode(), "f")
    (consent,) = known.tables.values()
    assert [w.person for w in consent.by] == ["P-04"]
    assert signed_only(consent, Small().desk.diary.lists).by == ()


def test_a_file_of_approvals_written_by_hand_lets_nobody_work(shop):
    change_approvals(shop, lambda a: a.put(decide_consent(decide_consent(None, consent_of(shop), OFFICER), consent_of(shop), LEAD)))
    bench = Bench(shop)
    bench.session.store.close()
    with pytest.raises(RefusedError, match="no word of approval that counts"):
        bench.open(rehearsal=False)


def consent_of(shop):
    """Exactly what would be agreed to."""
    folder = open_shop(str(shop))
    files, _ = folder.files()
    table = table_of(NAME)
    verdict = verdict_on(folder, files, table)
    return Consent(table=verdict.table, procedure=NAME, revision=table.revision, statement=digest_of_statement(statement_of(table, verdict)))


def test_only_a_run_of_this_year_whose_record_stands_is_inspected(tmp_path, capsys, monkeypatch):
    bench = Bench(tmp_path / "s", rehearsal=False)
    bench.play(good())
    run = bench.account.run
    arguments = ("inspect", run, "--as", "P-03", "--shop", str(bench.folder), "--passphrases", str(words_file(tmp_path)))
    bench.session.store.close()
    real = approving.utc_now
    monkeypatch.setattr(approving, "utc_now", lambda: real() + timedelta(days=800))
    code, _, err = say(capsys, *arguments)
    assert (code, "an inspection looks at one of the last 12 months" in err or "ended on" in err) == (NO, True)
    monkeypatch.setattr(approving, "utc_now", lambda: bench.now - timedelta(days=5))
    assert say(capsys, *arguments)[0] == NO
    monkeypatch.setattr(approving, "utc_now", real)
    with contextlib.closing(SqliteStore(bench.folder / "records.db")) as store:
        entry = Entry(run=run, number=bench.account.number + 1, previous=bench.session.head, time=bench.account.time, actor="P-02", device="d", kind=Kind.SIGNED, said="performed", data={"statement": "e30=", "signature": "AAAA"})
        store.append(run, after=bench.session.head, data=entry.to_bytes())
    code, _, err = say(capsys, *arguments)
    assert (code, "nothing is inspected by it" in err) == (NO, True)


def test_an_inspection_of_no_run_here_or_of_a_day_to_come_moves_nothing(tmp_path):
    seen = Inspection(run="r1", equipment="e", employees=("P-02",), by=replace(OFFICER, time="2026-11-22T08:00:00Z"))
    consent = replace(FRESH, by=(OFFICER,), inspections=(seen,))
    today = date(2026, 11, 25)
    assert _seen_until(consent, {"r1"}, today).since == "2026-11-22"
    assert _seen_until(consent, {"r2"}, today).inspections == ()
    assert _seen_until(consent, {"r1"}, date(2026, 11, 21)).inspections == ()
