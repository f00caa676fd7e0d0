"""The explorer served on this machine only, with the solver at hand for settings outside the fitted range."""

import json
import threading
import time
from collections.abc import Mapping
from concurrent.futures import TimeoutError as FutureTimeout
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

import numpy as np
from pebble import ProcessExpired, ProcessPool

from tautwire.model.basics import swr
from tautwire.model.errors import InputError, SolveError
from tautwire.studies.explorer.curves import glow, shape_of
from tautwire.studies.explorer.sliders import Controls
from tautwire.studies.explorer.surface import grid
from tautwire.studies.running.pool import context, end_with
from tautwire.studies.running.store import Store
from tautwire.studies.study.setup import Setup

HOST = "127.0.0.1"
MOST_BYTES = 10_000  # of a question
MOST_SWR = 999.0
LIMIT = 60.0  # seconds for an answer


def answer(made: Controls, question: Any, store: Store) -> dict[str, Any]:
    """SWR at the radio on the page's frequencies, and the shape, straight from the solver.

    question: {"setting": {path: value in the slider's unit}, "picked": [choice, ...]}. Raises InputError, SolveError.
    """
    began = time.perf_counter()
    setup = Setup.read(made.raw(*_checked(made, question)))
    feed, solver = setup.feed_system(), setup.build().solver(store)
    bands = []
    for f in grid(made.study.bands):
        response = solver.response(float(f[0]), float(f[-1]))
        z = feed.impedances(response.impedance(f), f).radio
        bands.append([round(min(float(s), MOST_SWR), 4) for s in swr(z, feed.reference)])
    length, shape = shape_of(setup)
    lit = [glow(setup, solver, band) for band in made.study.bands]
    return {"bands": bands, "shape": shape, "glow": lit, "length": length, "seconds": time.perf_counter() - began}


def _checked(made: Controls, question: Any) -> tuple[dict[str, float], tuple[int, ...]]:
    if not isinstance(question, Mapping):
        raise InputError("question", type(question).__name__, 'an object with "setting" and "picked"')
    setting, picked = question.get("setting"), question.get("picked")
    known = [s.path for s in made.sliders]
    if not isinstance(setting, Mapping) or sorted(setting) != sorted(known):
        raise InputError("setting", repr(setting)[:80], f"a number for each of {', '.join(known)}")
    for path, value in setting.items():
        if isinstance(value, bool) or not isinstance(value, int | float) or not np.isfinite(value):
            raise InputError(path, repr(value)[:80], "a finite number")
    counts = [len(c.texts) for c in made.choices]
    picked = picked if isinstance(picked, list) else [picked]
    right = [type(i) is int and 0 <= i < n for i, n in zip(picked, counts, strict=False)]
    if len(picked) != len(counts) or not all(right):
        raise InputError("picked", repr(picked)[:80], f"whole numbers below {counts}")
    return {k: float(v) for k, v in setting.items()}, tuple(picked)


class _Handler(BaseHTTPRequestHandler):
    server: "LiveServer"

    def do_GET(self) -> None:
        if not self._is_ours():
            return
        if self.path.split("?")[0] not in ("/", "/index.html"):
            return self._answer(404, {"error": f"nothing at {self.path[:80]}; the page is at /"})
        self._send(200, "text/html; charset=utf-8", self.server.page.encode("utf-8"))

    def do_POST(self) -> None:
        if not self._is_ours():
            return
        if self.path != "/solve":
            return self._answer(404, {"error": f"nothing at {self.path[:80]}; questions go to /solve"})
        try:
            self._answer(200, self.server.reply(self._question()))
        except (InputError, SolveError) as error:
            self._answer(400, {"error": " ".join(str(error).split())})

    def _question(self) -> Any:
        length = self.headers.get("Content-Length", "")
        if not (length.isascii() and length.isdigit() and len(length) < 9) or int(length) > MOST_BYTES:
            raise InputError("Content-Length", length, f"a number up to {MOST_BYTES}")
        if self.headers.get_content_type() != "application/json":
            raise InputError("Content-Type", self.headers.get("Content-Type"), "application/json")
        body = self.rfile.read(int(length))
        try:
            return json.loads(body)
        except (ValueError, RecursionError):
            raise InputError("question", body[:40], "JSON, not deeply nested") from None

    def _is_ours(self) -> bool:
        """Other sites' pages must not reach the solver through a name that points here."""
        here = {f"{name}:{self.server.server_port}" for name in (HOST, "localhost")}
        origin = self.headers.get("Origin")
        if self.headers.get("Host") in here and (origin is None or origin in {f"http://{h}" for h in here}):
            return True
        self._answer(403, {"error": "only pages served from here may ask"})
        return False

    def _answer(self, status: int, value: dict[str, Any]) -> None:
        self._send(status, "application/json", json.dumps(value).encode("utf-8"))

    def _send(self, status: int, kind: str, body: bytes) -> None:
        self.send_response(status)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(body)))
        self.send_header("X-Content-Type-Options", "nosniff")
        self.send_header("Cache-Control", "no-store")
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, format: str, *args: Any) -> None:
        """Quiet: the page tells what happens."""


class LiveServer(ThreadingHTTPServer):
    """Serves the page at / and answers POST /solve. port 0 takes any free one (see server_port).

    Raises InputError if the port is taken or not allowed.
    """

    daemon_threads = True

    def __init__(self, page: str, controls: Controls, store: Store, port: int = 0, limit: float = LIMIT) -> None:
        """limit: seconds for an answer."""
        self.page, self._controls, self._store, self._limit = page, controls, store, limit
        self._one_at_a_time = threading.Lock()
        self._solver = ProcessPool(1, context=context(), initializer=end_with)
        try:
            super().__init__((HOST, port), _Handler)
        except OSError as error:
            raise InputError("port", port, f"a free port ({error.strerror})") from None

    def reply(self, question: Any) -> dict[str, Any]:
        """The answer to a question; one is solved at a time, in a process that can be stopped.

        Raises InputError, and SolveError where there is no answer within the limit.
        """
        with self._one_at_a_time:
            try:
                found: dict[str, Any] = self._solver.schedule(
                    answer, (self._controls, question, self._store), timeout=self._limit
                ).result()
            except FutureTimeout:
                raise SolveError(f"no answer within {self._limit:g} s; try a setting with less wire") from None
            except ProcessExpired as error:
                raise SolveError(f"the solver stopped (exit code {error.exitcode})") from None
        return found

    def server_close(self) -> None:
        """As ThreadingHTTPServer, and the solver's process ends."""
        super().server_close()
        self._solver.stop()
        self._solver.join()

    @property
    def address(self) -> str:
        return f"http://{HOST}:{self.server_port}/"

    def handle_error(self, request: Any, client_address: Any) -> None:
        """A browser that went away mid-answer is no fault."""
