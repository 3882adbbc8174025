"""What the pit plan says to do, and which pack to take: the same words on the page and in the command."""

from __future__ import annotations

# By the first words of how the plan ends.
DO_NEXT = {
    "nothing found against it": "Finish the list, every line. No log sees a crushed cell or a cracked joint.",
    "change first": "Mend it first, or ask the event for more time: no change that fits is known to clear it.",
    "not checked": "Look at it yourself, with a meter, before the list: nobody has said that it is sound.",
    "do not power up": "Leave the pack out until the main disconnect and the power light are sound.",
}
NO_PACK = "None is known to be ready in time: measure each cell of the one you would take."


def pit_do(ending: str, change: str | None) -> str:
    """The one thing to do. change: the sentence of the change that fits, where there is one."""
    first = ending.partition(":")[0]
    if first == "change first" and change is not None:
        return change
    return DO_NEXT[first]


def pit_take(ending: str, pack: str | None, why: str) -> str:
    """Which pack, and under what condition. why: of its plan."""
    if pack is None:
        return NO_PACK
    if ending == "do not power up":
        return f"None yet. Afterwards {pack}: {why}."
    return f"Take {pack}: {why}."


def not_checked_words(rows: list[tuple[str, str]], most: int = 6) -> str:
    """ "6 checks could not be made: motor temperature of left motor, …". rows: (check in words, part in words)."""
    if not rows:
        return ""
    names = list(dict.fromkeys(f"{part}, {check}" if part else check for check, part in rows))
    more = f"; and {len(names) - most} more" if len(names) > most else ""
    count = "1 check" if len(names) == 1 else f"{len(names)} checks"
    return f"{count} could not be made, so nothing is said of them: {'; '.join(names[:most])}{more}."
