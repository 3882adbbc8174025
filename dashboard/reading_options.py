"""How log files are to be read: what the build, the season and the words of a command say about their columns."""

from __future__ import annotations

from pathlib import Path

from ingest.builds import Build
from ingest.errors import UsageError, nearest
from ingest.formats import ReadOptions
from ingest.readings import Reading, load_reading
from ingest.season import Season

FILE_NAME_OF_READING = ".toml"


def parts_of(build: Build | None) -> ReadOptions:
    """What a build says about columns: its parts, and the pole pairs that electrical speed needs."""
    if build is None:
        return ReadOptions()
    poles = {m.controller: m.pole_pairs for m in build.motors if m.pole_pairs}
    poles |= {m.id: m.pole_pairs for m in build.motors if m.pole_pairs}
    return ReadOptions(parts=build.part_kinds(), pole_pairs=poles)


def read_options(
    build: Build | None = None,
    season: Season | None = None,
    reading: str | None = None,
    rate_Hz: float | None = None,
    dbc: str | None = None,
) -> ReadOptions:
    """How files are to be read. reading: a .toml file, or the name of one in the season."""
    base = parts_of(build)
    saved = tuple(season.readings()) if season is not None else ()
    chosen: Reading | None = None
    if reading is not None:
        if Path(reading).suffix == FILE_NAME_OF_READING or Path(reading).exists():
            chosen = load_reading(reading)
        else:
            named = {r.name: r for r in saved}
            if reading not in named:
                raise UsageError(f"there is no reading {reading!r}", mend=nearest(reading, named))
            chosen = named[reading]
    if rate_Hz is not None and not rate_Hz > 0:
        raise UsageError("--rate must be above zero", found=rate_Hz)
    return ReadOptions(
        reading=chosen,
        readings=saved,
        rate_Hz=rate_Hz,
        dbc=Path(dbc) if dbc else None,
        parts=base.parts,
        pole_pairs=base.pole_pairs,
    )
