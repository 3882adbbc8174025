"""What a season shows over time: each pack's resistance, each build's hottest wire, and what drifted, with words."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from weakref import WeakKeyDictionary

from analysis.drift import drifts
from analysis.pack_life import PackLife, pack_lives
from analysis.season_rows import MatchRow
from dashboard.pack_picture import Dot, Panel
from dashboard.page_words import part_name
from dashboard.season_page import drift_words, life_words
from dashboard.source import Source
from ingest.builds import Build

HOTTEST = "hottest_wire_standard_degC"
RESISTANCE = "pack_resistance_1s_mohm"


@dataclass(frozen=True)
class Trends:
    """Panels of packs and of builds, one each, and sentences; all empty where no match is reviewed."""

    packs: tuple[Panel, ...] = ()
    builds: tuple[Panel, ...] = ()
    of_packs: tuple[str, ...] = ()
    of_robot: tuple[str, ...] = ()

    @property
    def any(self) -> bool:
        return bool(self.packs or self.builds)


_held: WeakKeyDictionary[Source, tuple[object, Trends]] = WeakKeyDictionary()
_making = threading.Lock()


def trends_of(source: Source) -> Trends:
    """Made once for the files as they stand: a long season takes seconds. Raises AfterboutError."""
    with _making:
        now = source.state()
        kept = _held.get(source)
        if kept is not None and kept[0] is now:
            return kept[1]
        made = _trends(source)
        _held[source] = (now, made)
        return made


def _trends(source: Source) -> Trends:
    if source.season is None:
        return Trends()
    rows = list(source.season_run().rows())
    lives = pack_lives(rows, {pack.id: pack for pack in source.packs()})
    builds: dict[str, Build] = {name: source.season.build(name) for name in sorted({r.build for r in rows} - {""})}
    found = [asdict(drift) for drift in drifts(rows, builds)]
    told = [drift_words(row) for row in found if row["verdict"] in ("changed", "drifts", "possible")]
    return Trends(
        tuple(panel for life in lives if (panel := _of_pack(rows, life)) is not None),
        tuple(panel for name in builds if (panel := _of_build(rows, name)) is not None),
        tuple(f"{part_name(life.pack)}: {life_words(asdict(life))}" for life in lives if life.uses),
        tuple(told),
    )


def _of_pack(rows: Sequence[MatchRow], life: PackLife) -> Panel | None:
    dots = _dots([row for row in rows if row.pack == life.pack], RESISTANCE)
    name = f"Pack {life.pack}"
    return Panel(name, "mohm", dots, life.line_mohm, "retire at") if any(d.value is not None for d in dots) else None


def _of_build(rows: Sequence[MatchRow], build: str) -> Panel | None:
    dots = _dots([row for row in rows if row.build == build], HOTTEST)
    return Panel(f"Build {build}", "degC", dots) if any(d.value is not None for d in dots) else None


def _dots(rows: Sequence[MatchRow], name: str) -> tuple[Dot, ...]:
    found = [(row.match, row.metric(name)) for row in rows]
    return tuple(Dot(m, None) if x is None else Dot(m, x.value, x.low, x.high) for m, x in found)
