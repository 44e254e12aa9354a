"""A rule's own bad example: an edit of a file that must break the rule, made and tried as it is written."""

from collections.abc import Iterator, Mapping

from ohmward.chart.compile import compile_chart
from ohmward.chart.resolve import make_plan
from ohmward.errors import FaultyFileError
from ohmward.language.library import OWN, Library, Source, load_library
from ohmward.language.models import Bad, Rule
from ohmward.proof.verdict import prove

_CODE = "bad-example"


class ExampleError(Exception):
    """An edit that cannot be made; `field` is the one of `bad:` that is wrong."""

    def __init__(self, field: str, problem: str, remedy: str) -> None:
        super().__init__(problem)
        self.field, self.problem, self.remedy = field, problem, remedy


def edited(files: Mapping[str, bytes], bad: Bad) -> dict[str, bytes]:
    """The files with an edit made, and with those that belong to it. Raises ExampleError."""
    made = dict(files)
    edit: Bad | None = bad
    while edit is not None:
        name = name_of(made, edit.file)
        made[name] = _edited(made[name], edit)
        edit = edit.also
    return made


def name_of(files: Mapping[str, bytes], file: str) -> str:
    """The file that an example means: a shop's own, or what is shipped. Raises ExampleError."""
    found = next((n for n in (f"{OWN}/{file}", file) if n in files), None)
    if found is None:
        raise ExampleError("file", f"there is no file '{file}' below procedures", "name a procedure, gate or group that is there")
    return found


def _edited(data: bytes, edit: Bad) -> bytes:
    lines = data.decode("utf-8").split("\n")
    wanted = [text.strip() for text in edit.find]
    ends = range(len(lines) - len(wanted) + 1) if wanted else ()
    at = next((n for n in ends if [x.strip() for x in lines[n : n + len(wanted)]] == wanted), None)
    if at is None:
        raise ExampleError("find", f"these lines do not stand one after another in {edit.file}", "copy them from the file as they are")
    indent = lines[at][: len(lines[at]) - len(lines[at].lstrip())]
    lines[at : at + len(wanted)] = [indent + text for text in edit.put]
    return "\n".join(lines).encode("utf-8")


def try_example(source: Source[Rule], files: Mapping[str, bytes]) -> None:
    """Adds a fault where a rule's bad example cannot be made, is refused before any proof, or leaves every procedure proved."""
    rule = source.model
    if rule.bad is None:
        return
    try:
        library = load_library(edited(files, rule.bad))
        broken = any(_breaks(library, name, rule.rule) for name in _reading(library, name_of(files, rule.bad.file)))
    except ExampleError as error:
        source.fault(("bad", error.field), _CODE, error.problem, error.remedy, key=True)
        return
    except FaultyFileError as error:
        first = error.diagnostics[0]
        problem = f"this edit is refused before anything is proved: {first.problem} ({first.file}:{first.line})"
        source.fault(("bad",), _CODE, problem, "choose an edit that can be proved, and is wrong", key=True)
        return
    if not broken:
        remedy = "mend what the rule watches or asks, or choose an edit that breaks it"
        source.fault(("bad",), _CODE, "this edit does not break the rule: it would never speak", remedy, key=True)


def _reading(library: Library, file: str) -> Iterator[str]:
    """The procedures that read a file, the smallest first."""
    models = library.procedures
    for name in sorted(models, key=lambda n: len(models[n].model.steps)):
        if file in make_plan(library, name).digests:
            yield name


def _breaks(library: Library, procedure: str, rule: str) -> bool:
    verdict = prove(compile_chart(make_plan(library, procedure)), library, until=rule)
    return any(story.rule == rule for story in verdict.stories)
