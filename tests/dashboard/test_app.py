"""The pages' server: what it answers, what it refuses, and what it makes only once."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from dash import Dash
from flask.testing import FlaskClient

from dashboard import serving
from dashboard.app import make_app
from dashboard.pages import match as match_page
from dashboard.pages import season as season_page
from dashboard.serving import LOOPBACK, Passphrase, guard, host_name, same_origin
from dashboard.source import Source
from ingest.errors import SeasonError, UsageError
from ingest.season import Season
from tests.dashboard.made_up import MadeUpSource, bench_m06, review_m06

TOKEN = "000000000001"


@pytest.fixture
def app() -> Dash:
    made = make_app(source=MadeUpSource())
    guard(made, LOOPBACK)
    return made


@pytest.fixture
def client(app: Dash) -> FlaskClient:
    return app.server.test_client()


def rendered(component: object) -> str:
    """All of a page as JSON text, as it is sent."""
    return json.dumps(component, default=lambda o: o.to_plotly_json(), ensure_ascii=False)


def callback(client: FlaskClient, pathname: str, **headers: str) -> object:
    names = ["page.children", "nav.children", "page-tools.children", "shown.data"]
    body = {
        "output": f"..{'...'.join(names)}..",
        "outputs": [{"id": n.split(".")[0], "property": n.split(".")[1]} for n in names],
        "inputs": [
            {"id": "address", "property": "pathname", "value": pathname},
            {"id": "address", "property": "search", "value": ""},
        ],
        "state": [{"id": "shown", "property": "data", "value": None}],
        "changedPropIds": ["address.pathname"],
    }
    return client.post("/_dash-update-component", json=body, headers={"Origin": "http://localhost", **headers})


def test_the_page_names_no_other_host_and_its_scripts_are_named_by_hash(client: FlaskClient) -> None:
    answer = client.get("/")
    text = answer.get_data(as_text=True)
    assert answer.status_code == 200
    assert re.findall(r"https?://[^\s\"'<]+", text) == []
    policy = answer.headers["Content-Security-Policy"]
    assert "unsafe-eval" not in policy
    script = next(rule for rule in policy.split("; ") if rule.startswith("script-src"))
    assert "unsafe-inline" not in script
    assert "sha256-" in script
    assert "default-src 'none'" in policy
    assert "frame-ancestors 'none'" in policy


def test_only_its_own_hosts_are_served(client: FlaskClient) -> None:
    for host in ("evil.example", "127.0.0.1.evil.example", "169.254.169.254", ""):
        assert client.get("/", headers={"Host": host}).status_code == 400, host
    assert client.get("/", headers={"Host": "localhost:8050"}).status_code == 200
    assert client.get("/", headers={"Host": "127.0.0.1:9"}).status_code == 200


def test_a_request_of_another_page_is_refused(client: FlaskClient) -> None:
    assert callback(client, "/").status_code == 200  # type: ignore[attr-defined]
    for origin in ("http://evil.example", "null", "http://localhost:81", "file://localhost"):
        assert callback(client, "/", Origin=origin).status_code == 403  # type: ignore[attr-defined]
    assert client.post("/_dash-update-component", json={}).status_code == 403


def test_a_large_body_is_refused(client: FlaskClient) -> None:
    body = b"x" * (serving.MAX_CONTENT_BYTES + 1)
    answer = client.post("/_dash-update-component", data=body, headers={"Origin": "http://localhost"})
    assert answer.status_code == 413


@pytest.mark.parametrize(
    ("origin", "same"), [("http://a:1", True), ("http://a", False), (None, False), ("x://a:1", False)]
)
def test_same_origin(origin: str | None, same: bool) -> None:
    assert same_origin(origin, "a:1") is same


@pytest.mark.parametrize(
    ("header", "name"), [("localhost:80", "localhost"), ("[::1]:80", "[::1]"), ("[::1]", "[::1]"), ("a", "a"), ("", "")]
)
def test_host_name(header: str, name: str) -> None:
    assert host_name(header) == name


def test_addresses_hold_no_path_and_unknown_ones_are_told(client: FlaskClient) -> None:
    for pathname in ("/match/m06", "/match/../../etc/passwd", "/match/ffffffffffff", "/nothing"):
        assert "There is no such page" in callback(client, pathname).get_data(as_text=True)  # type: ignore[attr-defined]
    assert client.get("/sheet/ffffffffffff").status_code == 404


def test_the_match_page_says_what_the_review_says(client: FlaskClient) -> None:
    page = callback(client, f"/match/{TOKEN}").get_json()["response"]  # type: ignore[attr-defined]
    text = json.dumps(page, ensure_ascii=False).replace("\u00a0", " ")
    review = review_m06()
    for line in (
        *review.lines,
        *review.cautions,
        *(e.what for e in review.chain),
        *(f.sentence for f in review.findings),
    ):
        assert line in text
    for item in review.not_checked:
        assert item.reason[1:] in text  # its first letter is a capital there
    for advice in review.advice:
        assert advice.sentence in text


def test_a_match_that_cannot_be_reviewed_says_why_and_the_mend(client: FlaskClient) -> None:
    text = callback(client, "/match/000000000003").get_data(as_text=True)  # type: ignore[attr-defined]
    assert "has no logs yet" in text
    assert "afterbout add" in text


def test_the_sheet_is_served_and_can_be_shared(client: FlaskClient) -> None:
    whole = client.get(f"/sheet/{TOKEN}").get_data(as_text=True)
    shared = client.get(f"/sheet/{TOKEN}?share=1").get_data(as_text=True)
    assert "Fennimore" in whole
    assert "Fennimore" not in shared


def test_season_rows_show_every_verdict_with_its_word() -> None:
    source = MadeUpSource()
    text = rendered(season_page.table(source))
    for word in ("Over 1", "Within 1", "Not known 1", "contact heating, battery lead", "has no logs yet"):
        assert word in text
    only = rendered(season_page.table(source, {"verdict": "within"}))
    assert "/match/000000000002" in only
    assert f"/match/{TOKEN}" not in only
    assert not season_page.pending(source)


def test_every_word_is_one_step_away() -> None:
    from analysis.glossary import GLOSSARY
    from dashboard.routes import navigation, page

    source = Source(None, ())
    shown = page(source, "/words", None)
    text = rendered(shown.body)
    assert [word for word in GLOSSARY if word not in text] == []
    assert "/words" in rendered(navigation(page(source, "/", None)))


def test_without_matches_the_page_says_how_to_begin() -> None:
    text = rendered(season_page.layout(Source(None)))
    assert "No matches yet" in text
    assert "afterbout demo" in text


def test_every_button_that_zooms_has_its_span() -> None:
    review = review_m06()
    text = rendered(match_page.layout(MadeUpSource().entries()[0], bench_m06()))
    buttons = {int(n) for n in re.findall(r'"type": "zoom", "at": (\d+)', text)}
    assert buttons == set(range(len(review.chain) + len(review.findings)))
    spans = match_page.zoom_spans(review)
    assert len(spans) == len(buttons)
    assert all(start < end for start, end, _ in spans)


LOG = "time_s,pack_voltage_V,pack_current_A\n" + "".join(
    f"{i / 50:.2f},{24 - 0.02 * (i % 40):.3f},{5 + (i % 40):.2f}\n" for i in range(1500)
)


@pytest.fixture
def season(tmp_path: Path) -> Path:
    Season.create(tmp_path / "s", "Test", "Gristmote")
    log = tmp_path / "pack.csv"
    log.write_text(LOG, encoding="utf-8")
    Season(tmp_path / "s").add([log], "m01")
    return tmp_path / "s"


def test_a_review_is_made_once_for_its_content(season: Path) -> None:
    source = Source(season)
    entry = source.entries()[0]
    assert re.fullmatch("[0-9a-f]{12}", entry.token)
    assert source.summary(entry) is None
    first = source.bench(entry)
    assert source.bench(entry) is first
    summary = source.summary(entry)
    assert summary is not None
    assert summary.verdict == first.review.match.verdict
    path = season / "matches" / "m01.toml"
    path.write_text(path.read_text(encoding="utf-8") + "\n# a remark\n", encoding="utf-8")
    assert source.bench(source.entries()[0]) is not first


def test_reviews_are_made_in_the_background(season: Path) -> None:
    source = Source(season)
    source.review_all()
    assert source._worker is not None
    source._worker.join(120)
    assert not season_page.pending(source)


def test_a_wrong_season_folder_is_refused(tmp_path: Path) -> None:
    with pytest.raises(SeasonError):
        make_app(tmp_path / "none")


def test_a_wrong_match_file_does_not_hide_the_others(season: Path) -> None:
    (season / "matches" / "m02.toml").write_text("[match]\nid = 3\n", encoding="utf-8")
    source = Source(season)
    assert [entry.title for entry in source.entries()] == ["m01"]
    assert "m02.toml" in rendered(season_page.layout(source))


# Letting the pit's network in


@pytest.fixture
def locked() -> FlaskClient:
    made = make_app(source=MadeUpSource())
    guard(made, [*LOOPBACK, "192.168.1.7"], Passphrase("three blunt chisels"))
    return made.server.test_client()


def enter(client: FlaskClient, words: str, address: str = "192.168.1.9") -> object:
    return client.post(
        "/enter",
        data={"passphrase": words},
        headers={"Origin": "http://192.168.1.7:8050", "Host": "192.168.1.7:8050"},
        environ_base={"REMOTE_ADDR": address},
    )


def test_nothing_is_shown_without_the_passphrase(locked: FlaskClient) -> None:
    for path in ("/_dash-layout", "/_dash-dependencies", f"/sheet/{TOKEN}", "/assets/pages.js"):
        answer = locked.get(path, headers={"Sec-Fetch-Dest": "empty"})
        assert answer.status_code == 401, path
    assert locked.get("/").headers["Location"] == "/enter"
    assert callback(locked, "/").status_code == 401  # type: ignore[attr-defined]
    assert "Passphrase" in locked.get("/enter").get_data(as_text=True)


def test_the_right_passphrase_opens_a_session(locked: FlaskClient) -> None:
    assert enter(locked, "wrong words").status_code == 403  # type: ignore[attr-defined]
    answer = enter(locked, "three blunt chisels")
    cookie = answer.headers["Set-Cookie"]  # type: ignore[attr-defined]
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie
    assert "chisels" not in cookie
    session = cookie.split(";")[0]
    headers = {"Host": "192.168.1.7:8050", "Cookie": session}
    assert locked.get("/_dash-layout", headers=headers).status_code == 200
    stranger = locked.application.test_client(use_cookies=False)
    forged = headers | {"Cookie": "afterbout_pit=" + "A" * 43, "Sec-Fetch-Dest": "empty"}
    assert stranger.get("/_dash-layout", headers=forged).status_code == 401
    assert stranger.get("/_dash-layout", headers=headers).status_code == 200


def test_wrong_passphrases_are_slowed_for_their_address_only(
    locked: FlaskClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    now = [1000.0]
    monkeypatch.setattr(serving.time, "monotonic", lambda: now[0])
    for _ in range(serving.TRIES):
        assert enter(locked, "wrong words").status_code == 403  # type: ignore[attr-defined]
    assert enter(locked, "three blunt chisels").status_code == 429  # type: ignore[attr-defined]
    assert enter(locked, "three blunt chisels", "192.168.1.10").status_code == 302  # type: ignore[attr-defined]
    now[0] += serving.TRIES_PER_S + 1
    assert enter(locked, "three blunt chisels").status_code == 302  # type: ignore[attr-defined]


def test_a_session_ends(locked: FlaskClient, monkeypatch: pytest.MonkeyPatch) -> None:
    now = [1000.0]
    monkeypatch.setattr(serving.time, "monotonic", lambda: now[0])
    answer = enter(locked, "three blunt chisels")
    headers = {"Host": "192.168.1.7:8050", "Cookie": answer.headers["Set-Cookie"].split(";")[0]}  # type: ignore[attr-defined]
    headers["Sec-Fetch-Dest"] = "empty"
    assert locked.get("/_dash-layout", headers=headers).status_code == 200
    now[0] += serving.SESSION_S + 1
    assert locked.get("/_dash-layout", headers=headers).status_code == 401


def test_a_short_passphrase_is_refused() -> None:
    with pytest.raises(UsageError, match="too short"):
        Passphrase("short")


def test_other_machines_are_never_let_in_without_a_passphrase(monkeypatch: pytest.MonkeyPatch) -> None:
    import waitress

    served: list[dict[str, object]] = []
    monkeypatch.setattr(waitress, "serve", lambda app, **how: served.append(how))
    with pytest.raises(UsageError, match="passphrase"):
        serving.serve(make_app(source=MadeUpSource()), "0.0.0.0")
    assert served == []


def test_environment_variables_do_not_widen_what_is_served(monkeypatch: pytest.MonkeyPatch) -> None:
    import waitress

    served: list[dict[str, object]] = []
    monkeypatch.setattr(waitress, "serve", lambda app, **how: served.append({"app": app, **how}))
    for name, value in {
        "HOST": "0.0.0.0", "PORT": "80", "DASH_DEBUG": "true", "DASH_UI": "true", "DASH_PROXY": "http://x::http://y",
        "DASH_URL_BASE_PATHNAME": "/elsewhere/", "DASH_ROUTES_PATHNAME_PREFIX": "/x/", "DASH_HOT_RELOAD": "true",
        "FLASK_DEBUG": "1", "DASH_ENABLE_MCP": "true", "DASH_MCP_ENABLED": "true",
    }.items():  # fmt: skip
        monkeypatch.setenv(name, value)
    app = make_app(source=MadeUpSource())
    serving.serve(app)
    assert (served[0]["host"], served[0]["port"]) == ("127.0.0.1", 8050)
    assert not app.server.debug
    client = app.server.test_client()
    assert client.get("/").status_code == 200
    assert client.get("/_reload-hash").get_json()["reloadHash"] is None
    assert client.post("/_mcp", json={}, headers={"Origin": "http://localhost"}).status_code in (404, 405)
