"""afterbout check: a build against its own ratings, with no log."""

from __future__ import annotations

import argparse
from dataclasses import asdict
from typing import Any

from dashboard.output import print_json, say


def run(args: argparse.Namespace) -> int:
    from analysis.build_check import check_build
    from analysis.findings import NotChecked, plain
    from dashboard.cli import EXIT_DONE, EXIT_STRICT
    from ingest.builds import load_build, load_pack

    build = load_build(args.build)
    pack = load_pack(args.pack) if args.pack else None
    found = check_build(build, pack)
    document = plain(_document(found))
    if args.json:
        print_json(document)
    else:
        from dashboard.check_page import check_text

        say(check_text(document))
    if args.strict and (document["verdict"] in ("over", "fault") or found.of(NotChecked)):
        return EXIT_STRICT
    return EXIT_DONE


def _document(found: Any) -> dict[str, Any]:
    from analysis.findings import Estimate, Finding, NotChecked, Passed, finding_dict, worst_verdict
    from analysis.wording import check_sentence

    findings = found.of(Finding)
    passed = found.of(Passed)
    return {
        "schema": "afterbout.check/1",
        "build": found.build.id,
        "pack": found.pack.id if found.pack is not None else None,
        "verdict": worst_verdict(findings, bool(passed or findings)),
        "findings": [{**finding_dict(f), "sentence": check_sentence(f)} for f in findings],
        "passed": [asdict(row) for row in passed],
        "not_checked": [asdict(row) for row in found.of(NotChecked)],
        "estimates": [asdict(row) for row in found.of(Estimate)],
        "before_power": list(found.list_before_power),
    }
