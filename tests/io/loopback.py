"""A web server on this machine that counts what it sends, and can misbehave."""

from __future__ import annotations

import contextlib
import threading
import time
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from types import TracebackType


class Loopback:
    """Serve a folder on 127.0.0.1; ``sent`` counts the bytes of bodies, ``asked`` the requests.

    Parameters
    ----------
    folder : Path
        What is served.
    manner : {"good", "stalls", "no ranges", "lies"}
        ``stalls`` never answers; ``no ranges`` sends the whole file whatever is asked for; ``lies`` sends other
        bytes than it says.
    """

    def __init__(self, folder: Path, manner: str = "good") -> None:
        self.sent = 0
        self.asked: list[str] = []
        outer = self

        class Handler(BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"

            def do_HEAD(self) -> None:
                self._answer(body=False)

            def do_GET(self) -> None:
                self._answer(body=True)

            def _answer(self, *, body: bool) -> None:
                outer.asked.append(f"{self.command} {self.path} {self.headers.get('Range', '')}")
                path = folder / self.path.lstrip("/").split("?")[0]
                if manner == "stalls":
                    outer.stop.wait(30)
                    self.close_connection = True
                    return
                if not path.is_file():
                    self.send_response(404)
                    self.send_header("Content-Length", "0")
                    self.end_headers()
                    return
                data = path.read_bytes()
                told = self.headers.get("Range")
                if told and manner != "no ranges":
                    first, last = told.removeprefix("bytes=").split("-")
                    start = int(first)
                    end = min(int(last) if last else len(data) - 1, len(data) - 1)
                    part = data[start : end + 1]
                    self.send_response(206)
                    self.send_header("Content-Range", f"bytes {start}-{end}/{len(data)}")
                    if manner == "lies" and start > 0:
                        part = bytes(len(part))
                else:
                    part = data
                    self.send_response(200)
                if manner != "no ranges":
                    self.send_header("Accept-Ranges", "bytes")
                self.send_header("Content-Length", str(len(part)))
                self.end_headers()
                if body:
                    outer.sent += len(part)
                    with contextlib.suppress(OSError):  # the reader may go away
                        self.wfile.write(part)

            def log_message(self, format: str, *args: object) -> None:
                """Say nothing."""

        self.stop = threading.Event()
        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.server.daemon_threads = True
        self.thread = threading.Thread(target=self.server.serve_forever, daemon=True)

    def __enter__(self) -> Loopback:
        self.thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.stop.set()
        self.server.shutdown()
        self.server.server_close()
        time.sleep(0)

    def url(self, name: str) -> str:
        """Address of a file."""
        return f"http://127.0.0.1:{self.server.server_address[1]}/{name}"
