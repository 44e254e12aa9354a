"""The catalogue of faults: what each means, what to avoid, what to prefer, and why."""

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import yaml

from ohmward.errors import BrokenError


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """One fault. `avoid` is empty where there is no example."""

    code: str
    what: str
    avoid: str
    prefer: str
    why: str

    def render(self) -> str:
        """The page as text."""
        lines = [self.code, f"  {self.what}"]
        lines += [f"  avoid:  {self.avoid}"] if self.avoid else []
        return "\n".join([*lines, f"  prefer: {self.prefer}", f"  why:    {self.why}"])


@cache
def catalogue() -> dict[str, Page]:
    """Every page by its code, in order. Raises BrokenError for an installation whose catalogue is broken."""
    text = (Path(__file__).parent / "faults.yaml").read_text(encoding="utf-8")
    try:
        return {
            code: Page(code=code, what=p["what"], avoid=p.get("avoid", ""), prefer=p["prefer"], why=p["why"])
            for code, p in sorted(yaml.load(text, yaml.CBaseLoader).items())  # noqa: S506  texts only
        }
    except (yaml.YAMLError, KeyError, AttributeError, TypeError) as error:
        raise BrokenError(f"the catalogue of faults cannot be read: {error}") from None
