"""Finding a known name in what a person wrote, and saying how to mend it when there is none."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping


class UnknownName(ValueError):
    """A word that stands in none of the tables.

    found    what was written
    kind     what it should have been: "gauge", "insulation", …
    nearest  the known names closest to it, best first (may be empty)
    mend     what to write instead
    """

    def __init__(self, found: str, kind: str, nearest: tuple[str, ...], mend: str) -> None:
        self.found = found
        self.kind = kind
        self.nearest = nearest
        self.mend = mend
        super().__init__(f"unknown {kind} {found!r}: {mend}")


def folded(text: str) -> str:
    """The text without case, spaces, hyphens and underscores: how names are compared.

    >>> folded("Lithium_Polymer HV") == folded("lithium-polymer-hv")
    True
    """
    return "".join(character for character in text.casefold() if character not in " -_\t ")


def nearest_names(text: str, names: Iterable[str], count: int = 3) -> tuple[str, ...]:
    """At most `count` names that look like `text`, best first; empty where none comes near."""
    by_folded: dict[str, str] = {}
    for name in names:
        by_folded.setdefault(folded(name), name)
    # 0.5: our choice; at difflib's own 0.6 "pvc105c" no longer finds "pvc 80", below 0.4 anything matches.
    found = difflib.get_close_matches(folded(text), list(by_folded), n=count, cutoff=0.5)
    return tuple(by_folded[key] for key in found)


def find_name(text: str, names: Iterable[str], kind: str, aliases: Mapping[str, str] | None = None) -> str:
    """The known name that `text` means; case, spaces and hyphens do not matter.

    aliases maps other spellings to a known name. Raises UnknownName with the mend.
    """
    known = tuple(names)
    table = {folded(alias): name for alias, name in (aliases or {}).items()}
    table |= {folded(name): name for name in known}
    if isinstance(text, str) and folded(text) in table:
        return table[folded(text)]
    near = nearest_names(str(text), [*known, *(aliases or {})])
    listed = ", ".join(known)
    mend = f"did you mean {near[0]!r}? Known: {listed}" if near else f"write one of: {listed}"
    raise UnknownName(str(text), kind, near, mend)
