"""Who is let in, and what becomes of those who are not: no other site, no other name, no other program's page."""

from __future__ import annotations

import asyncio
import socket

import httpx
import pytest
from starlette.exceptions import HTTPException

from partkin.page import serve
from partkin.page.guard import FORM_BYTES, HEADERS, POLICY, UPLOAD_BYTES, PageGuard

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


OWN = {"host": "127.0.0.1:4000", "cookie": f"partkin-4000={KEY}"}
TYPED = OWN | {"origin": "http://127.0.0.1:4000"}


def asked(headers, method="GET", path="/", query="", body=(b"",), theirs=()):
    """Status and headers of the answer of a page that reads all that is sent and says 200."""
    sent, waiting = [], list(body)

    async def app(scope, receive, send):
        while waiting:
            await receive()
        await send({"type": "http.response.start", "status": 200, "headers": list(theirs)})
        await send({"type": "http.response.body", "body": b"the page"})

    async def receive():
        return {"type": "http.request", "body": waiting.pop(0), "more_body": bool(waiting)}

    async def send(message):
        sent.append(message)

    pairs = [(name, each) for name, value in headers.items() for each in ([value] if isinstance(value, str) else value)]
    raw = [(name.encode(), value.encode()) for name, value in pairs]
    scope = {"type": "http", "method": method, "path": path, "headers": raw, "query_string": query.encode()}
    try:
        asyncio.run(PageGuard(app, KEY, 4000)(scope, receive, send))
    except HTTPException as fault:
        return fault.status_code, {}
    start, end = sent
    assert (start["type"], end["type"]) == ("http.response.start", "http.response.body")
    assert (end["body"] == b"the page") == (start["status"] == 200)
    if start["status"] not in (200, 303):
        assert dict(start["headers"])[b"content-length"] == str(len(end["body"])).encode()
    return start["status"], start["headers"]


@pytest.mark.parametrize(
    ("headers", "more", "status"),
    [
        (OWN, {}, 200), (OWN | {"host": "localhost:4000"}, {}, 200), (OWN | {"host": "LOCALHOST:4000"}, {}, 200),
        (OWN | {"host": "localhost:4001"}, {}, 421), (OWN | {"host": ["localhost:4000"] * 2}, {}, 421),
        (OWN | {"host": []}, {}, 421), (OWN, {"method": "HEAD"}, 200), (OWN, {"method": "PUT"}, 405),
        (OWN | {"sec-fetch-site": "none"}, {}, 200), (OWN | {"sec-fetch-site": "same-origin"}, {}, 200),
        (OWN | {"sec-fetch-site": "same-site"}, {}, 403), (OWN | {"sec-fetch-site": ["none", "cross-site"]}, {}, 403),
        (TYPED, {"method": "POST"}, 200), (OWN, {"method": "POST"}, 403),
        (TYPED | {"host": "LocalHost:4000", "origin": "http://localhost:4000"}, {"method": "POST"}, 200),
        (TYPED | {"host": "localhost:4000"}, {"method": "POST"}, 403),
        (TYPED | {"origin": ["http://127.0.0.1:4000"] * 2}, {"method": "POST"}, 403),
        (OWN | {"origin": "https://evil.example"}, {}, 200),  # a link to it may be followed: nothing is changed
        ({"host": "127.0.0.1:4000"}, {}, 403), (OWN | {"cookie": f"partkin-4001={KEY}"}, {}, 403),
        (OWN | {"cookie": ["other=1", f"a=b; partkin-4000={KEY}"]}, {}, 200),
        (OWN | {"cookie": ["\x00=1", f"partkin-4000={KEY}"]}, {}, 200),
        (OWN | {"cookie": [f"partkin-4000={KEY}x", "other=1"]}, {}, 403),
        (OWN | {"content-length": "0"}, {}, 200), (OWN | {"content-length": f"{FORM_BYTES}"}, {}, 200),
        (OWN | {"content-length": f"{FORM_BYTES + 1}"}, {}, 413), (OWN | {"content-length": "-1"}, {}, 413),
        (OWN | {"content-length": "much"}, {}, 413), (OWN | {"content-length": ""}, {}, 413),
        (OWN | {"content-length": f"{FORM_BYTES + 1}"}, {"path": "/photos"}, 200),
        (OWN | {"content-length": f"{UPLOAD_BYTES}"}, {"path": "/photos"}, 200),
        (OWN | {"content-length": f"{UPLOAD_BYTES + 1}"}, {"path": "/photos"}, 413),
        (OWN, {"body": (b"x" * FORM_BYTES, b"")}, 200), (OWN, {"body": (b"x" * FORM_BYTES, b"x")}, 413),
        (OWN, {"path": "/photos", "body": (b"x" * FORM_BYTES, b"x")}, 200),
        ({"host": "localhost:4000"}, {"path": "/enter", "query": f"key={KEY}"}, 303),
        ({"host": "localhost:4000", "sec-fetch-site": "cross-site"}, {"path": "/enter", "query": f"key={KEY}"}, 303),
        ({"host": "localhost:4000"}, {"path": "/enter", "query": f"key={KEY}x"}, 403),
        ({"host": "localhost:4000"}, {"path": "/enter", "query": f"key=x&key={KEY}"}, 403),
        ({"host": "localhost:4000"}, {"path": "/enter"}, 403),
        (TYPED, {"path": "/enter", "method": "POST", "query": f"key={KEY}"}, 403),
        ({"host": "evil.example"}, {"path": "/enter", "query": f"key={KEY}"}, 421),
    ],
)  # fmt: skip
def test_who_is_let_through(headers, more, status):
    found, answered = asked(headers, **more)
    assert found == status
    if found != 413:
        assert set(HEADERS) <= set(answered)


def test_what_the_page_says_of_the_policy_itself_is_put_right():
    status, headers = asked(OWN, theirs=[(b"Cache-Control", b"public"), (b"content-type", b"text/html")])
    assert status == 200
    assert [value for name, value in headers if name.lower() == b"cache-control"] == [b"no-store"]
    assert (b"content-type", b"text/html") in headers


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
