"""The views of reconciling and of making safe: how does it stand, and what is done next."""

from typing import Any

from ohmward.account.state import Account
from ohmward.work.screenful import View


def asked_at(node: str) -> str:
    """What an answer at a node of reconciling or of making safe is for, as people and answers files name it."""
    kind, _, rest = node.partition(" ")
    return f"{kind.partition('-')[0]}.{rest.rpartition(' ')[2]}"


def reconcile_view(account: Account, node: str) -> View:
    data: Any = account.table.data
    _, _, rest = node.partition(" ")
    step, kind, thing = rest.rsplit(" ", 2)
    labels = {
        **{n: d["label"] for n, d in data["devices"].items()},
        **{n: t["label"] for n, t in data["temporary"].items()},
    }
    label = labels.get(thing, "A device upstream")
    prompt = {
        "device": f"{label}: how does the handle stand? Look, do not remember.",
        "trip": f"{label}: has it tripped? Look.",
        "temporary": f"{label}: is it so? Look.",
    }[kind]
    triggers = account.table.offered(account.position)
    options = tuple(t.partition("=")[2] for t in triggers if t.startswith("answered@"))
    return View(
        node=node,
        mode="reconcile",
        step=asked_at(node),
        kind=kind,
        title="Before going on: how does it stand?",
        prompt=prompt,
        options=options,
        why=f"'{data['steps'][step]['prompt']}' was left without an answer, or is corrected.",
    )


def safe_view(account: Account, node: str, kind: str) -> View:
    data: Any = account.table.data
    name = node.removeprefix("safe-doing ").removeprefix("safe ")
    doing = kind == "safe-doing"
    word, _, thing = name.partition(" ") if not doing else ("temporary", "", name)
    labels = {
        **{n: d["label"] for n, d in data["devices"].items()},
        **{n: t["label"] for n, t in data["temporary"].items()},
    }
    prompt = {
        "left": "Hands out. Step back from everything that may be live; see that the others do.",
        "device": f"{labels.get(thing, '')}: open it and put your lock and tag on.",
        "temporary": _taken_away(data["temporary"].get(thing, {}), labels.get(thing, "")),
        "guard": "Guard or bar off what is left. Stay, or let somebody stay, until it is handed over.",
    }[word]
    return View(
        node=node,
        mode="safe",
        step=asked_at(node),
        kind="safe-doing" if doing else kind,
        title="Making safe",
        prompt=prompt,
        options=("cannot",) if kind == "safe-hands" else ("done", "cannot"),
    )


def _taken_away(temporary: Any, label: str) -> str:  # noqa: ANN401  plain data of the table
    """A cover that is off is put on; anything else comes out."""
    what = "put it back on" if temporary.get("kind") == "guard" else "take it away"
    return f"{label}: {what}. What is there is read dead."
