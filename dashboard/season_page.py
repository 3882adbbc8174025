"""A season as text: its matches, then packs, what drifted, builds; and several seasons as a list."""

from __future__ import annotations

import textwrap
from typing import Any

from analysis.compare_words import figure, title
from analysis.wording import VERDICT_WORDS, name_of

WIDTH = 96
ORDER = ("over", "fault", "close", "within", "unknown")
COLUMNS = (
    ("pack_minimum_V", "lowest"),
    ("rms_10s_A", "10 s"),
    ("hottest_wire_standard_degC", "wire*"),
    ("harness_resistance_mohm", "harness"),
    ("spin_up_s", "spin-up"),
)
SHOWN_CHANGES = 3


def season_text(document: dict[str, Any]) -> str:
    """The page for one document of `afterbout season --json`."""
    out = [_title(document), ""]
    out += _matches(document["matches"])
    out += _packs(document["packs"], document["pairs"])
    out += _drifts(document["drifts"])
    out += _builds(document["builds"])
    failed = document["run"]["failed"]
    if failed:
        out += ["", f"Not reviewed: {len(failed)}"]
        for one in failed:
            out += _wrapped("  ", f"{one['match']}: {one['reason']}")
    if document["run"]["gone"]:
        out += ["", f"Removed meanwhile: {', '.join(document['run']['gone'])}"]
    for text in document["problems"]:
        if not any(text == one["reason"] for one in failed):
            out += _wrapped("Could not be read: ", text)
    if document["run"]["tables"]:
        out += ["", *(f"Table: {path}" for path in document["run"]["tables"])]
    return "\n".join(out)


def seasons_text(heads: list[dict[str, Any]]) -> str:
    return "\n".join(_title(head) for head in heads)


def query_text(names: list[str], rows: list[list[Any]]) -> str:
    """The answer of --query as columns: numbers to the right, in six figures."""
    cells = [["" if v is None else f"{v:.6g}" if isinstance(v, float) else str(v) for v in row] for row in rows]
    widths = [max(len(text) for text in column) for column in zip(names, *cells, strict=True)]
    number = [all(isinstance(row[i], int | float | None) for row in rows) for i in range(len(names))]

    def line(texts: list[str]) -> str:
        pairs = zip(texts, widths, number, strict=True)
        return "  ".join(t.rjust(width) if right else t.ljust(width) for t, width, right in pairs).rstrip()

    return "\n".join([line(names), line(["-" * width for width in widths]), *map(line, cells), f"{len(rows)} rows"])


def _title(document: dict[str, Any]) -> str:
    season, run = document["season"], document["run"]
    count = run["matches"]
    parts = [season["name"], season["robot"], f"{count} match{'es' if count != 1 else ''}"]
    counts = document["verdicts"]
    parts += [f"{counts[v]} {VERDICT_WORDS[v]}" for v in ORDER if counts.get(v)]
    done = f"{run['made']} reviewed now" if run["made"] else "nothing new"
    if run["failed"]:
        done += f", {len(run['failed'])} could not be"
    return " | ".join([*(p for p in parts if p), done])


def _matches(rows: list[dict[str, Any]]) -> list[str]:
    if not rows:
        return ["No match could be reviewed."]
    head = f"  {'match':<8} {'build':<8} {'pack':<8} {'verdict':<8}"
    out = [head + "".join(f"{word:>11}" for _, word in COLUMNS)]
    for row in rows:
        metrics = {m["name"]: m for m in row["metrics"]}
        cells = [figure(metrics[n]["value"], metrics[n]["unit"]) if n in metrics else "" for n, _ in COLUMNS]
        first = f"  {row['id']:<8.8} {row['build'] or '':<8.8} {row['pack'] or '':<8.8} "
        out.append((first + f"{VERDICT_WORDS[row['verdict']]:<8}" + "".join(f"{c:>11}" for c in cells)).rstrip())
    return [*out, "  * hottest wire, estimated, in air of 25 °C"]


def _packs(lives: list[dict[str, Any]], pairs: list[dict[str, Any]]) -> list[str]:
    out = ["", "Packs: resistance at 1 s, 80 % charge, brought to 25 °C"] if lives else []
    for life in lives:
        out += _wrapped(f"  {life['pack']:<8} ", life_words(life))
        weak = [c for c in life["cells"] if abs(c["last_pct"]) > 10]
        for cell in weak:
            side = "above" if cell["last_pct"] > 0 else "below"
            text = f"{name_of(cell['cell']).capitalize()} is {abs(cell['last_pct']):.0f} % {side} the other cells."
            out += _wrapped(" " * 11, text)
        if life["capacity"] is not None:
            out += _wrapped(" " * 11, _capacity(life["capacity"]))
        for note in life["notes"]:
            out += _wrapped(" " * 11, f"{note[:1].upper()}{note[1:]}.")
    for pair in pairs:
        word = {"match": "go together", "differ": "do not go together", "not known": "not known whether they match"}
        out += _wrapped("  ", f"{pair['first']} and {pair['second']} in parallel: {word[pair['fit']]}, {pair['why']}.")
    return out


def life_words(life: dict[str, Any]) -> str:
    """A pack's resistance, its trend and when it reaches its line; life: a PackLife as plain values."""
    uses = life["uses"]
    if not uses:
        return "no figure yet."
    last = uses[-1]
    known = last["corrected_mohm"] is not None
    text = f"{len(uses)} figures, last {last['match']}: {figure(last['mohm'], 'mohm')}"
    if known:
        low, high = (figure(last[f"corrected_{end}"], "mohm") for end in ("low", "high"))
        text += f" at {last['temp_degC']:.0f} °C, {low} to {high} at 25 °C"
    text += "."
    slope = ""
    if life["per_use_mohm"] is not None and life["trend"] != "confounded":
        ends = f"{_signed(life['low'])} to {_signed(life['high'])}"
        slope = f" {_signed(life['per_use_mohm'])} a match ({ends} with {life['achieved_pct']:.0f} %)"
    words = {
        "rises": f" It rises:{slope}.",
        "falls": f" It falls:{slope}.",
        "no trend shown": f" No trend shown:{slope}.",
        "confounded": " Cold and age cannot be told apart.",
        "too few": "",
    }
    text += words[life["trend"]]
    if life["line_mohm"] is not None:
        text += f" Retire at {figure(life['line_mohm'], 'mohm')}"
        if life["early"] is not None:
            ends = (
                f"between its matches {life['early']:.0f} and {life['late']:.0f}"
                if life["late"] is not None
                else f"from its match {life['early']:.0f} on at the earliest"
            )
            text += f": {ends}"
        text += "."
    return text


def _capacity(course: dict[str, Any]) -> str:
    text = f"Capacity between rest voltages: {figure(course['values'][-1], 'Ah')} in the last of {len(course['uses'])}"
    if course["per_use"] is None:
        return f"{text}."
    per, low, high = (f"{course[key]:+.3f}".replace("-", "−") for key in ("per_use", "low", "high"))
    shown = course["p"] <= 0.05
    word = ("It falls" if course["per_use"] < 0 else "It rises") if shown else "No trend shown"
    return f"{text}. {word}: {per} Ah a match ({low} to {high} with {course['achieved_pct']:.0f} %)."


def _signed(value: float | None) -> str:
    text = f"{value or 0:.2f} mΩ".replace("-", "−")
    return text if text.startswith("−") else f"+{text}"


def _drifts(rows: list[dict[str, Any]]) -> list[str]:
    told = [row for row in rows if row["verdict"] in ("changed", "drifts", "possible")]
    told.sort(key=lambda row: row["verdict"] == "possible")
    quiet = [row for row in rows if row["verdict"] == "no change shown"]
    few = [row for row in rows if row["verdict"] == "too few"]
    if not rows:
        return []
    out = ["", "The robot itself"]
    for row in told:
        out += _wrapped("  ", drift_words(row))
    if quiet:
        names = "; ".join(title(row["metric"], row["part"], row["words"]) for row in quiet)
        out += _wrapped("  ", f"No change shown: {names}.")
    if few:
        out += _wrapped("  ", f"Too few matches to say: {len(few)} more.")
    return out


def drift_words(row: dict[str, Any]) -> str:
    """What the robot itself changed; row: a Drift as plain values."""
    name = title(row["metric"], row["part"], row["words"])
    before, after = figure(row["before"], row["unit"]), figure(row["after"], row["unit"])
    if row["verdict"] == "changed":
        text = f"{name}: since {row['since']} {after} instead of {before} (p {row['p_adjusted']:.2g})."
    elif row["verdict"] == "possible":
        text = f"{name}: worth a look, not shown after so many looks: "
        text += f"{before} before {row['since']}, {after} since."
    else:
        text = (
            f"{name}: drifts over the season (p {row['trend_p']:.2g}); {before} before {row['since']}, {after} since."
        )
    if row["builds"]:
        text += f" Build {row['builds'][0]} became {row['builds'][1]} there"
        changes = row["build_changes"]
        if changes:
            more = f", and {len(changes) - SHOWN_CHANGES} more" if len(changes) > SHOWN_CHANGES else ""
            text += f": {'; '.join(changes[:SHOWN_CHANGES])}{more}"
        text += "."
    return text[:1].upper() + text[1:]


def _builds(rows: list[dict[str, Any]]) -> list[str]:
    ids = list(dict.fromkeys(row["build"] for row in rows))
    out = ["", "Builds, medians (compare them with: afterbout compare --by build)"] if ids else []
    for build in ids:
        own = {row["metric"]: row for row in rows if row["build"] == build}
        parts = [f"{word} {figure(own[name]['median'], own[name]['unit'])}" for name, word in COLUMNS if name in own]
        count = max(row["matches"] for row in own.values())
        out += _wrapped(f"  {build:<8} ", f"{count} matches: {', '.join(parts)}")
    return out


def _wrapped(head: str, text: str) -> list[str]:
    return textwrap.wrap(
        text, WIDTH, initial_indent=head, subsequent_indent=" " * len(head), break_on_hyphens=False
    ) or [head]
