"""afterbout inspect: how files are read; stores nothing."""

from __future__ import annotations

import argparse
from pathlib import Path

from dashboard.output import print_json, say, warn


def run(args: argparse.Namespace) -> int:
    from dashboard.inspect_bench import add_bench
    from dashboard.inspect_page import inspect_text
    from dashboard.progress import Progress
    from dashboard.reading_options import read_options
    from ingest.builds import load_build
    from ingest.inspect import exit_code, inspect_files

    build = load_build(args.build) if args.build else None
    options = read_options(build, None, args.reading, args.rate, args.dbc)
    with Progress("inspecting") as show:
        show(0.0, args.files[0])
        document = inspect_files(args.files, options)
        add_bench(document, options)
    if args.json:
        print_json(document)
    else:
        say(inspect_text(document))
    if args.save_reading:
        _save(args.files[0], Path(args.save_reading), options)
    return exit_code(document)


def _save(file: str, target: Path, options: object) -> None:
    from ingest.errors import UsageError
    from ingest.formats import ReadOptions, open_log
    from ingest.readings import reading_from
    from ingest.store import Store

    assert isinstance(options, ReadOptions)
    if target.suffix != ".toml":
        target = target.with_name(target.name + ".toml")
    if target.exists():
        raise UsageError("is there already", file=target, mend="Give another name, or move it away.")
    reader = open_log(file, options)
    for _ in reader.batches():
        pass
    about = reader.provenance
    known = [r for r in (options.reading, *options.readings) if r is not None and r.name == about.reading]
    Store().write_text(target, reading_from(about, reading=known[0] if known else None))
    warn(f"How {file} is read is in {target}: correct it there and use it with --reading {target}.")
