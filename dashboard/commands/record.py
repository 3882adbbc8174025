"""afterbout record: live sources into one recording, and into a match of the season where one is named."""

from __future__ import annotations

import argparse
import io
import re
import signal
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dashboard.output import print_json, say, warn
from ingest.errors import AfterboutError, UsageError, nearest
from ingest.fields import MATCH_ID_PATTERN

if TYPE_CHECKING:
    from ingest.builds import Build, Pack
    from ingest.record.ending import Outcome, Stop
    from ingest.record.session import Session
    from ingest.record.sources import Source
    from ingest.season import Season

CAUTION = """\
Before you connect a laptop to a robot:
  - Blade or belt off, or the robot in the closed test box.
  - Wheels raised.
  - The laptop isolated: on its battery, not on a charger or anything else with an earth.
The event's rules come first. afterbout only listens; it sends nothing."""


def run(args: argparse.Namespace) -> int:
    from dashboard.cli import EXIT_DONE
    from dashboard.live_words import size_text
    from dashboard.record_document import record_document
    from dashboard.record_go_on import choose_file, went_on_text
    from dashboard.record_screen import Screen
    from ingest.record.ending import STOPS, Stop
    from ingest.season import Season

    season = Season(args.season) if args.season is not None else None
    if args.match is not None:
        _check_match(args.match, season)
    session = prepare(args, season)
    choose_file(session, args.go_on, season, args.match)
    if any(source.physical for source in session.sources):
        _ask(args.yes)
    stop = Stop()
    terminals = [name for name in ("stdout", "stderr") if getattr(sys, name).isatty()]
    session.open()
    for source in session.sources:
        warn(f"{source.name}: {source.address}")
        for remark in source.remarks():
            warn(f"  {remark}")
    if session.behind is not None:
        warn(went_on_text(session.behind))
    with _signals(stop):
        outcome = session.run(stop, Screen())
        if outcome.stopped_by == "hangup":
            for name in terminals:  # it is closed: nobody reads what is said from here on
                setattr(sys, name, io.StringIO())
        if outcome.error is None or outcome.files:
            warn(f"{STOPS[outcome.stopped_by]}; {_files_text(outcome)}, {size_text(outcome.bytes_written)}")
        if session.behind is not None and session.behind.kept_in is not None:
            warn(f"The torn end that was cut off is kept in {session.behind.kept_in}")
    added = _add(args, session, outcome) if args.match is not None and outcome.files else None
    if args.json:
        print_json(record_document(session, outcome, added))
    else:
        _tell(args, session, outcome, added)
    if outcome.error is not None:
        raise outcome.error
    return EXIT_DONE


def _check_match(match: str, season: Season | None) -> None:
    if season is None:
        raise UsageError("--match needs --season", mend="Name the season folder: --season S")
    if not re.fullmatch(MATCH_ID_PATTERN, match):
        raise UsageError("is no match id", found=match, mend="Use a to z, 0 to 9 and _, such as m01.")


def prepare(args: argparse.Namespace, season: Season | None) -> Session:
    """Everything that can be wrong in the words of the command is found here, before anything is opened."""
    from dashboard.reading_options import read_options
    from ingest.record.blocks import SourceNote
    from ingest.record.figures import decoder_for
    from ingest.record.limits import limits_of
    from ingest.record.live import Live, SourceView
    from ingest.record.session import Session
    from ingest.record.sources import RecordClock, make_sources
    from ingest.record.triggers import Plan, parse_condition, parse_rotation
    from ingest.store import Store

    sources = make_sources(args.sources)
    build, pack = _fitted(args, season)
    rotate = parse_rotation(args.rotate_every) if args.rotate_every is not None else (None, None)
    for option, value in (("--for", args.for_s), ("--max-size", args.max_size)):
        if value is not None and not value > 0:
            raise UsageError(f"{option} must be above zero", found=value)
    plan = Plan(
        parse_condition(args.start_when, "--start-when") if args.start_when is not None else None,
        parse_condition(args.stop_when, "--stop-when") if args.stop_when is not None else None,
        args.for_s,
        int(args.max_size * 1e6) if args.max_size is not None else None,
        *rotate,
    )
    readings, databases = _per_source(args.reading, sources, "--reading"), _per_source(args.dbc, sources, "--dbc")
    views, notes = [], []
    for source in sources:
        options = read_options(build, season, readings.get(source.name), args.rate, databases.get(source.name))
        views.append(SourceView(source, decoder_for(source.kind, source.name, options)))
        reading = options.reading
        text = Path(reading.path).read_text(encoding="utf-8") if reading is not None and reading.path else None
        notes.append(SourceNote(source.name, source.kind, source.settings, text))
    live = Live(views, limits_of(build, pack))
    return Session(sources, notes, live, Path(args.out), plan, Store(), RecordClock())


def _per_source(given: Sequence[str], sources: Sequence[Source], option: str) -> dict[str, str]:
    """`R.toml` is for every source, `name=R.toml` for one. Raises UsageError for a name that is none."""
    names = [source.name for source in sources]
    found: dict[str, str] = {}
    for text in given:
        name, equals, value = text.partition("=")
        if not equals:
            found = {name: text for name in names} | found
        elif name in names:
            found[name] = value
        else:
            raise UsageError(f"{option} names no source of this recording", found=name, mend=nearest(name, names))
    return found


def _fitted(args: argparse.Namespace, season: Season | None) -> tuple[Build | None, Pack | None]:
    """Build and pack as they are given, else as the match file states them: their ratings are watched."""
    build, pack = args.build, args.pack
    if season is not None and args.match is not None and args.match in season.ids("matches"):
        match = season.match(args.match)
        build, pack = build or match.build, pack or match.pack
    return _build(build, season), _pack(pack, season)


def _build(given: str | None, season: Season | None) -> Build | None:
    from ingest.builds import load_build

    if given is None:
        return None
    if given.endswith(".toml") or season is None:
        return load_build(given)
    return season.build(given)


def _pack(given: str | None, season: Season | None) -> Pack | None:
    from ingest.builds import load_pack

    if given is None:
        return None
    if given.endswith(".toml") or season is None:
        return load_pack(given)
    return season.pack(given)


def _ask(yes: bool) -> None:
    """The caution; on a terminal it waits for Enter."""
    warn(CAUTION)
    if yes or not sys.stdin.isatty():
        return
    sys.stderr.write("Enter to go on, Ctrl-C to leave: ")
    sys.stderr.flush()
    if not sys.stdin.readline():
        raise EOFError


@contextmanager
def _signals(stop: Stop) -> Iterator[None]:
    """Ctrl-C, a polite kill and a closed terminal end the recording well; afterwards they mean what they did."""
    from pyarrow import enable_signal_handlers

    wanted = {"SIGINT": "asked", "SIGTERM": "terminated", "SIGBREAK": "terminated", "SIGHUP": "hangup"}
    before: dict[Any, Any] = {}
    enable_signal_handlers(False)  # or Ctrl-C while lines are parsed would break that off with an error of the library
    try:
        for name, reason in wanted.items():
            number = getattr(signal, name, None)
            if number is not None:
                before[number] = signal.signal(number, lambda *_, reason=reason: stop.ask(reason))
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
        enable_signal_handlers(True)


def _add(args: argparse.Namespace, session: Session, outcome: Outcome) -> Any:
    """The very code of `afterbout add`, on the files just written."""
    from dashboard.commands.add import added

    words = argparse.Namespace(**vars(args))
    words.files = [str(path) for path in outcome.files]
    words.build, words.pack = (
        None if v is None or not v.endswith(".toml") else Path(v).stem for v in (args.build, args.pack)
    )
    words.build = words.build or args.build
    words.pack = words.pack or args.pack
    words.reading = words.dbc = None
    try:
        return added(words)
    except AfterboutError as error:
        again = f"afterbout add {' '.join(words.files)} --season {args.season} --match {args.match}"
        warn(f"afterbout: the recording is kept, but it could not be added: {error}")
        warn(f"Add it with: {again}")
        outcome.error = outcome.error or error
        return None


def _tell(args: argparse.Namespace, session: Session, outcome: Outcome, result: Any) -> None:
    from dashboard.commands.add import tell
    from dashboard.live_words import lost_text
    from dashboard.record_screen import alarm_lines, extreme_lines

    for view in session.live.views:
        say(f"{view.name}: {view.packets:,} packets, {view.bytes:,} bytes. {lost_text(view)}".rstrip(" ."))
        for begun, ended, text in view.gaps:
            until = f"{ended:.1f} s" if ended is not None else "the end"
            say(f"  gap from {begun:.1f} s to {until}: {text}")
    for line in (*extreme_lines(session.live), *alarm_lines(session.live)):
        say(line)
    if result is not None:
        tell(result, args.season)
    elif outcome.files and outcome.error is None:
        say(f"Next: afterbout inspect {outcome.files[0]}")


def _files_text(outcome: Outcome) -> str:
    names = [str(path) for path in outcome.files]
    if not names:
        return "nothing was recorded"
    more = f" and {len(names) - 1} more" if len(names) > 1 else ""
    return f"{outcome.duration_s:.1f} s in {names[0]}{more}"
