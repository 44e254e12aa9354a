"""A drawing carries every step, answer and gate of its procedure, and nothing that was typed acts in it."""

import xml.etree.ElementTree as ET

import pydot
import pytest

from ohmward.errors import DONE, WRONG
from ohmward.shop.shipped import shipped_files
from ohmward.terminal.main import main
from ohmward_printouts.chart_blocks import Block, blocks_of, goes_on, limits_of, signal_of, ways_of
from ohmward_printouts.chart_dot import render_dot
from ohmward_printouts.chart_svg import COLUMNS, EDGE, SHEET, render_chart
from tests.conftest import shipped, table_of
from tests.facts.test_compare import changed

pytestmark = pytest.mark.filterwarnings("ignore::DeprecationWarning")  # pydot calls its own parser by old names
SVG = "{http://www.w3.org/2000/svg}"
NAMES = sorted(shipped().procedures)
HOSTILE = '</text><script>alert(1)</script> \\" ] -> x [label=\\"&amp;'


@pytest.mark.parametrize("name", NAMES)
def test_every_step_end_and_gate_stands_on_the_sheet_and_inside_it(name):
    table = table_of(name)
    root = ET.fromstring(render_chart(table, "ab" * 32, proved=True))  # noqa: S314
    texts = [t.text or "" for t in root.iter(f"{SVG}text")]
    whole = " ".join(texts)
    for block in blocks_of(table):
        head = " ".join(block.head.split())
        assert any(t and head.startswith(t) for t in texts), head
    for label in ("Not covered:", "stricter one", "sheet 1 of"):
        assert label in whole
    height = float(root.get("height").removesuffix("mm"))
    assert height % SHEET[1] == 0
    for box in list(root.iter(f"{SVG}rect"))[1:]:
        x, y, w, h = (float(box.get(k)) for k in ("x", "y", "width", "height"))
        assert x >= EDGE
        assert x + w <= SHEET[0] - EDGE + 0.01
        assert y % SHEET[1] + h <= SHEET[1] or h > SHEET[1] - 2 * EDGE
    assert COLUMNS == 3


@pytest.mark.parametrize("name", NAMES)
def test_the_same_table_gives_the_same_bytes(name):
    assert render_chart(table_of(name), "00", proved=True) == render_chart(table_of(name), "00", proved=True)
    assert render_dot(table_of(name)) == render_dot(table_of(name))


@pytest.mark.parametrize("name", NAMES)
def test_an_outside_reader_finds_each_step_and_each_way(name):
    """The DOT text is read by pydot, which shares no code with ours."""
    table = table_of(name)
    (graph,) = pydot.graph_from_dot_data(render_dot(table).decode())
    data = table.data
    nodes = {n.get_name().strip('"') for n in graph.get_nodes()} - {"node"}
    gates = {f"gate {k}" for n in data["order"] for k in data["steps"][n]["needs"]}
    assert nodes == {*data["order"], *data["ends"], *gates}
    drawn = {(e.get_source().strip('"'), e.get_destination().strip('"')) for e in graph.get_edges()}
    for number, step in enumerate(data["order"]):
        for _, to in ways_of(data, step):
            assert (step, to) in drawn
        if goes_on(data, step) and number + 1 < len(data["order"]):
            assert (step, data["order"][number + 1]) in drawn


def test_signal_words_follow_what_is_exposed():
    """Source: the meaning of the words in ANSI Z535.6 (from memory); which step gets which: ours."""
    data = table_of("run-motor-directly").data
    assert signal_of(data, data["steps"]["fit-lead"]) == "WARNING"
    assert signal_of(data, data["steps"]["bump"]) == "DANGER"
    assert signal_of(data, data["steps"]["call-off"]) == ""
    limited = table_of("control-call-check").data
    words = {n: signal_of(limited, limited["steps"][n]) for n in limited["order"]}
    only = [n for n in limited["order"] if limited["steps"][n]["probes"] and all("limited" in limited["sources"][s] for s in limited["steps"][n]["probes"])]
    assert only
    assert all(words[n] in {"CAUTION", "WARNING"} for n in only)
    step = {"hands": [], "probes": [], "near": [], "begun": [], "danger": "x"}
    assert signal_of(data, step) == "DANGER"
    assert signal_of(data, {**step, "caution": "y"} | {"danger": "x"}) == "DANGER"


def test_scope_effects_and_every_answer_stand_on_the_sheet_and_whether_it_is_proved():
    said = {b.name: b.lines for b in blocks_of(table_of("isolate"))}
    assert any(line.startswith("motor-circuit.to-ground <= 300 V") for line in said["scope"])
    assert any("ends with: open disconnect; ends with: hold off disconnect" in line for line in said["leave"])
    assert "others too" in said["others"]
    assert "the cover is on (cover board-cover)" in said["leave-board"], said["leave-board"]
    assert not any(line.endswith("something else") for lines in said.values() for line in lines)
    assert b"NOT SHOWN TO BE PROVED" in render_chart(table_of("isolate"), "00", proved=False)
    assert b"NOT SHOWN" not in render_chart(table_of("isolate"), "00", proved=True)
    assert [b for b in blocks_of(table_of("take-down-what-was-left")) if b.name == "scope"]


def test_what_was_typed_is_text_only():
    table = changed("isolate.yaml", "title: Isolate, hold off, read dead", f'title: "{HOSTILE}"')
    svg = render_chart(table, "00", proved=False)
    assert b"<script" not in svg
    assert ET.fromstring(svg).find(f"{SVG}script") is None  # noqa: S314
    hostile = changed("isolate.yaml", "action: Take the cover off the board's box.", f'action: "{HOSTILE}"')
    (graph,) = pydot.graph_from_dot_data(render_dot(hostile).decode())
    assert {n.get_name().strip('"') for n in graph.get_nodes()} == {n.get_name().strip('"') for n in pydot.graph_from_dot_data(render_dot(table_of("isolate")).decode())[0].get_nodes()}


def test_draw_writes_what_the_ending_says_and_refuses_another(tmp_path, capsys):
    (tmp_path / "mine.yaml").write_bytes(shipped_files()["isolate.yaml"])
    assert main(["draw", str(tmp_path / "mine.yaml"), "-o", str(tmp_path / "a.svg")]) == DONE
    assert main(["draw", "isolate", "-o", str(tmp_path / "a.dot")]) == DONE
    assert (tmp_path / "a.svg").read_bytes().startswith(b"<svg")
    assert (tmp_path / "a.dot").read_bytes().startswith(b'digraph "isolate"')
    assert main(["draw", "isolate", "-o", str(tmp_path / "a.bmp")]) == WRONG
    assert "end it in .svg" in capsys.readouterr().err


def test_a_block_without_anything_beside_it_takes_the_whole_column():
    assert Block(name="a", head="b").side == ()


def test_limits_answers_of_gates_and_where_a_gate_that_fails_leads_stand_on_the_sheet():
    said = {b.name: "\n".join(b.lines) for b in blocks_of(table_of("isolate"))}
    assert "dead: below 3 V" in said["verified-dead"]
    assert "unexplained: from 3 V and below 50 V" in said["verified-dead"]
    assert "live: from 50 V (found live motor-circuit) \N{RIGHTWARDS ARROW} not held" in said["verified-dead"]
    assert "somebody is within reach \N{RIGHTWARDS ARROW} asked again" in said["locked-out"]
    assert "its disconnecting means closed; its disconnecting means released; it found live" in said["locked-out"]
    assert "verified dead \N{RIGHTWARDS ARROW} 9 found-live" in said["not held"]
    assert "others \N{RIGHTWARDS ARROW} 10 leave" in said["not held"]


def test_a_band_that_takes_a_display_over_range_says_so_and_one_without_limits_takes_any_value():
    step = {"bands": [{"name": "low", "up_to": "2 V"}, {"name": "open", "over_range": "here"}]}
    assert limits_of(step) == {"low": "up to 2 V", "open": "above 2 V, or OL"}
    assert limits_of({"bands": [{"name": "all"}]}) == {"all": "any value"}
    assert limits_of({}) == {}
