"""The page at the bench: a small server on this machine alone, for one build folder."""

from __future__ import annotations

import contextlib
import os
import secrets
import socket
import sys
from pathlib import Path

HERE = "127.0.0.1"
# How long Ctrl-C waits for checks that are being made.
ENDING_S = 3.0


def serve(folder: Path, port: int = 0) -> None:
    """Serve the page of a build folder until Ctrl-C.

    The folder is made where it is missing; it may hold faults: the page then shows them. `port`: on the loopback
    address; 0: any that is free. FaultyInput: the folder cannot be made; OSError: the port is taken.
    """
    import uvicorn

    from partkin.model.problem import refused
    from partkin.page.desk import Desk
    from partkin.page.routes import make_app
    from partkin.sheets.files import refuse_workbook

    refuse_workbook(folder)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        what = f"this folder cannot be made ({fault.strerror or 'unknown reason'})"
        raise refused(folder.as_posix(), 0, "", what, "Name another one") from None
    key = secrets.token_urlsafe(24)
    with socket.socket() as listening:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind((HERE, port))
        found = listening.getsockname()[1]
        desk = Desk(folder)
        app = make_app(desk, key, found)
        print(f"Open http://{HERE}:{found}/enter?key={key}", flush=True)
        print("Only this machine can open it, and only with that address. Ctrl-C ends it.", file=sys.stderr)
        config = uvicorn.Config(
            app, log_level="warning", access_log=False, server_header=False, limit_concurrency=64,
            timeout_graceful_shutdown=2, ws="none", lifespan="off",
        )  # fmt: skip
        # Ctrl-C is how it is meant to end: uvicorn finishes what it is answering and raises it again.
        with contextlib.suppress(KeyboardInterrupt):
            uvicorn.Server(config).run(sockets=[listening])
        if not desk.close(ENDING_S):
            # The interpreter would be taken down under a thread that is deep in a search. Sheets are replaced whole.
            sys.stdout.flush()
            sys.stderr.flush()
            os._exit(0)
