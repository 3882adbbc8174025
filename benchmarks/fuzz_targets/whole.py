"""Whole commands on files that were damaged or made up: what the readers let in must not break what comes behind."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

from benchmarks.fuzz_targets.mutators import lines, toml_values
from benchmarks.fuzz_targets.target import One, Target
from benchmarks.fuzz_targets.texts import build_texts

BEHIND = ("ingest", "analysis")


def _check(folder: Path) -> One:
    """`check`: every build that can be read is checked, and the answer can be printed and written as JSON."""
    from analysis.build_check import check_build
    from analysis.findings import plain
    from dashboard.check_page import check_text
    from dashboard.commands.check import _document
    from ingest.builds import load_build

    path = folder / "b.toml"

    def one(data: bytes) -> object:
        path.write_bytes(data)
        document = plain(_document(check_build(load_build(path), None)))
        json.dumps(document, allow_nan=False)
        return check_text(document)

    return one


def _review(folder: Path) -> One:
    """`review FILE --cells 6`: the page, and the document of --json."""
    from dashboard.review_page import review_text
    from dashboard.reviewing import review_files

    path = folder / "pack_logger.csv"

    def one(data: bytes) -> object:
        path.write_bytes(data)
        document = review_files([str(path)], None, None, 6).review.to_dict()
        json.dumps(document, allow_nan=False)
        return review_text(document, everything=True)

    return one


def _logged() -> Sequence[bytes]:
    head = "time_ms,pack_voltage_V,pack_current_A,weapon_current_A,weapon_speed_rpm,weapon_temp_degC\n"
    made = head + "".join(
        f"{n * 50},{25 - n % 20 * 0.1:.2f},{n % 20 * 4.0:.1f},{n % 20 * 3.5:.1f},{n % 20 * 400},{21 + n / 9:.1f}\n"
        for n in range(90)
    )
    return [made.encode(), made.replace(",", ";").replace(".", ",").encode()]


TARGETS = (
    Target("check", "`check` of a build", build_texts, _check, BEHIND, mutate=toml_values),
    Target("review", "`review` of a text log", _logged, _review, BEHIND, seconds=20.0, mutate=lines),
)
