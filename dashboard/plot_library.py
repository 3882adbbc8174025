"""The script that draws the traces: the part of plotly.js that knows lines, instead of the whole of it.

The whole is 4.8 MB, and most of the time until a match page answered went into starting it; what is drawn here are
lines, areas and shapes, which the basic bundle (1.2 MB) holds. The framework asks for the whole at an address of its
own; there the bundle is given. assets/pages.js fetches it at once on pages that draw, beside the page itself.
"""

from __future__ import annotations

import hashlib
from functools import cache
from importlib.resources import files

from dash import Dash
from flask import Response

ADDRESS = "/_dash-component-suites/plotly/package_data/plotly.min.js"  # where the framework's script looks for it
FOLDER, NAME = "plotly", "plotly-basic.min.js"


@cache
def bundle() -> bytes:
    return (files("dashboard.assets") / FOLDER / NAME).read_bytes()


@cache
def _digest() -> str:
    return hashlib.sha256(bundle()).hexdigest()


def register(app: Dash) -> None:
    """A fixed address goes before the framework's own, which has a name to fill in."""

    @app.server.route(ADDRESS)
    def plot_library() -> Response:
        answer = Response(bundle(), mimetype="application/javascript")
        answer.set_etag(_digest())
        return answer
