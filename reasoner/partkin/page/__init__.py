"""The page at the bench: a small server on this machine alone, for one build folder."""

from __future__ import annotations

import contextlib
import secrets
import socket
import sys
from pathlib import Path

HERE = "127.0.0.1"


def serve(folder: Path, port: int = 0) -> None:
    """Serve the page of a build folder until Ctrl-C.

    Parameters
    ----------
    folder
        The build folder. It may hold faults: the page then shows them.
    port
        On the loopback address; 0: any that is free.

    Raises
    ------
    FaultyInput
        There is no such folder.
    OSError
        The port is taken.
    """
    import uvicorn

    from partkin.model.problem import FaultyInput, Problem
    from partkin.page.routes import make_app

    if not folder.is_dir():
        mend = "Make one with: partkin new FOLDER"
        raise FaultyInput((Problem(folder.as_posix(), 0, "", "there is no such folder", mend),))
    key = secrets.token_urlsafe(24)
    with socket.socket() as listening:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind((HERE, port))
        found = listening.getsockname()[1]
        app = make_app(folder, key, found)
        print(f"Open http://{HERE}:{found}/enter?key={key}", flush=True)
        print("Only this machine can open it, and only with that address. Ctrl-C ends it.", file=sys.stderr)
        config = uvicorn.Config(
            app, log_level="warning", access_log=False, server_header=False, limit_concurrency=64,
            timeout_graceful_shutdown=2, ws="none", lifespan="off",
        )  # fmt: skip
        # Ctrl-C is how it is meant to end: uvicorn finishes what it is answering and raises it again.
        with contextlib.suppress(KeyboardInterrupt):
            uvicorn.Server(config).run(sockets=[listening])
