"""Who is let in, and what becomes of those who are not: no other site, no other name, no other program's page."""

from __future__ import annotations

import asyncio
import socket

import httpx
import pytest

from partkin.page import serve
from partkin.page.guard import FORM_BYTES, POLICY, PageGuard

from .conftest import KEY

READING = {"quantity": "centres", "from": "a", "to": "b", "value": "1276.2", "unit": "mm"}
LAST = {"part": "top-kurm", "reading": "t3"}
PATH = "/part/top-kurm/readings"


def sheet(page):
    return (page.folder / "readings.csv").read_bytes()


def test_the_key_of_the_start_is_changed_for_a_cookie_that_scripts_and_other_sites_cannot_use(shared_page):
    with shared_page.client(inside=False) as client:
        entered = client.get("/enter", params={"key": KEY})
        assert entered.status_code == 303 and entered.headers["location"] == "/"
        cookie = entered.headers["set-cookie"]
        assert "HttpOnly" in cookie and "SameSite=Strict" in cookie and f"partkin-{shared_page.port}=" in cookie
        assert client.get("/").status_code == 200


@pytest.mark.parametrize("path", ["/", "/state", "/part/top-kurm", "/photos", "/page.css", "/bench.js", "/nowhere"])
def test_without_the_key_nothing_is_told(shared_page, path):
    with shared_page.client(inside=False) as client:
        answer = client.get(path)
    assert answer.status_code == 403 and "velt" not in answer.text and "kurm" not in answer.text


@pytest.mark.parametrize("key", ["", "wrong", KEY + "x", KEY[:-1]])
def test_a_wrong_key_opens_nothing(shared_page, key):
    with shared_page.client(inside=False) as client:
        assert client.get("/enter", params={"key": key}).status_code == 403
        assert client.get("/", headers={"cookie": f"partkin-{shared_page.port}={key}"}).status_code == 403
        assert client.get("/", headers={"cookie": f"partkin={KEY}"}).status_code == 403, "the cookie of another port"


@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:{port}", "127.0.0.1", "127.0.0.1:1", "[::1]:{port}", ""]
)
def test_a_name_that_points_here_is_not_enough(shared_page, host):
    """DNS rebinding: a stranger's name leads to 127.0.0.1, and the browser sends that name."""
    with shared_page.client() as client:
        answer = client.get("/", headers={"host": host.format(port=shared_page.port)})
    assert answer.status_code in (400, 421) and "velt" not in answer.text


@pytest.mark.parametrize("kind", ["websocket", "lifespan", "ftp"])
def test_nothing_but_http_comes_through(kind):
    """The browser sends a cookie with a websocket of any site: no such thing is opened, let alone answered."""
    came = []

    async def app(*_):
        came.append("the page")

    async def send(message):
        came.append(message)

    own = [(b"host", b"127.0.0.1:4000"), (b"cookie", f"partkin-4000={KEY}".encode())]
    scope = {"type": kind, "method": "GET", "path": "/", "headers": own, "query_string": b""}
    asyncio.run(PageGuard(app, KEY, 4000)(scope, None, send))
    assert came == []


def test_two_hosts_are_refused(shared_page):
    with socket.create_connection(("127.0.0.1", shared_page.port)) as wire:
        lines = f"GET / HTTP/1.1\r\nHost: 127.0.0.1:{shared_page.port}\r\nHost: evil.example\r\nCookie: partkin-"
        wire.sendall(f"{lines}{shared_page.port}={KEY}\r\nConnection: close\r\n\r\n".encode())
        answer = wire.makefile("rb").read()
    assert answer.split()[1] in (b"400", b"421") and b"velt" not in answer


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "https://evil.example"},
        {"origin": "null"},
        {"origin": "http://127.0.0.1:1"},
        {"origin": "{own}", "sec-fetch-site": "cross-site"},
        {"origin": "{own}", "sec-fetch-site": "same-site"},
    ],
)
def test_a_post_from_elsewhere_changes_nothing(page, headers):
    """`same-site` is how another program's page on another port of this machine comes: the cookie goes with it."""
    before = sheet(page)
    with page.client() as client:
        sent = {name: value.format(own=page.origin) for name, value in headers.items()}
        assert client.post(PATH, data=READING, headers=sent).status_code == 403
        assert client.post("/part/top-kurm/undo", data=LAST, headers=sent).status_code == 403
        del client.headers["origin"]
        assert client.post(PATH, data=READING).status_code == 403, "no Origin at all"
    assert sheet(page) == before


def test_other_pages_cannot_load_anything_either(shared_page):
    with shared_page.client() as client:
        for site in ("cross-site", "same-site"):
            assert client.get("/state", headers={"sec-fetch-site": site}).status_code == 403
        assert client.get("/state", headers={"sec-fetch-site": "same-origin"}).status_code == 200


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE"])
def test_other_methods_are_refused(shared_page, method):
    with shared_page.client() as client:
        assert client.request(method, "/").status_code == 405


@pytest.mark.parametrize("path", ["/", "/part/top-kurm", "/photos", "/state", "/page.css", "/nowhere", "/enter"])
def test_every_answer_is_bound_by_the_policy(shared_page, path):
    with shared_page.client() as client:
        answer = client.get(path)
    assert answer.headers.get_list("content-security-policy") == [POLICY]
    assert "default-src 'none'" in POLICY and "unsafe" not in POLICY and "http:" not in POLICY
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["cache-control"] == "no-store"
    assert answer.headers["cross-origin-resource-policy"] == "same-origin"
    assert "access-control-allow-origin" not in answer.headers


def test_too_much_is_refused_whatever_the_header_says(page):
    before = sheet(page)

    def chunks():
        for _ in range(FORM_BYTES // 1000 + 2):
            yield b"note=" + b"x" * 995

    form = {"content-type": "application/x-www-form-urlencoded"}
    with page.client() as client:
        assert client.post(PATH, content=b"x" * (FORM_BYTES + 1), headers=form).status_code == 413
        assert client.post(PATH, content=chunks(), headers=form).status_code == 413
        assert client.post(PATH, data={**READING, **{f"f{n}": "x" for n in range(50)}}).status_code != 500
    assert sheet(page) == before


def test_it_listens_on_this_machine_alone(tmp_path, monkeypatch, capsys):
    """The socket that the command itself opens is bound to the loopback address, and to no other."""
    bound = []

    def run(server, sockets):
        bound.extend(listening.getsockname() for listening in sockets)

    monkeypatch.setattr("uvicorn.Server.run", run)
    serve(tmp_path)
    assert [address for address, _ in bound] == ["127.0.0.1"]
    assert f"Open http://127.0.0.1:{bound[0][1]}/enter?key=" in capsys.readouterr().out


def test_without_the_key_nothing_is_shown(shared_page):
    with httpx.Client() as client:
        assert client.get(f"http://127.0.0.1:{shared_page.port}/").status_code == 403


@pytest.mark.parametrize(
    "path",
    [
        "/photos/..%2Freadings.csv/image", "/photos/%2e%2e%2freadings.csv", "/photos/..%2F..%2F..%2Fetc%2Fpasswd/image",
        "/photos/%2Fetc%2Fpasswd/image", "/photos/readings.csv/image", "/photos/..%5Creadings.csv/image",
        "/photos/.hidden.jpg/image", "/photos/out.jpg/image", "/photos/a%00.jpg/image", "/part/..%2F..%2Fetc",
        "/page.css/../../routes.py", "/static/bench.js",
    ],
)  # fmt: skip
def test_no_path_leads_out_of_the_folder(page, path, tmp_path):
    secret = tmp_path / "secret.jpg"
    secret.write_bytes(b"\xff\xd8 not to be told")
    (page.folder / "photos").mkdir()
    (page.folder / "photos" / "out.jpg").symlink_to(secret)
    (page.folder / "photos" / ".hidden.jpg").write_bytes(b"not to be told")
    with page.client() as client:
        answer = client.get(path)
    assert answer.status_code == 404
    assert b"not to be told" not in answer.content and b"root:" not in answer.content
    assert b"corrects" not in answer.content, "no sheet either"
