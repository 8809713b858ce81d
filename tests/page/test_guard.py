"""Who gets the page and who does not."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from starlette.testclient import TestClient

from brakebeat.page.app import create_app
from brakebeat.page.guard import COOKIE, host_name, is_loopback
from brakebeat.page.hub import Hub

TOKEN = "lantern-37"


def client(token=None, names=(), host="127.0.0.1"):
    hub = Hub(lambda: {"athlete": "<b>Mara</b>"})
    return TestClient(create_app(hub, token, names), base_url=f"http://{host}:8080")


@pytest.mark.parametrize("path", ["/", "/page.css", "/page.js", "/icon.svg", "/state"])
def test_this_computer_gets_everything(path):
    answer = client().get(path)
    assert answer.status_code == 200
    assert "default-src 'none'" in answer.headers["content-security-policy"]
    assert answer.headers["x-content-type-options"] == "nosniff"


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1.evil.example", "192.0.2.7", ""])
def test_another_host_name_is_refused(host):
    assert client().get("/", headers={"host": host}).status_code == 421


def test_with_a_token_addresses_and_given_names_are_fine():
    shown = client(TOKEN, ["wall.local"])
    for host, status in (
        ("192.0.2.7:8080", 200),
        ("wall.local", 200),
        ("[2001:db8::1]:80", 200),
        ("x.local", 421),
    ):
        assert shown.get(f"/?token={TOKEN}", headers={"host": host}).status_code == status


def test_the_token_is_needed_and_becomes_a_cookie():
    shown = client(TOKEN)
    for query in ("", "?token=", "?token=wrong", "?token=%C3%A9%00"):
        for path in ("/", "/state", "/events", "/page.js"):
            answer = shown.get(path + query)
            assert (answer.status_code, COOKIE in answer.headers.get("set-cookie", "")) == (403, False)
    cookie = shown.get(f"/?token={TOKEN}").headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie
    assert shown.get("/state").status_code == 200
    assert shown.get("/state?token=wrong").status_code == 403


@pytest.mark.parametrize("method", ["POST", "PUT", "PATCH", "DELETE", "OPTIONS"])
def test_nothing_can_be_changed(method):
    assert client().request(method, "/state").status_code == 405


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_another_site_s_page_gets_nothing(site):
    # Headers that browsers set and no page can: Fetch Metadata Request Headers, W3C Working Draft.
    for path in ("/", "/state", "/events", "/page.js"):
        for token in (None, TOKEN):
            headers = {"sec-fetch-site": site, "sec-fetch-mode": "no-cors", "cookie": f"{COOKIE}={TOKEN}"}
            answer = client(token).get(path, headers=headers)
            assert (answer.status_code, "Mara" in answer.text) == (403, False)


def test_a_link_from_elsewhere_and_the_page_itself_are_fine():
    for site, mode in (("cross-site", "navigate"), ("none", "navigate"), ("same-origin", "cors")):
        assert client().get("/", headers={"sec-fetch-site": site, "sec-fetch-mode": mode}).status_code == 200


def test_answers_can_be_read_by_this_page_only():
    answer = client().get("/state", headers={"origin": "http://evil.example"})
    assert "access-control-allow-origin" not in answer.headers
    assert answer.headers["cross-origin-resource-policy"] == "same-origin"
    assert "frame-ancestors 'none'" in answer.headers["content-security-policy"]
    assert answer.headers["referrer-policy"] == "no-referrer"


def test_tokens_are_compared_in_constant_time(monkeypatch):
    compared = []

    def noted(given, wanted):
        compared.append((given, wanted))
        return False

    # hmac.compare_digest takes as long wherever the first difference is (its documentation); nothing else decides.
    monkeypatch.setattr("brakebeat.page.guard.hmac.compare_digest", noted)
    assert client(TOKEN).get(f"/state?token={TOKEN}").status_code == 403
    assert client(TOKEN).get("/state", headers={"cookie": f"{COOKIE}=guess"}).status_code == 403
    assert compared == [(TOKEN.encode(), TOKEN.encode()), (b"guess", TOKEN.encode())]


PATHS = [
    "/../guard.py",
    "/%2e%2e/guard.py",
    "/static/index.html",
    "/..%2fapp.py",
    "//etc/passwd",
    "/page.js/",
]


@pytest.mark.parametrize("path", PATHS)
def test_no_other_file_is_given_out(path):
    answer = client().get(path, follow_redirects=False)
    assert answer.status_code in (307, 404)
    assert "import" not in answer.text


@given(st.text(max_size=40))
def test_any_host_header_has_a_name_or_none(text):
    name = host_name(text)
    assert name == name.lower() or not name.isascii()


@given(st.binary(max_size=60), st.binary(max_size=60))
def test_no_cookie_or_query_breaks_the_guard(cookie, query):
    shown = client(TOKEN)
    headers = {b"host": b"127.0.0.1", b"cookie": cookie.replace(b"\r", b"").replace(b"\n", b"")}
    answer = shown.get("/state", params={"token": query.decode("latin-1")}, headers=headers)
    assert answer.status_code == 403


def test_loopback_is_told_from_the_rest():
    assert [is_loopback(host) for host in ("127.0.0.1", "::1", "localhost", "127.9.9.9")] == [True] * 4
    assert [is_loopback(host) for host in ("0.0.0.0", "::", "192.0.2.7", "barn", "")] == [False] * 5


def test_the_page_takes_names_as_text_only():
    script = client().get("/page.js").text
    for way_in in ("innerHTML", "outerHTML", "insertAdjacentHTML", "document.write", "eval("):
        assert way_in not in script
    page = client().get("/").text
    assert "<b>Mara" not in page
    assert 'aria-live="polite"' in page
    assert "Keep clear of wheel and strap" in page
    assert "//" not in page.replace("<!doctype html>", "")  # nothing from elsewhere
