"""Questions in SQL to the tables of one season or of several, by DuckDB, which sees nothing else of the machine."""

from __future__ import annotations

from collections.abc import Sequence
from importlib import import_module
from typing import Any

import pyarrow as pa
import pyarrow.dataset as ds

from analysis.season_rows import FINDINGS_SCHEMA, METRICS_SCHEMA
from analysis.season_tables import FINDINGS_FILE, METRICS_FILE
from ingest.errors import MissingExtra, SeasonError, UsageError
from ingest.places import is_remote
from ingest.remote_path import first_line
from ingest.season import Season

TABLES = {"metrics": (METRICS_FILE, METRICS_SCHEMA), "findings": (FINDINGS_FILE, FINDINGS_SCHEMA)}


def columns_of(name: str) -> list[str]:
    """The columns of "metrics" or "findings" as a query sees them."""
    return ["season", *TABLES[name][1].names]


def query(seasons: Sequence[tuple[str, Season]], sql: str) -> pa.Table:
    """The answer to one SELECT on `metrics` and `findings`, which hold those of every season (name, season).

    Only the columns and rows that the question needs are read. Files, the network and settings are out of its reach,
    and nothing can be changed. Raises MissingExtra without the season extra, UsageError where the query is wrong,
    SeasonError where no run has made the tables.
    """
    try:
        duckdb = import_module("duckdb")
    except ImportError:
        raise MissingExtra("season", "--query") from None
    found = {(n, name): _dataset(season, TABLES[name][0]) for n, (_, season) in enumerate(seasons) for name in TABLES}
    with duckdb.connect(":memory:", config={"python_enable_replacements": False}) as connection:
        for (n, name), dataset in found.items():
            connection.register(f"{name}_{n}", dataset)
        for name in TABLES:
            parts = [f"SELECT {_quoted(label)} AS season, * FROM {name}_{n}" for n, (label, _) in enumerate(seasons)]
            connection.execute(f"CREATE VIEW {name} AS {' UNION ALL BY NAME '.join(parts)}")
        connection.execute("SET enable_external_access = false")
        connection.execute("SET lock_configuration = true")
        try:
            statements = connection.extract_statements(sql)
            if len(statements) != 1 or statements[0].type != duckdb.StatementType.SELECT:
                raise UsageError("a query is one SELECT", found=sql[:80], mend=_mend())
            answer: pa.Table = connection.sql(sql).to_arrow_table()
        except duckdb.Error as error:
            raise UsageError(f"the query cannot be run: {first_line(error)}", mend=_mend()) from None
        except (OSError, pa.ArrowException) as error:  # a table that went away or was damaged meanwhile
            raise SeasonError(f"a table cannot be read: {first_line(error)}", mend="Run the season again.") from None
    return answer


def plain_rows(table: pa.Table) -> list[list[Any]]:
    """Rows of plain JSON values: what is no number, text or list of them becomes text, what is not finite null."""
    return [[_plain(value) for value in row.values()] for row in table.to_pylist()] if table.num_columns else []


def _plain(value: Any) -> Any:
    if value is None or isinstance(value, bool | int | str):
        return value
    if isinstance(value, float):
        return value if abs(value) < float("inf") else None
    if isinstance(value, list | tuple):
        return [_plain(inner) for inner in value]
    return str(value)


def _dataset(season: Season, name: str) -> ds.Dataset:
    path = season.results_path / name
    scan = ds.ParquetFragmentScanOptions(page_checksum_verification=True)
    form = ds.ParquetFileFormat(default_fragment_scan_options=scan)
    try:
        if is_remote(path):
            fs, key = path.location
            return ds.dataset(key, filesystem=fs, format=form)
        return ds.dataset(str(path), format=form)
    except (OSError, pa.ArrowException):
        mend = f"Make it with: afterbout season --season {season.address}"
        raise SeasonError("is not there or cannot be read", file=path, mend=mend) from None


def _quoted(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"


def _mend() -> str:
    return "; ".join(f"{name} has {', '.join(columns_of(name))}" for name in TABLES) + "."
