"""The door of the live view: for this computer, for who has the address, and for our page alone."""

from __future__ import annotations

import hmac
import json
import secrets
import sys
from collections.abc import Callable
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

from fitcheck.live.viewing import Viewing, Wrong, body
from fitcheck.outputs.page import sheet

HERE = "127.0.0.1"
# The largest question, bytes; and how long a connection may say nothing, s.
BODY_BYTES = 65_536
SILENCE = 60
# Beside the page's own policy: nobody frames it, nobody is told where it is.
HEADERS = {
    "Cache-Control": "no-store",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
}
BINARY, HTML, TEXT = "application/octet-stream", "text/html; charset=utf-8", "text/plain; charset=utf-8"


class Refused(Exception):
    """A request that is not answered."""

    def __init__(self, status: HTTPStatus, why: str) -> None:
        super().__init__(why)
        self.status = status


class LiveServer(ThreadingHTTPServer):
    """Serves one viewing; `address` is where."""

    daemon_threads = True

    def __init__(self, viewing: Viewing, port: int = 0) -> None:
        self.viewing = viewing
        self.token = secrets.token_urlsafe(24)
        super().__init__((HERE, port), _Door)

    def handle_error(self, request: Any, client_address: Any) -> None:
        """A page that was closed meanwhile is no fault; all else is told."""
        if not isinstance(sys.exc_info()[1], OSError):
            super().handle_error(request, client_address)

    @property
    def host(self) -> str:
        """As requests must name it."""
        return f"{HERE}:{self.server_address[1]}"

    @property
    def address(self) -> str:
        """Of the page; who does not have it gets nothing."""
        return f"http://{self.host}/{self.token}/"


class _Door(BaseHTTPRequestHandler):
    """One connection."""

    server: LiveServer
    protocol_version = "HTTP/1.1"
    server_version, sys_version = "fitcheck", ""
    timeout = SILENCE

    def do_GET(self) -> None:
        """Answer for the page and for news."""
        self._answered({"": self._page, "news": self._news})

    def do_POST(self) -> None:
        """Answer for values."""
        self._answered({"ask": self._ask, "keep": self._keep})

    def _answered(self, known: dict[str, Callable[[], tuple[str, bytes]]]) -> None:
        try:
            kind, answer = known[self._place(known)]()
        except Refused as why:
            # What it sends beyond this is not read.
            self.close_connection = True
            return self._send(why.status, TEXT, str(why).encode())
        self._send(HTTPStatus.OK, kind, answer)

    def _place(self, known: dict[str, Any]) -> str:
        """What is asked for.

        Raises:
            Refused: not by our page, not with the token, or not there.
        """
        forbidden = Refused(HTTPStatus.FORBIDDEN, "not for you")
        # A name that leads here from elsewhere, or a page from elsewhere, is refused before all else.
        if self.headers.get_all("Host") != [self.server.host]:
            raise forbidden
        origin = self.headers.get("Origin")
        if origin != f"http://{self.server.host}" and not (origin is None and self.command == "GET"):
            raise forbidden
        if self.headers.get("Sec-Fetch-Site", "none") not in ("none", "same-origin"):
            raise forbidden
        path, _, self._query = self.path.partition("?")
        _, token, *rest = path.split("/") if path.count("/") == 2 else ("", "", "")
        if not hmac.compare_digest(token.encode(), self.server.token.encode()):
            raise forbidden
        if rest[0] not in known:
            raise Refused(HTTPStatus.NOT_FOUND, "there is nothing here")
        return str(rest[0])

    def _page(self) -> tuple[str, bytes]:
        data, shapes = self.server.viewing.page()
        return HTML, sheet(data, shapes, connects=True).encode()

    def _news(self) -> tuple[str, bytes]:
        seen = self._query.removeprefix("seen=")
        if not (seen.isascii() and seen.isdigit() and len(seen) < 10):
            raise Refused(HTTPStatus.BAD_REQUEST, "write ?seen=NUMBER")
        return BINARY, self.server.viewing.news(int(seen)) or b""

    def _ask(self) -> tuple[str, bytes]:
        asked = self._read()
        known = asked.get("known", [])
        if not isinstance(known, list) or not all(isinstance(one, str) for one in known):
            raise Refused(HTTPStatus.BAD_REQUEST, "known: a list of keys")
        try:
            return BINARY, self.server.viewing.ask(_values(asked), known)
        except Wrong as why:
            return BINARY, body({"wrong": str(why)})

    def _keep(self) -> tuple[str, bytes]:
        try:
            return BINARY, body(self.server.viewing.keep(_values(self._read())))
        except Wrong as why:
            return BINARY, body({"wrong": str(why)})

    def _read(self) -> dict[str, Any]:
        said = self.headers.get("Content-Length", "")
        if not (said.isascii() and said.isdigit()) or "Transfer-Encoding" in self.headers:
            raise Refused(HTTPStatus.LENGTH_REQUIRED, "say how long it is")
        if len(said) > 9 or int(said) > BODY_BYTES:
            raise Refused(HTTPStatus.REQUEST_ENTITY_TOO_LARGE, f"at most {BODY_BYTES} bytes")
        if self.headers.get_content_type() != "application/json":
            raise Refused(HTTPStatus.UNSUPPORTED_MEDIA_TYPE, "write JSON")
        try:
            asked = json.loads(self.rfile.read(int(said)))
        except (ValueError, RecursionError):
            raise Refused(HTTPStatus.BAD_REQUEST, "is no JSON") from None
        if not isinstance(asked, dict):
            raise Refused(HTTPStatus.BAD_REQUEST, "write an object")
        return asked

    def _send(self, status: HTTPStatus, kind: str, answer: bytes) -> None:
        self.send_response(status)
        for name, value in {**HEADERS, "Content-Type": kind, "Content-Length": str(len(answer))}.items():
            self.send_header(name, value)
        if self.close_connection:
            self.send_header("Connection", "close")
        self.end_headers()
        self.wfile.write(answer)

    def log_message(self, format: str, *args: Any) -> None:
        """Say nothing: the address holds the token."""


def _values(asked: dict[str, Any]) -> dict[str, str]:
    values = asked.get("values")
    if not isinstance(values, dict):
        raise Refused(HTTPStatus.BAD_REQUEST, "values: an object")
    return values
