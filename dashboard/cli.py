"""The `afterbout` command: arguments and exit codes only. Every command imports what it needs when it runs."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Sequence
from importlib import import_module

EXIT_DONE, EXIT_INPUT, EXIT_USAGE, EXIT_STRICT = 0, 1, 2, 3

Adder = Callable[[argparse.ArgumentParser], None]


def _season(parser: argparse.ArgumentParser, required: bool = True) -> None:
    parser.add_argument("--season", metavar="S", required=required, help="the season folder")


def _json(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--json", action="store_true", help="print one JSON document instead of words")


def _reading(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--reading", metavar="R", help="a reading: a .toml file, or the name of one in the season")
    parser.add_argument("--rate", metavar="HZ", type=float, help="samples a second, for a file without a clock")
    parser.add_argument("--dbc", metavar="FILE", help="the CAN database that names a CAN trace's signals")


def _demo(p: argparse.ArgumentParser) -> None:
    p.add_argument("folder", nargs="?", default="demo-season", help="where to make it (default: demo-season)")
    _json(p)


def _new(p: argparse.ArgumentParser) -> None:
    p.add_argument("folder", help="the season folder to make")
    p.add_argument("--class", dest="weight_class", metavar="CLASS", help="weight class: 150g … 250lb")
    p.add_argument("--robot", default=None, help="the robot's name")
    p.add_argument("--yes", action="store_true", help="ask nothing; leave unknown what was not given")


def _inspect(p: argparse.ArgumentParser) -> None:
    p.add_argument("files", nargs="+", metavar="FILE", help="log files")
    p.add_argument("--build", metavar="B", help="a build file, so that its parts can be named")
    p.add_argument("--save-reading", metavar="NAME", help="write how the first file is read to NAME (a .toml file)")
    _reading(p)
    _json(p)


def _add(p: argparse.ArgumentParser) -> None:
    p.add_argument("files", nargs="+", metavar="FILE", help="the log files of one match")
    _season(p)
    p.add_argument("--match", metavar="M", required=True, help="the match's id, such as m06")
    p.add_argument("--build", metavar="B", help="the id of its build")
    p.add_argument("--pack", metavar="P", help="the id of the pack that was fitted")
    p.add_argument("--event", default=None, help="name of the event")
    p.add_argument("--opponent", default=None, help="who it was against")
    _reading(p)
    _json(p)


def _record(p: argparse.ArgumentParser) -> None:
    p.add_argument(
        "sources",
        nargs="+",
        metavar="SOURCE",
        help="serial:PORT@BAUD, can:INTERFACE:CHANNEL@BITRATE, udp:HOST:PORT, or demo: for an invented stream",
    )
    p.add_argument("--out", metavar="FILE", required=True, help="the recording to write")
    p.add_argument("--go-on", action="store_true", help="go on in FILE if it is there: behind its last whole block")
    p.add_argument("--for", dest="for_s", type=float, metavar="S", help="stop after so many seconds")
    p.add_argument("--start-when", metavar="COND", help='wait for a figure, such as "pack_voltage_V > 18"')
    p.add_argument("--stop-when", metavar="COND", help="stop when a figure passes a limit")
    p.add_argument("--max-size", type=float, metavar="MB", help="stop at this size")
    p.add_argument("--rotate-every", metavar="S|MB", help="a new file every 600 (seconds), 10min or 100MB")
    p.add_argument("--reading", action="append", default=[], metavar="[NAME=]R", help="how a source is read")
    p.add_argument("--dbc", action="append", default=[], metavar="[NAME=]FILE", help="the CAN database of a source")
    p.add_argument("--rate", metavar="HZ", type=float, help="samples a second, for a stream without a clock")
    p.add_argument("--build", metavar="B", help="a build (.toml, or an id of the season): its ratings are watched")
    p.add_argument("--pack", metavar="P", help="a pack (.toml, or an id of the season)")
    _season(p, required=False)
    p.add_argument("--match", metavar="M", help="add the recording to the season as this match when it ends")
    p.add_argument("--event", default=None, help="name of the event")
    p.add_argument("--opponent", default=None, help="who it was against")
    p.add_argument("--yes", action="store_true", help="do not wait for Enter after the caution")
    _json(p)


def _note(p: argparse.ArgumentParser) -> None:
    p.add_argument("match", metavar="MATCH", help="the match's id")
    _season(p)
    p.add_argument("--part", required=True, help="the part it was read off: an id of the build, pack, cell1 …")
    p.add_argument("--quantity", required=True, help="temperature, voltage, resistance, charge, current …")
    p.add_argument("--value", required=True, type=float, help="the figure")
    p.add_argument("--unit", required=True, help="its unit: degC, V, mohm, mAh, A …")
    p.add_argument("--when", default="after", help="before, after, or a time (default: after)")
    p.add_argument("--by", default="", help="what it was read with: thermometer, charger …")


def _review(p: argparse.ArgumentParser) -> None:
    p.add_argument("what", nargs="+", metavar="MATCH_OR_FILE", help="a match of the season, or log files")
    _season(p, required=False)
    p.add_argument("--build", metavar="B.toml", help="the build file (with log files)")
    p.add_argument("--pack", metavar="P.toml", help="the pack file (with log files)")
    p.add_argument("--cells", type=int, metavar="N", help="cells in series, where no pack file is at hand")
    p.add_argument("--sheet", metavar="OUT.html", help="also write the one-page sheet")
    p.add_argument("--share", action="store_true", help="leave opponent and notes out of the sheet")
    p.add_argument("--strict", action="store_true", help="exit 3 where the verdict is over, fault or unknown")
    p.add_argument("--all", action="store_true", help="print every margin and everything that was not checked")
    _reading(p)
    _json(p)


def _whatif(p: argparse.ArgumentParser) -> None:
    p.add_argument("what", nargs="*", metavar="MATCH_OR_FILE", help="a match of the season, or log files")
    _season(p, required=False)
    p.add_argument(
        "--set",
        action="append",
        default=[],
        metavar="KEY=VALUE",
        help="what to change: a path in the build or pack file, pack=<id>, wire.<id>.joints=remade; several times",
    )
    p.add_argument("--all", action="store_true", help="every match of that match's build, the worst one said")
    p.add_argument("--lightest", action="store_true", help="look for the lightest wiring that keeps every margin")
    p.add_argument("--build", metavar="B", help="with --season: every match of this build; with files: its .toml")
    p.add_argument("--pack", metavar="P.toml", help="the pack file (with log files)")
    p.add_argument("--cells", type=int, metavar="N", help="cells in series, where no pack file is at hand")
    _reading(p)
    _json(p)


def _pit(p: argparse.ArgumentParser) -> None:
    _season(p)
    p.add_argument("--minutes", type=float, metavar="N", help="to the next match (default: what the match file says)")
    _json(p)


def _check(p: argparse.ArgumentParser) -> None:
    p.add_argument("build", metavar="BUILD.toml", help="the build file")
    p.add_argument("--pack", metavar="P.toml", help="the pack file")
    p.add_argument("--strict", action="store_true", help="exit 3 where something is over, or could not be checked")
    _json(p)


def _compare(p: argparse.ArgumentParser) -> None:
    p.add_argument("what", nargs="*", metavar="A B", help="matches, or with --by builds or packs (none named: all)")
    _season(p)
    p.add_argument("--by", choices=("build", "pack"), help="compare the matches of builds or packs as groups")
    p.add_argument("--metric", action="append", default=[], metavar="NAME", help="only this metric (several: repeat)")
    p.add_argument("--all", action="store_true", help="every metric of every part, not the headline ones")
    _json(p)


def _season_command(p: argparse.ArgumentParser) -> None:
    which = p.add_mutually_exclusive_group(required=True)
    which.add_argument("--season", metavar="S", help="the season folder")
    which.add_argument("--seasons", metavar="FOLDER", help="every season in this folder, one after the other")
    p.add_argument("--rebuild", action="store_true", help="review every match anew")
    p.add_argument("--cluster", metavar="ADDRESS", help="let the workers of this scheduler review (the cluster extra)")
    p.add_argument("--verify", action="store_true", help="look for damaged and missing files instead")
    p.add_argument("--share", metavar="OUT", help="also write the metrics without names: .csv, .parquet or .xlsx")
    p.add_argument("--query", metavar="SQL", help="a SELECT on metrics and findings instead (the season extra)")
    p.add_argument("--csv", action="store_true", help="print the answer of --query as CSV")
    _json(p)


def _serve(p: argparse.ArgumentParser) -> None:
    _season(p, required=False)
    p.add_argument("--port", type=int, default=8050, metavar="N", help="port (default 8050)")
    p.add_argument("--live", metavar="FILE", help="follow a recording on the live page while it is written")
    p.add_argument("--lan", action="store_true", help="let phones on the pit's network in; asks for a passphrase")


def _export(p: argparse.ArgumentParser) -> None:
    p.add_argument("match", metavar="MATCH", help="the match's id")
    _season(p)
    p.add_argument("--to", required=True, metavar="FILE", help="a .csv, .parquet or .xlsx file to write")


def _explain(p: argparse.ArgumentParser) -> None:
    p.add_argument("term", nargs="*", help="a word: sag, envelope, ESC, desync … (none: the list)")


# name -> (what it does, an example, its arguments)
COMMANDS: dict[str, tuple[str, str, Adder]] = {
    "demo": (
        "make the demo season, review its twelve matches, write the sheets",
        "afterbout demo",
        _demo,
    ),
    "new": (
        "make a season folder",
        "afterbout new my-season --class 30lb",
        _new,
    ),
    "inspect": (
        "say how log files are read; store nothing",
        "afterbout inspect weapon.csv",
        _inspect,
    ),
    "add": (
        "add log files to a season as one match",
        "afterbout add *.csv --season my-season --match m01 --build a --pack p1",
        _add,
    ),
    "record": (
        "record live sources: serial, CAN, UDP",
        "afterbout record serial:/dev/ttyUSB0@921600 --out bench.rec",
        _record,
    ),
    "note": (
        "add a figure read off by hand to a match",
        "afterbout note m01 --season my-season --part weapon --quantity temperature --value 61 --unit "
        "degC --by thermometer",
        _note,
    ),
    "review": (
        "say what went past its rating, why, and what to do",
        "afterbout review m01 --season my-season",
        _review,
    ),
    "whatif": (
        "replay a match with a changed wiring, pack or limit",
        'afterbout whatif m01 --season my-season --set "wire.battery_lead.gauge=10 AWG"',
        _whatif,
    ),
    "pit": (
        "plan the minutes before the next match",
        "afterbout pit --season my-season --minutes 40",
        _pit,
    ),
    "check": (
        "hold a build against its own ratings, without a log",
        "afterbout check builds/a.toml --pack packs/p1.toml",
        _check,
    ),
    "compare": (
        "hold matches, builds or packs against each other, with how sure",
        "afterbout compare --by build --season my-season",
        _compare,
    ),
    "season": (
        "review every match; trends of packs and robot, tables of metrics and findings",
        "afterbout season --season my-season",
        _season_command,
    ),
    "serve": (
        "open the pages in a browser",
        "afterbout serve --season my-season",
        _serve,
    ),
    "export": (
        "write a match's aligned samples to one file",
        "afterbout export m01 --season my-season --to m01.csv",
        _export,
    ),
    "explain": (
        "say what a word means",
        "afterbout explain sag",
        _explain,
    ),
}


def parser(command: str | None = None) -> argparse.ArgumentParser:
    """The whole command line; only `command`'s own arguments are built where one is named (start-up time)."""
    top = argparse.ArgumentParser(
        prog="afterbout",
        description="What a combat robot's logs say between fights: what went past its rating, why, what to do.",
        epilog="Start with: afterbout demo",
    )
    top.add_argument("--version", action="store_true", help="print the version")
    commands = top.add_subparsers(dest="command", metavar="COMMAND")
    for name, (what, example, add) in COMMANDS.items():
        sub = commands.add_parser(name, help=what, description=what.capitalize() + ".", epilog=f"Example: {example}")
        if command in (None, name):
            add(sub)
    return top


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit code of the contract."""
    words = list(sys.argv[1:] if argv is None else argv)
    args = parser(next((word for word in words if not word.startswith("-")), "")).parse_args(words)
    if args.version:
        from importlib.metadata import version

        print(version("afterbout"))
        return EXIT_DONE
    if args.command is None:
        parser().print_help()
        return EXIT_USAGE
    from ingest.errors import AfterboutError

    try:
        module = import_module(f"dashboard.commands.{args.command}")
        code: int = module.run(args)
        return code
    except AfterboutError as error:
        print(f"afterbout: {error}", file=sys.stderr)
        return error.exit_code
    except (KeyboardInterrupt, EOFError):  # Ctrl-C, or Ctrl-D at a question
        print("afterbout: stopped; what was stored before still stands.", file=sys.stderr)
        return 130
    except BrokenPipeError:  # the reader of our output went away (head, less)
        sys.stderr.close()
        return EXIT_DONE


if __name__ == "__main__":
    sys.exit(main())
