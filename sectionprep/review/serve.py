"""Runs the page until told to stop."""

from __future__ import annotations

import socket
import threading
import webbrowser
from collections.abc import Callable
from pathlib import Path

import uvicorn

from sectionprep.apart import Apart
from sectionprep.drawing.engraver.engraver import get_ready
from sectionprep.errors import DestinationError
from sectionprep.results import Options
from sectionprep.review.app import pages
from sectionprep.review.door import Door, new_key
from sectionprep.review.making import Maker
from sectionprep.review.paper import Papers
from sectionprep.review.session import Review

_HOST = "127.0.0.1"
_GRACE = 2  # seconds for answers under way when the page is stopped; judgement
_CALLERS = 32  # requests at a time: one browser has six; judgement


def serve(
    path: Path,
    folder: Path,
    options: Options,
    *,
    port: int,
    opens: bool,
    tell: Callable[[str], None],
) -> None:
    """Review one chart. Returns when stopped with Ctrl-C. folder: where `prepare` writes; port: 0
    for any free one; opens: show the page in the person's browser; tell: what is said on the
    way."""
    with Apart(workers=2) as apart, listening(port) as line:
        for _ in range(2):
            apart.submit(get_ready)  # the engravers load while the chart is read
        review = Review(path, folder, options, apart)
        maker = Maker(path, folder, options)
        host = f"{_HOST}:{line.getsockname()[1]}"
        key = new_key()
        app = Door(
            pages(review, Papers(), maker), key=key, hosts=(host, host.replace(_HOST, "localhost"))
        )
        address = f"http://{host}/open?key={key}"
        threading.Thread(target=review.keep_looking, daemon=True).start()
        tell(f"Review {review.score.chart.title}: {address}")
        tell("Only this machine can open it. Ctrl-C stops it.")
        if opens:
            threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()
        try:
            _run(app, line)
        finally:
            maker.stop()
        decided = review.desk.history.at
        tell(f"Stopped. What you decided is in {review.desk.path}." if decided else "Stopped.")


def _run(app: Door, line: socket.socket) -> None:
    config = uvicorn.Config(
        app,
        log_config=None,
        access_log=False,
        lifespan="off",
        server_header=False,
        limit_concurrency=_CALLERS,
        timeout_graceful_shutdown=_GRACE,
    )
    try:
        uvicorn.Server(config).run(sockets=[line])
    except KeyboardInterrupt:
        return  # that is how it ends


def listening(port: int) -> socket.socket:
    """A socket that this machine alone can reach. port: 0 for any free one. Raises
    DestinationError."""
    found = socket.socket()
    try:
        found.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        found.bind((_HOST, port))
        found.listen(64)
    except OSError as error:
        found.close()
        raise DestinationError(
            f"cannot be listened at ({error.strerror}).",
            where=f"port {port}",
            remedy="Choose another with --port; 0 takes any free one.",
        ) from error
    return found
