"""Which role may do what with a key: one table, asked at each signature."""

import unicodedata
from collections.abc import Iterable
from functools import lru_cache

ROLES = ("apprentice", "qualified-person", "supervisor", "safety-officer")
MEANINGS = ("performed", "supervised", "witnessed", "reviewed", "released")
_EVERYONE = frozenset(ROLES)
_DESK = frozenset({"supervisor", "safety-officer"})

# Who may supervise: 29 CFR 1910.399, "qualified person", note 2 (direct supervision of a trainee is by a qualified
# person). The other cells are ours.
MAY = {
    "performed": _EVERYONE,
    "supervised": frozenset({"qualified-person", "supervisor"}),
    "witnessed": _EVERYONE,
    "reviewed": _DESK,
    "released": frozenset({"qualified-person", "supervisor"}),
    "approve": _DESK,
    "inspect": frozenset({"qualified-person", "supervisor", "safety-officer"}),
    "enrol": frozenset({"safety-officer"}),
    "revoke": _DESK,
    "unlock": _DESK,
    "second a new key": _DESK,
    "checkpoint": frozenset({"qualified-person", "supervisor", "safety-officer"}),
    "countersign": _DESK,
}
NOT_OWN = frozenset({"supervised", "witnessed", "reviewed"})  # nobody does these for work of their own


def may(role: str, action: str) -> bool:
    """Whether a role may do it. What is not in the table may not be done."""
    return role in MAY.get(action, frozenset())


def who_may(action: str) -> str:
    """The roles that may, in words."""
    return ", ".join(r.replace("-", " ") for r in ROLES if may(r, action))


# Letters of other alphabets that are drawn like Latin ones: chosen by eye from Greek and Cyrillic.
_LIKE = str.maketrans(
    "\u0430\u0435\u043e\u0440\u0441\u0443\u0445\u0456\u0455\u0458\u04bb\u0501\u051b\u051d\u0261\u0432\u043a\u043c\u043d\u0442"
    "\u03bf\u03b1\u03c1\u03bd\u03c5\u03b9\u03ba\u03c7\u03b5\u03b7\u03c4\u03b2\u03bc\u03b6\u0131\u0142\u00f8\u0111",
    "aeopcyxisjhdqwgbkmht" + "oapvuikxentbmzilod",
)


@lru_cache(maxsize=1024)
def skeleton(name: str) -> str:
    """What is left of a name for the eye: letters and digits only, without accents, case, blanks, alphabets."""
    flat = unicodedata.normalize("NFKD", unicodedata.normalize("NFKD", name).casefold())
    drawn = flat.translate(_LIKE).replace("1", "l").replace("0", "o").replace("i", "l")
    return "".join(c for c in drawn if c.isalnum())


def same_person(one: tuple[str, str], other: tuple[str, str]) -> bool:
    """Whether two (id, name) stand for one person: the same id, or names that read alike."""
    return one[0].casefold() == other[0].casefold() or skeleton(one[1]) == skeleton(other[1])


def must_be_another(person: tuple[str, str], others: Iterable[tuple[str, str]]) -> str:
    """Why a person cannot be the second one; '' when nothing speaks against it."""
    return next((f"{o[1]} ({o[0]}) has a part in it already" for o in others if same_person(person, o)), "")


def one_alphabet(name: str) -> bool:
    """Whether each word of a name is written in one alphabet, so that no letter stands in for another.

    Of Latin only the letters that names are written with: the phonetic ones are drawn like others.
    """
    if any("\u0250" <= c <= "\u02ff" or "\u1d00" <= c <= "\u1dff" or "\u2c60" <= c <= "\u2c7f" for c in name):
        return False
    for word in name.split():
        scripts = {unicodedata.name(c, "?").partition(" ")[0] for c in word if c.isalpha()}
        if len(scripts) > 1:
            return False
    return True
