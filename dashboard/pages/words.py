"""The words page: every term in one sentence, for newcomers; the same words as `afterbout explain`."""

from __future__ import annotations

import pyarrow as pa
from dash import html

from analysis.glossary import EVERYDAY, GLOSSARY
from dashboard.pages.offers import offer
from dashboard.pages.parts import section

INITIALS = ("bec", "esc", "ir", "lvc", "rms", "rssi", "ubec")


def layout() -> html.Div:
    """The whole page: our words, then the everyday ones that lead to them."""
    rows = []
    for name in sorted(GLOSSARY, key=str.lower):
        others = sorted(word for word, ours in EVERYDAY.items() if ours == name)
        also = f" Also called: {', '.join(said_as(word) for word in others)}." if others else ""
        rows.append(html.Div([html.Dt(html.B(name)), html.Dd(GLOSSARY[name] + also)], className="word-row"))
    about = "One sentence each. On the command line: afterbout explain TERM."
    body = [html.Dl(rows), offer("Words", data="/get/words.csv")]
    return html.Div([html.H1("Words", className="unseen"), section("Words", about, body)], className="words")


def said_as(word: str) -> str:
    """As it is written: what is made of initials stands in capitals."""
    return word.upper() if word in INITIALS else word


def rows_of() -> pa.Table:
    """The words as a table, to print or to hand to a newcomer."""
    names = sorted(GLOSSARY, key=str.lower)
    also = [", ".join(sorted(said_as(w) for w, ours in EVERYDAY.items() if ours == name)) for name in names]
    return pa.table({"word": names, "meaning": [GLOSSARY[name] for name in names], "also called": also})
