"""Writes the list of fields into DEVELOPERS.md from the models: `python -m tests.docs`. A fact holds the two equal."""

from pathlib import Path

from pydantic import BaseModel

from ohmward.language import models, steps
from ohmward.language.effects import LOWERING, PLAIN_EVENTS, RAISING, REPORTED
from ohmward.language.library import load_library
from ohmward.language.lists import SLOTS
from ohmward.language.vocabulary import CIRCUIT, GEAR, MACHINE, PERSON
from ohmward.shop import as_left, nameplate
from ohmward.shop import models as shop
from ohmward.shop.shipped import shipped_files
from ohmward.trade.catalogue import SUBJECTS

GUIDE = Path(__file__).parent.parent / "DEVELOPERS.md"
START, END = "<!-- fields: written by tests/docs.py -->\n", "<!-- end of fields -->\n"
KINDS: tuple[tuple[str, tuple[type[BaseModel], ...]], ...] = (
    ("Procedure, `procedures/NAME.yaml`", (models.Procedure, steps.Require, steps.Fact, models.Device, models.Source, models.Place, models.Temporary, models.End)),
    ("Step, in procedures, gates and groups", (steps.Step, steps.Picture, steps.Way, steps.Band, steps.Option)),
    ("Gate, `procedures/gates/NAME.yaml`; group, `procedures/groups/NAME.yaml`; rule, `procedures/rules/NAME.yaml`", (models.Gate, models.Group, models.Rule, models.OnTheWay, models.Bad)),
    ("Shop, roster, gear register, job sheet", (shop.Shop, shop.Person, shop.Gear, shop.Rating, shop.Stated, shop.Job, shop.Circuit, shop.People, shop.Emergency)),
    ("A motor's nameplate, for `ohmward match`", (nameplate.Plate,)),
    ("A machine as it was left, for `ohmward ready`", (as_left.Sheet,)),
)


def cell(text):
    return text.replace("|", "\\|")


def table(model):
    parents = {n for base in model.__mro__[1:] for n in getattr(base, "model_fields", {})}
    rows = [
        f"| `{f.alias or n}`{'' if not f.is_required() else ' *'} | {cell(f.description)} |"
        for n, f in model.model_fields.items()
        if n not in parents
    ]
    return [f"**{model.__name__}** - {(model.__doc__ or '').strip()}", "", "| field | |", "| --- | --- |", *rows, ""] if rows else []


def words():
    def named(names):
        return ", ".join(f"`{n}`" for n in names)

    return [
        "**Words.** Fields with `*` must be there.",
        "",
        f"- Effects that count when the step is begun: {named(RAISING)}; when it is confirmed: {named(LOWERING)}; with the answer that says so: {named(REPORTED)}. Each is followed by the id of a device, temporary, store, circuit or moving part.",
        f"- Events of `lost_by:` and `keeps:`: the past of an effect with `it`, `it.means`, an id or `any` (`closed it`, `released any`); {named(PLAIN_EVENTS)}; `SLOT changed`, `SLOT found bad`.",
        f"- Slots: {named(SLOTS)}.",
        f"- Names in limits: `fact.NAME`; of a circuit on the job sheet, or `it` in a gate, or `here` (the worst within reach): {named(CIRCUIT)}; of gear as `gear.` while it is picked and as `SLOT.` afterwards: {named(GEAR)}; of a person as `person.`: {named(PERSON)}; of the machine's last visits as `machine.`: {named(MACHINE)}. Numbers carry units; `+ - * /`, comparisons, `and or not`, `min max abs`, and the calculations below by their names. A text that refuses takes values in braces: `{{gear.voltage}}`.",
        "- `when:` takes a limit over facts and circuits, or how something stands: `CIRCUIT is held off`, `STORE is discharged`, `STORE can return`, `TEMPORARY is in place`, `TEMPORARY is not there`, `DEVICE has tripped`.",
        "- In a gate or group `it.means` is the device that holds the circuit off, `it.charged-by` and `it.driven-by` the circuit behind a store or a moving part.",
        "",
    ]


def calculations():
    """Every calculation of the trade, from the catalogue."""
    lines = ["#### Calculations that limits and gates can call", ""]
    for subject, formulas in SUBJECTS.items():
        lines += [f"**{subject[0].upper()}{subject[1:]}**", "", "| calculation | formula in words | source; status | holds for |", "| --- | --- | --- | --- |"]
        for f in formulas:
            inputs = ", ".join(i.name for i in f.inputs)
            lines.append(f"| `{f.name}({inputs})` | {cell(f.words)} | {cell(f.source)}; {f.status} | {cell(f.domain)} |")
        lines.append("")
    return lines


def rules():
    """The shipped rules, from their files."""
    known = [source.model for _, source in sorted(load_library(shipped_files()).rules.items())]
    rows = [f"| `{r.rule}` | {cell(r.says)} | {cell('; '.join(r.basis))} | {r.status} |" for r in known]
    return ["#### The rules that ship", "", "| rule | says | basis | status |", "| --- | --- | --- | --- |", *rows, ""]


def fields():
    lines = []
    for title, kinds in KINDS:
        lines += [f"#### {title}", ""]
        for model in kinds:
            lines += table(model)
    return "\n".join([*lines, *words(), *calculations(), *rules()])


def guide(text):
    """The guide's text with today's fields."""
    before, _, rest = text.partition(START)
    return before + START + "\n" + fields() + END + rest.partition(END)[2]


if __name__ == "__main__":
    GUIDE.write_text(guide(GUIDE.read_text()))
