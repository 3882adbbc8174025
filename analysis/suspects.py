"""What a fault of a run may sit in, where the log cannot place it more closely."""

from __future__ import annotations

from analysis.wiring import Tree


def candidates_of(wiring: Tree, runs: tuple[str, ...]) -> tuple[str, ...]:
    """The contacts, fuses and leads of these runs."""
    names: list[str] = []
    for run in runs:
        names += [*wiring.runs[run].wire.through, *(f.id for f in wiring.runs[run].fuses), run]
    return tuple(dict.fromkeys(names))
