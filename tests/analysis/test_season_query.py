"""Questions in SQL: the answers against pyarrow's own sums, and what a query must not reach."""

from __future__ import annotations

import csv
import io
import json
import sys
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc
import pytest

from analysis.season_query import columns_of, plain_rows, query
from analysis.season_tables import read_findings, read_metrics
from ingest.errors import MissingExtra, SeasonError, UsageError
from ingest.season import Season
from tests.analysis.test_season_run import make, run
from tests.conftest import run_command

pytest.importorskip("duckdb", reason="the season extra is not installed")


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Season:
    made = make(tmp_path_factory.mktemp("query") / "s", matches=3)
    run(made)
    return made


def ask(season: Season, sql: str) -> list[list[Any]]:
    return plain_rows(query([("s", season)], sql))


def test_the_answer_is_that_of_pyarrow(season: Season) -> None:
    table = read_metrics(season)
    found = dict(ask(season, "select metric, sum(value) from metrics group by metric"))
    expected = table.group_by("metric").aggregate([("value", "sum")]).to_pylist()
    assert found == {row["metric"]: pytest.approx(row["value_sum"]) for row in expected}
    assert ask(season, "select count(*) from findings") == [[read_findings(season).num_rows]]
    one = ask(season, "select match, value from metrics where metric = 'rms_1s_A' order by \"order\"")
    kept = table.filter(pc.equal(table.column("metric"), "rms_1s_A"))
    assert one == [list(pair) for pair in zip(*(kept.column(n).to_pylist() for n in ("match", "value")), strict=True)]
    assert query([("s", season)], "select * from metrics").column_names == columns_of("metrics")


def test_several_seasons_are_one_table(season: Season) -> None:
    table = query(
        [("one", season), ("it's two", season)], "select season, count(distinct match) n from metrics group by 1"
    )
    assert sorted(plain_rows(table)) == [["it's two", 3], ["one", 3]]


@pytest.mark.parametrize(
    ("sql", "says"),
    [
        ("select * from read_csv('FILE')", "disabled"),
        ("select * from read_text('FILE')", "disabled"),
        ("select * from 'FILE'", "disabled"),
        ("select * from glob('*')", "disabled"),
        ("copy metrics to 'FILE'", "one SELECT"),
        ("attach 'FILE'", "one SELECT"),
        ("install httpfs", "one SELECT"),
        ("set enable_external_access = true", "one SELECT"),
        ("create table x as select 1", "one SELECT"),
        ("select 1; select 2", "one SELECT"),
        ("", "one SELECT"),
        ("select nothing from metrics", "not found"),
        ("selec 1", "syntax"),
        ("select * from season", "does not exist"),
    ],
)
def test_nothing_else_is_within_reach(season: Season, tmp_path: Path, sql: str, says: str) -> None:
    secret = tmp_path / "secret.csv"
    secret.write_text("a\n1\n", encoding="utf-8")
    with pytest.raises(UsageError, match=f"(?i){says}") as caught:
        ask(season, sql.replace("FILE", secret.as_posix()))
    assert "metrics has season, match" in str(caught.value)
    assert list(tmp_path.iterdir()) == [secret]


def test_values_that_json_lacks(season: Season) -> None:
    rows = ask(season, "select 1.5::decimal(4,1), 'inf'::double, date '2026-05-09', [1, 2], null, true, 'nan'::double")
    assert rows == [["1.5", None, "2026-05-09", [1, 2], None, True, None]]
    json.dumps(rows, allow_nan=False)


def test_without_tables_or_the_extra(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    bare = make(tmp_path / "s", matches=0)
    with pytest.raises(SeasonError, match="afterbout season --season"):
        ask(bare, "select 1")
    monkeypatch.setitem(sys.modules, "duckdb", None)
    with pytest.raises(MissingExtra, match=r"pip install 'afterbout\[season\]'"):
        ask(bare, "select 1")


def test_the_command_prints_json_csv_and_words(season: Season) -> None:
    sql = "select match, round(value) as amps, '=1+1' as formula from metrics where metric = 'rms_1s_A' order by match"
    words = ("season", "--season", season.root, "--query", sql)
    ran = run_command(*words, "--json")
    assert ran.code == 0, ran.err
    assert ran.json["columns"][0] == {"name": "match", "type": "string"}
    assert ran.json["rows"] == [["m01", 50.0, "=1+1"], ["m02", 51.0, "=1+1"], ["m03", 52.0, "=1+1"]]
    rows = list(csv.reader(io.StringIO(run_command(*words, "--csv").out)))
    assert rows[:2] == [["match", "amps", "formula"], ["m01", "50", "'=1+1"]]
    text = run_command(*words).out
    assert "m03" in text and "3 rows" in text
    wrong = run_command("season", "--season", season.root, "--query", "drop view metrics")
    assert wrong.code == 2 and "one SELECT" in wrong.err
    assert run_command("season", "--season", season.root, "--csv").code == 2


def test_duplicate_and_nested_columns_as_csv(season: Season) -> None:
    from dashboard.exporting import csv_bytes

    table = query([("s", season)], "select 1 as a, 2 as a, [1, 2] as b, '-x' as c")
    assert csv_bytes(table).decode() == '"a","a","b","c"\n1,2,"[1, 2]","\'-x"\n'
    assert isinstance(table, pa.Table)
