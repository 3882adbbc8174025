"""The lightest wiring that keeps every margin of one match or of several: gauges × packs × limits, run by run.

Every run in every size is heated on each match's binned i² in one call; the voltage at each load comes from the drop
over its path at its lowest moment. The worst match decides. What is found is then replayed on every match, and only
that counts as proved. A size is left out where the fuse above it would not protect it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.across import SERIOUS, Case
from analysis.changes import changed
from analysis.findings import Review
from analysis.masses import room_g
from analysis.match_data import MatchData
from analysis.replay import Refused, replay, replay_rows
from analysis.replay.banded import broken
from analysis.replay.circuit import unreplayable
from analysis.search_options import Option, RunChoice, option_of, pareto_of
from analysis.search_sizes import SPARE_PCT, Sized, sized_runs, uncovered
from analysis.search_volts import Low, lows, pack_gain_ohm, volt_margins
from analysis.taps import joints
from analysis.wiring import RunCurrent, Tree, currents_of, tree
from ingest.builds import Pack

__all__ = ["Found", "Option", "RunChoice", "search", "search_all"]

LIMIT_SHARES = (1.0, 0.85, 0.7)  # of the highest current that the largest load drew
# Margins beyond the least, in per cent, that the grams are found for: the points of the Pareto view (our choice).
MORE_PCT = (0.0, 10.0, 20.0, 30.0, 45.0, 60.0)
MOST_REPLAYED = 8  # our choice: the screening is close, and a replay of nine matches takes two seconds


@dataclass(frozen=True)
class Found:
    """best: the lightest that keeps every margin (None: none does, and why); pareto: grams against margin.

    tried: combinations held against the margins; proved: the best was replayed and brought nothing new.
    refused: (match, why) that took no part; left: runs that stay as they are; broken: what was past its rating before.
    need_pct: the margin that every choice keeps; remade: matches that were taken with their loose joints remade.
    overloads: what the fuses leave to the log where the best makes a run thinner.
    """

    best: Option | None
    pareto: tuple[Option, ...]
    tried: int
    proved: bool
    note: str
    refused: tuple[tuple[str, str], ...] = ()
    left: tuple[str, ...] = ()
    broken: tuple[tuple[str, str, str], ...] = ()
    need_pct: float = 0.0
    remade: tuple[str, ...] = ()
    overloads: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class _Ground:
    """One match made ready: its currents and the lowest moments of its loads."""

    match: str
    data: MatchData
    review: Review
    currents: Mapping[str, RunCurrent]
    lows: Mapping[str, Low]


def search(data: MatchData, review: Review, packs: Sequence[Pack] = ()) -> Found:
    """The lightest wiring for this match. packs: others that may be fitted (of as many cells)."""
    name = review.match.id or "log files"
    return search_all([Case(name, None if data.pack is None else data.pack.id, data, review)], packs)


def search_all(
    cases: Sequence[Case],
    packs: Sequence[Pack] = (),
    told: Callable[[float, str], None] = lambda share, what: None,
) -> Found:
    """The lightest wiring that every match of one build allows. Cases must share their build."""
    grounds, refused = _grounds(cases)
    if not grounds:
        why = refused[0][1] if len(refused) == 1 else "no match can be used"
        return Found(None, (), 0, False, why, tuple(refused))
    build = grounds[0].data.build
    assert build is not None
    wiring = tree(build)
    known = [set(g.currents) for g in grounds]
    supply = [r.id for r in wiring.runs.values() if not r.is_motor_lead and all(r.id in own for own in known)]
    left = tuple(run for run in wiring.runs if run not in supply)
    need = grounds[0].data.settings.close_margin_pct + SPARE_PCT
    about = Found(None, (), 0, False, "", tuple(refused), left, _broken_before(grounds), need)
    about = replace(about, remade=tuple(c.match for c in cases if c.data is not None and remade_sets(c.data)))
    if not supply:
        return replace(about, note="no run's current is known")
    fitting, unweighed = _fitting(grounds, packs)
    options: list[Option] = []
    tried = 0
    biggest = _biggest(grounds)
    for index, share in enumerate(LIMIT_SHARES if biggest is not None else (1.0,)):
        told(0.1 + 0.1 * index, "sizes")
        limit = None if share == 1.0 or biggest is None else float(np.floor(share * biggest[1]))
        cap = None if limit is None or biggest is None else (biggest[0], limit)
        sized = _sized(grounds, wiring, supply, cap)
        if any(not sizes for sizes in sized.values()):
            continue
        for pack in (None, *fitting):
            found, count = _combined(grounds, wiring, sized, pack, cap)
            options += found
            tried += count
    room = room_g(build)
    light = sorted((o for o in options if room is None or o.adds_g <= max(room, 0.0)), key=lambda o: o.adds_g)
    about = replace(about, pareto=pareto_of([o for o in options if o.limit_A is None] or options), tried=tried)
    if not light:
        why = "none keeps every margin" if not options else f"the lightest is {min(o.adds_g for o in options):+.0f} g"
        return replace(about, note=f"{why}; {_room_words(room)}")
    best, proved, note = _proved(grounds, light, {p.id: p for p in packs}, told)
    if room is not None and room < 0:
        note = f"{_room_words(room)}; {note}".rstrip("; ")
    if unweighed:
        note = f"{note}; left out, no mass stated: pack {', '.join(unweighed)}".lstrip("; ")
    return replace(about, best=best, proved=proved, note=note, overloads=_overloads(grounds[0].data, best))


def _overloads(data: MatchData, best: Option | None) -> tuple[str, ...]:
    if best is None or data.build is None:
        return ()
    runs = [key.split(".")[1] for key, _ in best.sets if key.endswith(".gauge")]
    sets = [(key, value) for key, value in best.sets if key.startswith("wire.")]
    after = changed(data.build, data.pack, tuple(sets)).build
    return uncovered(data, tree(after), runs)


def _fitting(grounds: Sequence[_Ground], packs: Sequence[Pack]) -> tuple[list[Pack], list[str]]:
    """Packs of as many cells whose grams against the fitted ones are known, and the ids of those without."""
    fitted = [g.data.pack for g in grounds]
    cells = [p for p in packs if all(f is None or p.cells == f.cells for f in fitted)]
    weighed = all(f is not None and f.mass_g is not None for f in fitted)
    good = [p for p in cells if weighed and p.mass_g is not None]
    return good, [p.id for p in cells if p not in good and any(f is None or f.id != p.id for f in fitted)]


def _grounds(cases: Sequence[Case]) -> tuple[list[_Ground], list[tuple[str, str]]]:
    grounds: list[_Ground] = []
    refused = []
    for case in cases:
        if case.data is None or case.review is None:
            refused.append((case.match, case.refused or "it could not be reviewed"))
            continue
        if case.data.build is None:
            refused.append((case.match, "no build is named"))
            continue
        wiring = tree(case.data.build)
        currents = _complete(case.data, wiring)
        why = unreplayable(case.data)
        data, review = case.data, case.review
        if why is None and remade_sets(data):
            made = replay(data, changed(case.data.build, data.pack, remade_sets(data)), review)
            if made.data is not None and made.after is not None:
                data, review = made.data, made.after
        if not any(not wiring.runs[run].is_motor_lead for run in currents) or case.data.window is None:
            refused.append((case.match, "no run's current is known"))
        elif why is not None:
            refused.append((case.match, why.text))
        else:
            currents = _complete(data, wiring)
            grounds.append(_Ground(case.match, data, review, currents, lows(data, wiring)))
    return grounds, refused


def _complete(data: MatchData, wiring: Tree) -> dict[str, RunCurrent]:
    return {k: c for k, c in currents_of(data, wiring).items() if isinstance(c, RunCurrent) and c.complete}


def remade_sets(data: MatchData) -> tuple[tuple[str, str], ...]:
    """The joints that came loose in this match, remade: no wiring is chosen for a loose joint."""
    runs = dict.fromkeys(run for step in joints(data).steps for run in step.runs)
    return tuple((f"wire.{run}.joints", "remade") for run in runs)


def _broken_before(grounds: Sequence[_Ground]) -> tuple[tuple[str, str, str], ...]:
    """(match, check, part) of what was past its rating, close or failed before any change."""
    return tuple(
        (g.match, f.check or f.kind, f.part) for g in grounds for f in g.review.findings if f.verdict in SERIOUS
    )


def _room_words(room: float | None) -> str:
    if room is None:
        return "the mass limit is not stated"
    return (
        f"{room:.0f} g are left to the mass limit"
        if room >= 0
        else f"the build is {-room:.0f} g over its limit already"
    )


def _biggest(grounds: Sequence[_Ground]) -> tuple[str, float] | None:
    """The controller that drew most in any match, if its limit is about the input current, and how much."""
    build = grounds[0].data.build
    assert build is not None
    peaks = []
    for c in build.controllers:
        signals = [g.data.inside(f"{c.id}_input_current_A") for g in grounds]
        if c.rating_basis == "input" and all(s is not None for s in signals):
            peaks.append((c.id, max(float(np.max(s.x)) for s in signals if s is not None)))
    return max(peaks, key=lambda pair: pair[1], default=None)


def _sized(
    grounds: Sequence[_Ground], wiring: Tree, supply: list[str], cap: tuple[str, float] | None
) -> dict[str, list[Sized]]:
    """Every run in every size that stays cool in every match: the warmest match counts."""
    found: dict[str, list[Sized]] | None = None
    for g in grounds:
        here = sized_runs(g.data, wiring, g.currents, supply, cap)
        if found is None:
            found = here
            continue
        merged: dict[str, list[Sized]] = {}
        for run in found:
            other = {s.gauge: s for s in here.get(run, [])}
            both = [(s, other[s.gauge]) for s in found[run] if s.gauge in other]
            merged[run] = [min(pair, key=lambda s: s.margin_pct) for pair in both]
        found = merged
    return found or {}


def _combined(
    grounds: Sequence[_Ground],
    wiring: Tree,
    sized: Mapping[str, list[Sized]],
    pack: Pack | None,
    cap: tuple[str, float] | None,
) -> tuple[list[Option], int]:
    """For every size of the root runs the lightest branches that keep their volts: all sizes against all at once."""
    root = next((r for r in wiring.roots if r in sized), None)
    gains = [pack_gain_ohm(g.data, pack) for g in grounds]
    if root is None or any(gain is None for gain in gains):
        return [], 0
    need = grounds[0].data.settings.close_margin_pct + SPARE_PCT
    weights = {run: np.array([s.grams for s in sizes]) for run, sizes in sized.items()}
    found: list[Option] = []
    tried = 0
    for base in sized[root]:
        margins = {}
        for run, sizes in sized.items():
            margin = np.array([base.margin_pct] if run == root else [s.margin_pct for s in sizes])
            for g, gain in zip(grounds, gains, strict=True):
                if run != root and run in g.lows and gain is not None:
                    margin = np.minimum(margin, volt_margins(wiring, g.lows[run], base, sizes, gain, cap))
            tried += len(sizes) if run != root else 0
            margins[run] = margin
        for more in MORE_PCT:
            chosen, least = [], []
            for run, margin in margins.items():
                good = margin >= need + more
                if not good.any():
                    break
                pick = 0 if run == root else int(np.argmin(np.where(good, weights[run], np.inf)))
                chosen.append(base if run == root else sized[run][pick])
                least.append(float(margin[pick]))
            else:
                found.append(option_of([g.data.pack for g in grounds], wiring, chosen, min(least), pack, cap))
    return found, tried


def _proved(
    grounds: Sequence[_Ground],
    light: list[Option],
    packs: Mapping[str, Pack],
    told: Callable[[float, str], None],
) -> tuple[Option | None, bool, str]:
    """The lightest that the replay confirms on every match: the lightest three, then those with more margin."""
    wanted = [*light[:3], *(o for o in pareto_of(light) if o not in light[:3])][:MOST_REPLAYED]
    order = list(grounds)
    for index, option in enumerate(wanted):
        if not option.sets:
            return option, True, "the wiring as it is"
        against = None
        for g in order:
            told(0.4 + 0.4 * index / len(wanted), g.match)
            against = _against(g, option, packs)
            if isinstance(against, Refused):
                return option, False, f"{g.match} not replayed: {against.text}"
            if against:
                order = [g, *(other for other in order if other is not g)]  # what failed once fails the next too
                break
        if not against:
            return option, True, ""
    return None, False, f"the lightest {len(wanted)} bring something close or over when replayed"


def _against(g: _Ground, option: Option, packs: Mapping[str, Pack]) -> Refused | list[tuple[str, str]]:
    """What one match holds against the option: checks close or over that were not before."""
    assert g.data.build is not None
    known = {(f.check, f.part) for f in g.review.findings if f.verdict in SERIOUS}
    made = replay_rows(g.data, changed(g.data.build, g.data.pack, option.sets, packs), g.review)
    if isinstance(made, Refused):
        return made
    return [key for key in broken(made[0].rows, made[1].ends) if key not in known or key[0] == "wire_temperature"]
