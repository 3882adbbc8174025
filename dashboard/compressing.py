"""Answers in gzip where the browser takes it: a zoom then needs a third less of a pit's weak radio.

What never changes while the server runs, its own scripts and styles, is packed once.
"""

from __future__ import annotations

import gzip
from functools import lru_cache

from dash import Dash
from flask import Response, request

LEAST_BYTES = 2048  # below, the head of the answer weighs as much (our choice)
LEVEL = 4  # of zlib (our choice: 200 kB in 6 ms; 9 takes three times as long for 1 % less)
KINDS = ("application/json", "text/html", "text/css", "text/javascript", "application/javascript", "image/svg+xml")
OWN = ("/_dash-component-suites/", "/assets/")  # the scripts, styles and type that came with the installation
OWN_FILES = 64  # packed ones that are kept (our choice: there are some thirty)
KEPT_S = 3600  # a browser does not ask again for a file of ours in this time (our choice: one visit to the pit)


def compressed(body: bytes) -> bytes:
    """In gzip (RFC 1952); the same bytes give the same bytes."""
    return gzip.compress(body, LEVEL, mtime=0)


_compressed_once = lru_cache(OWN_FILES)(compressed)


def register(app: Dash) -> None:
    """Every whole answer of text that is long enough. What is streamed or already packed goes as it is."""

    @app.server.after_request
    def _pack(response: Response) -> Response:
        own = request.method == "GET" and request.path.startswith(OWN) and response.status_code == 200
        if own:
            _keep(response)
        if (
            response.mimetype not in KINDS
            or response.status_code != 200
            or (response.is_streamed and not own)
            or (response.direct_passthrough and not own)
            or "Content-Encoding" in response.headers
            or not request.accept_encodings["gzip"]
        ):
            return response
        response.direct_passthrough = False
        body = response.get_data()
        if len(body) < LEAST_BYTES:
            return response
        response.set_data(_compressed_once(body) if own else compressed(body))
        response.headers["Content-Encoding"] = "gzip"
        response.headers.add("Vary", "Accept-Encoding")
        etag, weak = response.get_etag()
        if etag is not None:
            response.set_etag(f"{etag}-gzip", weak=bool(weak))
        if own and etag is not None:
            response.make_conditional(request)
        return response


def _keep(response: Response) -> None:
    """Without asking again, where nothing else was said of it (the framework's versioned files may stay longer)."""
    control = response.cache_control
    if control.max_age is None and not control.no_store:
        control.no_cache = None
        control.public = False
        control.private = True
        control.max_age = KEPT_S
