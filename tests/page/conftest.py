"""A running page on a copy of the demo, and a browser."""

from __future__ import annotations

import shutil
import socket
import threading
import time
from dataclasses import dataclass
from pathlib import Path

import httpx
import pytest

from partkin.page.desk import Desk
from partkin.page.routes import make_app
from partkin.tables.reader import shipped

CHROMIUM = Path("/usr/bin/chromium")
KEY = "a-key-for-tests"
# How long anything is waited for that must come: a busy machine is slow, not wrong.
PATIENCE_S = 120


def demo_in(folder: Path) -> Path:
    shutil.copytree(shipped("data") / "demo", folder)
    return folder


@dataclass(frozen=True)
class Running:
    """A page being served for real, on the loopback address."""

    folder: Path
    port: int

    @property
    def origin(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    @property
    def entrance(self) -> str:
        return f"{self.origin}/enter?key={KEY}"

    def client(self, inside: bool = True) -> httpx.Client:
        """A client that sends what a browser sends with its own page's requests; `inside`: with the cookie."""
        cookies = {f"partkin-{self.port}": KEY} if inside else {}
        return httpx.Client(base_url=self.origin, cookies=cookies, headers={"origin": self.origin}, timeout=PATIENCE_S)


class Server:
    """Serves until told to end."""

    def __init__(self, folder: Path) -> None:
        import uvicorn

        self.socket = socket.socket()
        self.socket.bind(("127.0.0.1", 0))
        port = self.socket.getsockname()[1]
        self.running = Running(folder, port)
        config = uvicorn.Config(make_app(Desk(folder), KEY, port), log_level="warning", ws="none", lifespan="off")
        self.server = uvicorn.Server(config)
        self.thread = threading.Thread(target=self.server.run, kwargs={"sockets": [self.socket]}, daemon=True)

    def __enter__(self) -> Running:
        self.thread.start()
        until = time.monotonic() + PATIENCE_S
        while not self.server.started:
            assert self.thread.is_alive() and time.monotonic() < until, "the page did not start"
            time.sleep(0.01)
        return self.running

    def __exit__(self, *_: object) -> None:
        self.server.should_exit = True
        self.thread.join(10)
        self.socket.close()


@pytest.fixture
def page(tmp_path):
    """A page on a fresh demo."""
    with Server(demo_in(tmp_path / "build")) as running:
        yield running


@pytest.fixture
def bare_page(tmp_path):
    """A page on an empty folder."""
    (tmp_path / "build").mkdir()
    with Server(tmp_path / "build") as running:
        yield running


@pytest.fixture(scope="module")
def shared_page(tmp_path_factory):
    """A page on one demo for tests that change nothing."""
    with Server(demo_in(tmp_path_factory.mktemp("page") / "build")) as running:
        yield running


@pytest.fixture(scope="module")
def browser():
    if not CHROMIUM.exists():
        pytest.skip("Chromium is not installed")
    sync_api = pytest.importorskip("playwright.sync_api")
    with sync_api.sync_playwright() as playwright:
        found = playwright.chromium.launch(
            executable_path=str(CHROMIUM), args=["--no-sandbox", "--disable-gpu"], timeout=1000 * PATIENCE_S
        )
        yield found
        found.close()


@pytest.fixture
def tab(browser):
    """A tab in which nothing may go wrong unseen: errors of scripts, refused loads, requests to elsewhere."""
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    context.set_default_timeout(1000 * PATIENCE_S)
    made = context.new_page()
    made.wrong = []
    made.asked = []
    made.on("pageerror", lambda error: made.wrong.append(f"error: {error}"))
    made.on(
        "console", lambda message: made.wrong.append(message.text) if message.type in ("error", "warning") else None
    )
    made.on("request", lambda request: made.asked.append(request.url))
    made.on("dialog", lambda dialog: (made.wrong.append(f"dialog: {dialog.message}"), dialog.dismiss()))
    yield made
    assert made.wrong == []
    context.close()
