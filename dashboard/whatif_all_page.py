"""One change over every match of a build, and the lightest wiring, as text."""

from __future__ import annotations

import textwrap
from typing import Any

from analysis import wording

WIDTH = 96
MOST_PARETO = 12


def across_text(document: dict[str, Any]) -> str:
    """The page of `afterbout whatif --all`."""
    rows = document["matches"]
    out = [f"Build {document['build']}, {len(rows)} matches, each replayed with", ""]
    out += [f"  {key} = {value}" for key, value in document["changes"].items()]
    out += ["", *_wrapped("", document["sentence"]), ""]
    out += _wrapped("Mass   ", _mass(document))
    out += ["", *table(rows)]
    out += _refused(rows)
    notes = dict.fromkeys(note for row in rows for note in row["notes"])
    for note in notes:
        out += ["", *_wrapped("Note   ", wording.capital(note) + ".")]
    out += ["", *_wrapped("", wording.REPLAY_CAUTION)]
    return "\n".join(out)


def table(rows: list[dict[str, Any]]) -> list[str]:
    """One line a replayed match: verdicts, lowest pack volts, hottest wire and contact, smallest margin."""
    done = [row for row in rows if row["refused"] is None]
    if not done:
        return []
    head = (
        f"  {'match':<8} {'verdict':<17} {'lowest pack V':>21} {'hottest wire':>13} {'contact':>9}"
        f"  {'smallest margin':>22}"
    )
    out = [
        head,
        f"  {'':<8} {'':<17} {'before  after (band)':>21} {'°C':>13} {'°C':>9}  {'before → after (least)':>22}",
    ]
    for row in sorted(done, key=_margin_key):
        verdict = f"{_word(row['verdict_before'])} → {_word(row['verdict_after'])}"
        out.append(
            f"  {row['match']:<8} {verdict:<17} {_volts(row['lowest']):>21} {_degrees(row['hottest_wire']):>13}"
            f" {_degrees(row['hottest_contact']):>9}  {_margins(row):>22}"
        )
        if row["new"]:
            new = "; ".join(_check(check, part) for check, part in row["new"])
            out += _wrapped("           new: ", new)
    return out


def _margin_key(row: dict[str, Any]) -> float:
    least = row["smallest"]
    return float("inf") if least is None or least["margin_pct"] is None else float(least["margin_pct"])


def _word(verdict: str) -> str:
    return wording.VERDICT_WORDS[verdict].lower()


def _volts(row: dict[str, Any] | None) -> str:
    if row is None:
        return "not known"
    before = "?" if row["before"] is None else f"{row['before']:.1f}"
    band = f"({_or(row['low'], 1)}–{_or(row['high'], 1)})"
    return f"{before}  {row['measured']:.1f} {band}"


def _or(value: float | None, places: int) -> str:
    return "open" if value is None else f"{value:.{places}f}"


def _degrees(row: dict[str, Any] | None) -> str:
    if row is None:
        return "not known"
    before = "?" if row["before"] is None else f"{row['before']:.0f}"
    return f"{before} → {row['measured']:.0f}"


def _margins(row: dict[str, Any]) -> str:
    least = row["smallest"]
    if least is None:
        return "none held"
    before = "?" if row["before_pct"] is None else f"{row['before_pct']:.0f}"
    text = f"{before} → {least['margin_pct']:.0f} % ({_or(least['margin_low_pct'], 0)})"
    return text.replace("-", "−")


def _check(check: str, part: str) -> str:
    return f"{wording.name_of(part)}, {wording.CHECK_WORDS.get(check, check)}"


def _refused(rows: list[dict[str, Any]]) -> list[str]:
    out: list[str] = []
    for row in rows:
        if row["refused"] is not None:
            out += ["", *_wrapped(f"  {row['match']:<8} not replayed: ", row["refused"])]
    return out


def _mass(document: dict[str, Any]) -> str:
    grams = document["adds_g"]
    if grams is None:
        parts = ", ".join(document["unweighed"])
        return f"not known: {parts} states no mass" if parts else "not known"
    return _grams(grams) if abs(grams) >= 0.5 else "nothing added"


def _grams(grams: float) -> str:
    return f"{grams:+.0f} g".replace("-", "−")


def lightest_text(document: dict[str, Any]) -> str:
    """The page of `afterbout whatif --lightest`."""
    names = document["matches"]
    of = ", ".join(names) if names else "no match"
    out = [f"Build {document['build']}: the lightest wiring that keeps every margin of {of}", ""]
    if document["tried"]:
        out += _wrapped("", f"{document['tried']:,} sizes, packs and limits held against the margins.")
    for match in document["joints_remade"]:
        out += _wrapped("", f"{match} is taken with its loose joint remade.")
    best = document["best"]
    if best is None:
        out += ["", *_wrapped("None   ", document["note"].rstrip(".") + ".")]
    else:
        out += ["", *_best(document, best)]
    if document["sentence"]:
        out += ["", *_wrapped("", document["sentence"]), "", *table(document["replayed"])]
    if document["overloads"]:
        said = "; ".join(document["overloads"]).replace("_", " ")
        out += ["", *_wrapped("Fuses   ", f"{said}: there the wire passes its limit first, and only the log shows it.")]
    out += _pareto(document)
    if document["left"]:
        parts = ", ".join(wording.name_of(run) for run in document["left"])
        out += ["", *_wrapped("Left as it is   ", f"{parts}: a motor lead, or its current is not known.")]
    broken = document["broken_before"]
    if broken:
        said = "; ".join(f"{row['match']} {_check(row['check'], row['part'])}" for row in broken)
        out += ["", *_wrapped("Past or close before, not mended by this   ", said + ".")]
    for row in document["refused"]:
        out += ["", *_wrapped(f"{row['match']} took no part: ", row["reason"])]
    out += ["", *_wrapped("", "An answer about these matches: another opponent may load the robot more.")]
    out += _wrapped("", wording.REPLAY_CAUTION)
    return "\n".join(out)


def _best(document: dict[str, Any], best: dict[str, Any]) -> list[str]:
    proved = "replayed on every match" if document["proved"] else f"not proved: {document['note']}"
    if not best["sets"]:
        return ["The wiring as it is: nothing lighter keeps every margin."]
    out = [f"{_grams(best['adds_g'])} with (smallest margin {best['margin_pct']:.0f} %, {proved})", ""]
    out += [f"  {key} = {value}" for key, value in best["sets"].items()]
    out += ["", f"  {'run':<24} {'is':>8} {'would be':>9} {'g':>6} {'saves g':>8} {'gets °C':>8} {'may °C':>7}"]
    for run in best["runs"]:
        saves = None if run["was_grams"] is None else run["was_grams"] - run["grams"]
        same = f"wire.{run['run']}.gauge" not in best["sets"]
        out.append(
            f"  {wording.name_of(run['run']):<24.24} {run['was'] or '?':>8} {'same' if same else run['gauge']:>9}"
            f" {run['grams']:>6.1f} {'' if same or saves is None else f'{saves:.1f}':>8} {run['peak_degC']:>8.0f}"
            f" {run['limit_degC']:>7.0f}".replace("-", "−")
        )
    out += ["", *_wrapped("", "A run without a fuse above it that would protect it is never made thinner.")]
    if best["limit_A"] is not None:
        out += _wrapped("", "The lower current limit gives less torque.")
    return out


def _pareto(document: dict[str, Any]) -> list[str]:
    """Grams against margin, lightest first; a mark shows the answer."""
    rows = document["pareto"]
    if not rows:
        return []
    room = document["room_g"]
    out = ["", "  Grams against the smallest margin (screened; only the answer above is replayed)", ""]
    top = max(row["margin_pct"] for row in rows)
    for row in rows[:MOST_PARETO]:
        chosen = document["best"] is not None and row["sets"] == document["best"]["sets"]
        mark = ">" if chosen else " "
        bar = "=" * max(1, round(24 * row["margin_pct"] / max(top, 1e-9)))
        over = "  over the mass limit" if room is not None and row["adds_g"] > max(room, 0.0) else ""
        out.append(f" {mark}{_grams(row['adds_g']):>8} {row['margin_pct']:>4.0f} %  {bar:<24} {_short(row)}{over}")
    if len(rows) > MOST_PARETO:
        out.append(f"  and {len(rows) - MOST_PARETO} more (--json has them)")
    return out


def _short(row: dict[str, Any]) -> str:
    """The choice in a few words: leads by gauge, pack and limit."""
    words = []
    for key, value in row["sets"].items():
        parts = key.split(".")
        if parts[0] == "wire" and parts[2] == "gauge":
            words.append(f"{wording.name_of(parts[1])} {value.removesuffix(' AWG')}")
        elif parts[0] == "pack":
            words.append(value)
        elif parts[0] == "controller":
            words.append(f"{wording.name_of(parts[1])} ≤ {value} A")
    text = ", ".join(words) or "as it is"
    return text if len(text) <= 52 else text[:51] + "…"


def _wrapped(head: str, text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=head, subsequent_indent=" " * len(head)) or [head]
