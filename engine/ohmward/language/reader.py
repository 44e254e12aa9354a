"""YAML to a tree of nodes with positions. Scalars stay text; whatever could cut or hide text is a fault."""

import yaml

from ohmward.language.nodes import UNSEEN, At, Faults, Fields, Items, Node, Text

MOST_BYTES = 256 * 1024
MOST_LEVELS = 20
MOST_VALUES = 10_000
# Fields whose text people read: a comment behind them is cut safety text, however short the rest.
PROSE = frozenset(
    [
        "title",
        "purpose",
        "not_covered",
        "action",
        "confirm",
        "reading",
        "choice",
        "gear",
        "person",
        "sign",
        "photo",
        "label",
        "why",
        "do",
        "expect",
        "caution",
        "warning",
        "danger",
        "by",
        "finding",
        "otherwise",
        "says",
        "remedy",
        "basis",
        "ask",
        "words",
        "complaint",
        "site",
        "address",
        "cut_power",
        "call",
    ]
)


def read_tree(data: bytes, file: str) -> tuple[Fields, Faults]:
    """The file's one mapping, and the collector for its further faults.

    Raises FaultyFileError, and nothing else, on any bytes.
    """
    root, faults = read_node(data, file)
    if not isinstance(root, Fields):
        at = At(1, 1) if root is None else root.at
        faults.fail(at, "no-mapping", "the file is not a mapping of fields", "begin with `name: value`")
    return root, faults


def read_node(data: bytes, file: str) -> tuple[Node | None, Faults]:
    """The file's one document, whatever it is; None for an empty file. Raises FaultyFileError only."""
    faults = Faults(file, ())
    top = At(1, 1)
    if len(data) > MOST_BYTES:
        faults.fail(
            top, "too-large", f"the file has {len(data)} bytes; at most {MOST_BYTES} are read", "split it"
        )
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        faults.fail(At(line, 1), "not-utf-8", f"byte {error.start} is not UTF-8", "save the file as UTF-8")
    faults.lines = tuple(text.split("\n"))
    _refuse_hidden_characters(text, faults)
    faults.stop_if_any()
    return _Builder(faults).build(text), faults


def _refuse_hidden_characters(text: str, faults: Faults) -> None:
    if UNSEEN.search(text.replace("\n", " ").replace("\r ", "  ").removesuffix("\r")) is None:
        return
    for number, line in enumerate(text.split("\n"), 1):
        found = UNSEEN.search(line.removesuffix("\r"))
        if found is not None:
            faults.add(
                At(number, found.start() + 1),
                "hidden-character",
                f"the character U+{ord(found.group()):04X} cannot be seen or re-orders text",
                "type the text again without it; indent with spaces",
            )


class _Builder:
    """Builds nodes from parser events, so that aliases and tags never get a chance to act."""

    def __init__(self, faults: Faults) -> None:
        self.faults = faults
        self.values = 0
        self.root: Node | None = None
        self.open: list[tuple[At, list[Node], bool, bool]] = []  # start, children, mapping, flow style

    def build(self, text: str) -> Node | None:
        documents = 0
        try:
            for event in yaml.parse(text, Loader=yaml.CSafeLoader):
                match event:
                    case yaml.DocumentStartEvent():
                        documents += 1
                        if documents == 2:
                            self._fault(
                                event,
                                "several-documents",
                                "a second document begins here",
                                "one file, one document",
                            )
                    case yaml.NodeEvent() | yaml.MappingEndEvent() | yaml.SequenceEndEvent():
                        self._take(event)
                    case _:
                        pass
        except yaml.MarkedYAMLError as error:
            mark = error.problem_mark or error.context_mark
            at = At(mark.line + 1, mark.column + 1) if mark else At(1, 1)
            problem = " ".join(str(part) for part in (error.context, error.problem) if part)
            self.faults.add(at, "not-yaml", problem, "check indentation, quotes and colons around this place")
        except (yaml.YAMLError, RecursionError, UnicodeDecodeError):  # a tag's %-escapes may be no UTF-8
            self.faults.add(At(1, 1), "not-yaml", "the text cannot be read as YAML", "check it from the top")
        self.faults.stop_if_any()
        return self.root

    def _fault(self, event: yaml.Event, code: str, problem: str, remedy: str) -> None:
        self.faults.add(_at(event), code, problem, remedy)

    def _take(self, event: yaml.Event) -> None:
        if isinstance(event, yaml.MappingEndEvent | yaml.SequenceEndEvent):
            self._close()
            return
        self._check(event)
        match event:
            case yaml.MappingStartEvent() | yaml.SequenceStartEvent():
                mapping = isinstance(event, yaml.MappingStartEvent)
                self.open.append((_at(event), [], mapping, bool(event.flow_style)))
                if len(self.open) > MOST_LEVELS:
                    self._fault(event, "too-deep", f"more than {MOST_LEVELS} levels", "flatten the file")
                    self.faults.stop_if_any()
            case yaml.ScalarEvent():
                self._put(self._scalar(event))
            case _:
                self._put(Text("", _at(event), quoted=True))

    def _scalar(self, event: yaml.ScalarEvent) -> Text:
        if UNSEEN.search(event.value.replace("\n", " ")):
            self._fault(
                event,
                "hidden-character",
                "an escape here stands for a character that cannot be seen",
                "write visible characters only",
            )
        quoted = event.style in {"'", '"', "|", ">"}
        value = event.value
        if not quoted and value.count("(") != value.count(")"):
            self._unbalanced(event, value)
        commented = not quoted and self._has_comment(event)
        text = Text(value, _at(event), quoted, commented)
        if commented and len(value.split()) > 2:
            self._cut_at_hash(text)
        return text

    def _unbalanced(self, event: yaml.ScalarEvent, value: str) -> None:
        flow = bool(self.open and self.open[-1][3])
        what, how = (
            ("the comma cut it", "put it on its own line in a block list, or quote it")
            if flow
            else ("one is missing", "close the bracket, or quote the text")
        )
        code = "cut-at-comma" if flow else "open-bracket"
        self._fault(event, code, f"'{value}' has unbalanced parentheses: {what}", how)

    def _cut_at_hash(self, text: Text) -> None:
        self.faults.add(
            text.at,
            "cut-at-hash",
            f"the text after '{text.text[-20:]}' is a comment, not text",
            "quote the value, or put the comment on its own line",
        )

    def _has_comment(self, event: yaml.ScalarEvent) -> bool:
        """Text followed by ` #` on the same line: in prose that is cut safety text."""
        end = event.end_mark
        if end is None or end.line >= len(self.faults.lines):
            return False
        return self.faults.lines[end.line][end.column :].lstrip().startswith("#")

    def _check(self, event: yaml.Event) -> None:
        self.values += 1
        if self.values > MOST_VALUES:
            self._fault(event, "too-many-values", f"more than {MOST_VALUES} values", "split the file")
            self.faults.stop_if_any()
        if isinstance(event, yaml.AliasEvent) or getattr(event, "anchor", None):
            self._fault(
                event, "alias", "anchors and aliases are not part of the language", "write the text out"
            )
        tag = getattr(event, "tag", None)
        if tag and tag != "!":
            self._fault(event, "tag", f"the tag {tag} is not part of the language", "remove the tag")

    def _close(self) -> None:
        start, children, mapping, flow = self.open.pop()
        if not mapping:
            self._put(Items(tuple(children), start))
            return
        pairs: list[tuple[Text, Node]] = []
        for key, value in zip(children[::2], children[1::2], strict=True):
            if not isinstance(key, Text):
                self.faults.add(key.at, "key-not-text", "a key must be plain text", "give the field a name")
            elif self._key_stands(key, value, pairs, flow=flow):
                pairs.append((key, value))
                if (
                    key.text in PROSE
                    and isinstance(value, Text)
                    and value.commented
                    and len(value.text.split()) < 3
                ):
                    self._cut_at_hash(value)
        self._put(Fields(tuple(pairs), start))

    def _key_stands(self, key: Text, value: Node, pairs: list[tuple[Text, Node]], *, flow: bool) -> bool:
        if key.text == "<<":
            self.faults.add(
                key.at, "merge-key", "merge keys are not part of the language", "write the fields out"
            )
            return False
        if any(key.text == other.text for other, _ in pairs):
            self.faults.add(key.at, "duplicate-key", f"'{key.text}' stands twice here", "keep one of the two")
            return False
        if isinstance(value, Text) and not value.text and not value.quoted:
            if flow:
                self.faults.add(
                    key.at,
                    "cut-at-comma",
                    f"'{key.text}' has no value: a comma cut the text before it",
                    "quote the text, or put it on its own line",
                )
            else:
                self.faults.add(
                    key.at, "no-value", f"'{key.text}' has no value", "give a value or remove the field"
                )
            return False
        return True

    def _put(self, node: Node) -> None:
        if self.open:
            self.open[-1][1].append(node)
        elif self.root is None:
            self.root = node


def _at(event: yaml.Event) -> At:
    start, end = event.start_mark, event.end_mark
    if start is None or end is None:  # only events made by hand have no marks
        return At(1, 1)
    width = end.column - start.column if end.line == start.line else 1
    return At(start.line + 1, start.column + 1, max(1, width))
