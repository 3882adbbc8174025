"""Several columns that would be one channel: the surest is it, of equals the one that the figures speak for."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from typing import Final

import numpy as np

from ingest.channels import is_plausible
from ingest.delimited.meaning_draft import Draft
from ingest.delimited.meaning_sentinels import finite

_FEWER: Final = 0.5  # our choice: a column with less than half the figures of the other is the worse one
_FOLLOWS: Final = -0.5  # our choice: volts that fall as amperes rise correlate at least so, step by step
_LEAST: Final = 20


def once_each(drafts: Sequence[Draft], level: Callable[[Draft], int]) -> None:
    """A channel belongs to one column: the surest; of equals that agree the finest; of equals that differ the one
    that the figures speak for. Where nothing does, neither is it, and the question names both."""
    groups: dict[str, list[Draft]] = {}
    for draft in drafts:
        if draft.channel is not None:
            groups.setdefault(draft.channel, []).append(draft)
    for channel, group in groups.items():
        if len(group) == 1:
            continue
        best = max(level(d) for d in group)
        keep = [d for d in group if level(d) == best]
        apart = any(_lettered(one, other) for one, other in itertools.combinations(group, 2))
        keep = list(group) if apart and not any(d.from_reading for d in group) else keep
        if len(keep) > 1 and not apart and all(_agree(keep[0], d) for d in keep[1:]):
            keep = [max(keep, key=lambda d: (d.evidence.decimals, -d.evidence.index))]
        if len(keep) > 1 and not apart:
            chosen, why = _better(keep, drafts)
            if chosen is not None:
                others = " and ".join(f'"{d.key}"' for d in keep if d is not chosen)
                chosen.why.append(f"taken before {others}: {why}")
                keep = [chosen]
        for draft in group:
            if len(keep) == 1 and draft is keep[0]:
                continue
            other = keep[0] if len(keep) == 1 else next(d for d in keep if d is not draft)
            draft.question = ""
            if len(keep) == 1:
                draft.drop(f'"{other.key}" is {channel} already')
                draft.ask(f'Which part is "{draft.key}" of? "{other.key}" is {channel} already.', channel=channel)
            else:
                draft.drop(f'"{other.key}" says the same and differs')
                both = f"({_span(draft)} against {_span(other)})"
                asked = f'Which of "{draft.key}" and "{other.key}" is {channel}? They differ {both}.'
                draft.ask(f'{asked} If it is "{draft.key}":', channel=channel, unit=draft.unit_text)


def _better(keep: Sequence[Draft], drafts: Sequence[Draft]) -> tuple[Draft | None, str]:
    """(the one column that is better in the first respect in which they differ, the respect in words)."""
    currents = [d for d in drafts if d.channel is not None and d.kind == "current" and _same_part(d, keep[0])]
    current = currents[0] if len(currents) == 1 else None  # of two runs side by side each has its own
    most = max(finite(d.converted()).size for d in keep)
    tests: tuple[tuple[str, Callable[[Draft], bool]], ...] = (
        ("the reading file says so", lambda d: d.from_reading),
        ("its name is the channel", lambda d: d.source.strip() == d.channel),
        ("the other never moves", lambda d: bool(np.ptp(finite(d.converted())) > 0) if most else False),
        ("the other has few figures", lambda d: finite(d.converted()).size >= _FEWER * most),
        ("the other's figures cannot be", _possible),
        ("it falls as the current rises", lambda d: current is not None and _follows(d, current)),
    )
    for why, test in tests:
        good = [d for d in keep if finite(d.converted()).size and test(d)]
        if len(good) == 1:
            return good[0], why
    return None, ""


def _lettered(one: Draft, other: Draft) -> bool:
    """Whether only a letter tells two names apart, "battery A" and "battery B": they are two things, not one."""
    mine, theirs = set(one.words) - set(other.words), set(other.words) - set(one.words)
    return bool(mine and theirs) and all(len(w) == 1 and w.isalpha() for w in mine | theirs)


def _same_part(one: Draft, other: Draft) -> bool:
    a, b = one.parsed, other.parsed
    return a is not None and b is not None and a.part == b.part


def _possible(draft: Draft) -> bool:
    channel, values = draft.parsed, finite(draft.converted())
    return channel is not None and is_plausible(channel, float(values.min()), float(values.max()))


def _follows(draft: Draft, current: Draft) -> bool:
    """A voltage whose steps go against those of its current."""
    if draft.kind != "voltage":
        return False
    volts, amps = np.diff(draft.converted()), np.diff(current.converted())
    both = np.isfinite(volts) & np.isfinite(amps)
    if np.count_nonzero(both) < _LEAST or not np.ptp(volts[both]) > 0 or not np.ptp(amps[both]) > 0:
        return False
    return bool(np.corrcoef(volts[both], amps[both])[0, 1] < _FOLLOWS)


def _span(draft: Draft) -> str:
    values = finite(draft.converted())
    return f"{values.min():.5g} to {values.max():.5g}" if values.size else "no figures"


def _agree(one: Draft, other: Draft) -> bool:
    """Whether two columns hold the same figures, within 2 % of their size (our choice: two meters' tolerance)."""
    a, b = one.converted(), other.converted()
    both = np.isfinite(a) & np.isfinite(b)
    if not both.any():
        return False
    return bool(np.max(np.abs(a[both] - b[both])) <= 0.02 * np.max(np.abs(a[both])))
