"""Who has which part in a record, entry by entry: who did deeds or signed them as theirs, who supervised."""

from collections.abc import Iterable

from ohmward.record.entry import Entry, Kind

_REMARKS = frozenset({Kind.SIGNED, Kind.RETURNED, Kind.NOTED})


class Parts:
    """The parts that entries tell, as far as they were added."""

    def __init__(self, entries: Iterable[Entry] = ()) -> None:
        self.people: dict[str, tuple[str, str]] = {}  # id to name and role, as the first entry has them
        self._doers: dict[str, None] = {}
        self._supervisors: dict[str, None] = {}
        for entry in entries:
            self.add(entry)

    def add(self, entry: Entry) -> None:
        """One more entry. Total."""
        if entry.number == 1:
            people = entry.data.get("people")
            known = people.items() if isinstance(people, dict) else ()
            self.people = {
                str(i): (str(p.get("name")), str(p.get("role"))) for i, p in known if isinstance(p, dict)
            }
        if entry.kind not in _REMARKS or (entry.kind is Kind.SIGNED and entry.said == "performed"):
            self._doers[entry.actor] = None
        elif entry.kind is Kind.SIGNED and entry.said == "supervised":
            self._supervisors[entry.actor] = None

    def of(self, meaning: str) -> list[tuple[str, str]]:
        """(id, name) of everybody who cannot sign this meaning because of their part."""
        found = [*self._doers, *(self._supervisors if meaning == "reviewed" else ())]
        return [(p, self.people.get(p, (p, ""))[0]) for p in found]
