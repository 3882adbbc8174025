"""afterbout serve: the pages, on this machine unless --lan says otherwise."""

from __future__ import annotations

import argparse


def run(args: argparse.Namespace) -> int:
    from dashboard.serving import serve_season

    return serve_season(args.season, port=args.port, lan=args.lan, live=args.live)
