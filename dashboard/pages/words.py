"""The words page: every term in one sentence, for newcomers; the same words as `afterbout explain`."""

from __future__ import annotations

from dash import html

from analysis.glossary import EVERYDAY, GLOSSARY
from dashboard.pages.parts import section


def layout() -> html.Div:
    """The whole page: our words, then the everyday ones that lead to them."""
    rows = []
    for name in sorted(GLOSSARY, key=str.lower):
        others = sorted(word for word, ours in EVERYDAY.items() if ours == name)
        also = f" Also called: {', '.join(others)}." if others else ""
        rows.append(html.Div([html.Dt(html.B(name)), html.Dd(GLOSSARY[name] + also)], className="word-row"))
    about = "One sentence each. On the command line: afterbout explain TERM."
    return html.Div([html.H1("Words", className="unseen"), section("Words", about, html.Dl(rows))], className="words")
