"""`answers`: a file to fill in for a rehearsal, with every question of the usual way in its order."""

import argparse
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from ohmward.account.names import measures_of, names_for, supplies_of
from ohmward.account.pair import by_two
from ohmward.account.words import item_words
from ohmward.chart.table import Table
from ohmward.chart.usual import usual_way
from ohmward.errors import DONE
from ohmward.shop.folder import open_shop, read_job
from ohmward.shop.snapshot import job_snapshot
from ohmward.terminal.edge import utc_now
from ohmward.terminal.records import write_file
from ohmward.terminal.tables import table_of
from ohmward.work.start import data_conditions

FILL_IN = "?"


def answers(options: argparse.Namespace) -> int:
    """Writes the file; what only the person there can know is a `?`."""
    folder = open_shop(options.shop)
    table = table_of(folder.path, *folder.files(), options.procedure)
    job = job_snapshot(read_job(Path(options.job), folder).model)
    start = data_conditions(table, job, utc_now().date().isoformat())
    write_file(Path(options.output), _text(table, job, start).encode())
    print(f"wrote {options.output}: fill in each {FILL_IN}, then")
    print(f"  ohmward work {options.procedure} --rehearse --job {options.job} --answers {options.output}")
    return DONE


def _text(table: Table, job: Mapping[str, Any], start: dict[str, str]) -> str:
    steps: Any = table.data["steps"]
    lines = [
        f"# Answers for {table.procedure}, in the order in which its questions come when all goes its usual way.",
        "# Fill in each '?'. Other lines: - {stop: pause}  - {event: left site}  - {found: words}  - {after: 45 min}",
    ]
    for asked in usual_way(table, start):
        if asked.carried:
            continue
        step = steps[asked.step]
        item = item_words(job["facts"], step)
        lines += [f"# {step['prompt']}{f' ({item})' if item else ''}", *_choices(step)]
        lines += [f"- step: {json.dumps(asked.step)}", f"  say: {_say(table, job, step)}"]
        lines += [f"  lasts: {step['wait']}"] if "wait" in step else []
    return "\n".join(lines) + "\n"


def _choices(step: Mapping[str, Any]) -> list[str]:
    if step["kind"] != "choice":
        return [f"#   {step['by']}"] if "by" in step else []
    return [f"#   one of: {', '.join(o['name'] for o in step['outcomes'])}"]


def _say(table: Table, job: Mapping[str, Any], step: Mapping[str, Any]) -> str:
    """The usual answer where it is a word; `?` for what is read, counted or picked."""
    opened = {"job": job, "gear": {}}
    if step["kind"] == "reading":
        names = names_for(opened, {}, step, table.data, "")
        points = [point for point, _ in measures_of(opened, step, names)]
        points = points[: len(points) // 2] if by_two(step) else points
        fill_in = f"[{', '.join(json.dumps(FILL_IN) for _ in points)}]"
        second = f"\n  second: {fill_in}" if by_two(step) else ""
        return f"{fill_in}  # {step['unit']}: {'; '.join(points)}{second}"
    if step["kind"] in {"action", "choice"}:
        usual = next(o["name"] for o in step["outcomes"] if o["usual"])
        several = len(supplies_of(opened, step))
        return json.dumps([usual] * several if several else usual)
    return json.dumps(FILL_IN)
