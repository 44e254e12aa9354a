"""The shop in full: CSV import, what runs out, machines with their open matters and earlier readings."""

import json
from datetime import UTC, datetime, timedelta

import pytest

from ohmward.errors import DONE, NO, WRONG, FaultyFileError
from ohmward.shop.csv_import import appended, columns_of, read_rows
from ohmward.shop.due import due_soon
from ohmward.shop.folder import keep_picture, make_shop, open_shop
from ohmward.terminal.main import main
from tests.facts.shopping import DAY, Bench, good

GEAR = 'id,label,slots,category,voltage,calibrated,ac volts,leads_category,leads_voltage\nM-20,"Multimeter, new",voltmeter;known-source,3,1000 V,2026-11-01,0.5; 2; 0.1 V; 600 V,3,600 V\n'


@pytest.fixture
def shop(tmp_path):
    make_shop(tmp_path, DAY.date())
    return tmp_path


def csv(shop, kind, text):
    path = shop / "x.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return main(["import", "--shop", str(shop), kind, str(path)])


def test_gear_and_people_come_in_from_csv_and_what_is_there_stays(shop, capsys):
    before = (shop / "gear.yaml").read_text()
    assert csv(shop, "gear", GEAR) == DONE
    assert csv(shop, "roster", '\ufeffid,name,role,qualified_for,tasks,until\nP-09,"Zorn, Ida",qualified-person,single-phase-fan; three-phase-pump,isolate,2027-01-31\n') == DONE
    folder = open_shop(str(shop))
    made = folder.register.gear[-1]
    assert (shop / "gear.yaml").read_text().startswith(before.rstrip("\n"))
    assert (made.id, made.slots, made.leads.voltage, made.accuracy["ac volts"].up_to) == ("M-20", ("voltmeter", "known-source"), "600 V", "600 V")
    person = folder.roster.people[-1]
    assert (person.name, person.qualified_for, person.tasks) == ("Zorn, Ida", ("single-phase-fan", "three-phase-pump"), ("isolate",))


@pytest.mark.parametrize(
    ("kind", "text", "place", "code"),
    [
        ("gear", "id,label,slots\nM-30,x,multimeter\n", ":2:3:", "bad-value"),
        ("gear", "id,label,slots\nM-07,x,voltmeter\n", ":2:1:", "duplicate-id"),
        ("gear", "id,label,slots\nM-31,x,voltmeter\nM-31,x,voltmeter\n", ":3:1:", "duplicate-id"),
        ("gear", "id,lable,slots\nM-30,x,voltmeter\n", ":1:2:", "unknown-field"),
        ("gear", "label,slots\nx,voltmeter\n", ":1:1:", "missing-field"),
        ("gear", "id,label,slots,ac volts\nM-30,x,voltmeter,0.5; 2; 0.1 A\n", ":2:", "bad-value"),
        ("gear", "id,label,slots\nM-30,a,b,voltmeter\n", ":2:1:", "cells"),
        ("roster", "id,name,role\nP-9,a,boss\n", ":2:3:", "unknown-word"),
        ("roster", 'id,name,role\nP-9,"a\n', ":1:1:", "not-csv"),
        ("roster", "id,name,role\nP-9,a\u202eb,apprentice\n", ":2:", "hidden-character"),
        ("roster", b"id,name\n\xff\xfe,a\n", ":2:1:", "not-utf-8"),
        ("roster", b"id,name\n" + b"x" * 1_100_000, ":1:1:", "too-large"),
        ("roster", "id,name,role\n" + "".join(f"Q-{n},a,apprentice\n" for n in range(2001)), ":1:1:", "too-many-values"),
        ("roster", "", ":1:1:", "missing-field"),
    ],
)
def test_a_wrong_row_is_exit_2_at_its_cell_and_nothing_is_added(shop, capsys, kind, text, place, code):
    before = (shop / f"{kind}.yaml").read_bytes()
    assert csv(shop, kind, text) == WRONG
    err = capsys.readouterr().err
    assert f"x.csv{place}" in err
    assert f" {code}: " in err
    assert "remedy: " in err
    assert (shop / f"{kind}.yaml").read_bytes() == before


def test_a_cell_that_a_spreadsheet_would_run_is_text(shop):
    rows = read_rows(b"id,label,slots\nM-40,=cmd(),voltmeter\n", "x", "gear")
    made = appended((shop / "gear.yaml").read_bytes(), rows, "x", "gear")
    assert b'"label": "=cmd()"' in made
    assert set(columns_of("roster")) == {"id", "name", "role", "qualified_for", "tasks", "until"}


def test_what_runs_out_within_thirty_days_is_told_and_what_has_run_out_is_exit_1(shop, capsys):
    folder = open_shop(str(shop))
    meters = [d for d in due_soon(folder.roster, folder.register, DAY.date() + timedelta(days=250)) if d.id == "M-07"]
    assert [d.days for d in meters] == [25]
    assert meters[0].words == "M-07 Multimeter, CAT III 600 V: calibration ends 2027-08-27, in 25 d"
    assert not [d for d in due_soon(folder.roster, folder.register, DAY.date(), 0) if d.id == "M-07"]
    assert main(["due", "--shop", str(shop)]) == NO
    assert "OUT OF DATE  G-12 Rubber gloves class 00 with leathers: electrical test ended 2020-07-15" in capsys.readouterr().out
    gear = shop / "gear.yaml"
    gear.write_text(gear.read_text().replace("tested: 2020-01-15, first_issued: 2020-02-01", f"tested: {datetime.now(UTC).date() - timedelta(days=170)}, first_issued: 2020-02-01, withdrawn: yes"))
    assert main(["due", "--shop", str(shop), "--within", "0", "--json"]) == DONE
    assert json.loads(capsys.readouterr().out) == []


def test_gear_without_a_date_permits_nothing_and_is_told(shop):
    path = shop / "gear.yaml"
    path.write_text(path.read_text().replace("    calibrated: ", "    # calibrated: ", 1))
    folder = open_shop(str(shop))
    assert "M-04 Pocket multimeter, CAT II 600 V: calibration is not on file; it permits nothing" in [d.words for d in due_soon(folder.roster, folder.register, DAY.date())]


def test_training_counts_for_its_tasks_and_until_its_day(shop):
    from ohmward.shop.folder import read_job
    from ohmward.shop.snapshot import people_snapshot

    path = shop / "roster.yaml"
    path.write_text(path.read_text().replace("role: qualified-person,", "role: qualified-person, tasks: [isolate], until: 2026-12-01,"))
    folder = open_shop(str(shop))
    job = read_job(shop / "job-proving-fan.yaml", folder).model
    assert people_snapshot(folder.roster, job, "isolate")["P-01"]["qualified"] == "true"
    assert people_snapshot(folder.roster, job, "run-motor-directly")["P-01"]["qualified"] == "false"
    assert [d.id for d in due_soon(folder.roster, folder.register, DAY.date()) if d.what == "training"] == ["P-01"]


def test_machines_show_what_stands_open_and_what_was_read_there(tmp_path, capsys):
    bench = Bench(tmp_path)
    bench.play(good())
    bench.session.store.close()
    shop = ["--shop", str(tmp_path)]
    assert main(["machines", *shop]) == DONE
    assert "no machine was worked on yet" in capsys.readouterr().out
    assert main(["machines", *shop, "--rehearsals", "proving-fan"]) == DONE
    out = capsys.readouterr().out
    assert "  stands open: lock: Disconnect beside the machine (of P-02)" in out
    assert "Capacitance of the run capacitor, one of its leads off: 7.42 uF (in order)" in out
    assert main(["machines", *shop, "--rehearsals", "--json"]) == DONE
    assert json.loads(capsys.readouterr().out)[0]["left"][0]["owner"] == "P-02"
    assert main(["machines", *shop, "--rehearsals", "provng-fan"]) == WRONG
    assert "did you mean 'proving-fan'?" in capsys.readouterr().err


def test_what_was_read_before_stands_beside_todays_reading(tmp_path):
    bench = Bench(tmp_path)
    bench.play(good())
    bench.session = bench.open()
    bench.play(good(until="read.capacitance"))
    assert bench.view.step == "read.capacitance"
    assert bench.view.earlier == "7.42 uF (in order) on 2026-11-25"


def test_a_picture_is_kept_by_its_digest(tmp_path):
    picture = tmp_path / "pla te.jpg"
    picture.write_bytes(b"abc")
    said = keep_picture(tmp_path, str(picture))
    digest = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"  # FIPS 180-2, appendix B.1
    assert said == f"sha256:{digest} pla te.jpg"
    assert (tmp_path / "photos" / digest).read_bytes() == b"abc"
    with pytest.raises(OSError, match="No such file"):
        keep_picture(tmp_path, str(tmp_path / "none.jpg"))


def test_rows_without_a_frame_are_a_fault():
    with pytest.raises(FaultyFileError):
        read_rows(b"a,b\n1,2\n", "x", "gear")
