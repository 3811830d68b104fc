"""A browser without a page: cookies, forms and JSON over HTTP, and a word for an answer that never came."""

from __future__ import annotations

import http.client
import json
import secrets
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from django.test import Client

from office.people.models import Person

PATIENCE = 60.0  # seconds for one answer


class Lost(Exception):
    """No answer: what was sent may have been done or not."""


@dataclass(frozen=True, slots=True)
class Answer:
    status: int
    text: str
    location: str = ""

    @property
    def done(self) -> bool:
        return self.status in {200, 302}

    @property
    def refused(self) -> bool:
        return 400 <= self.status < 500 and self.status != 429

    def json(self) -> Any:
        return json.loads(self.text)


def session_of(person: Person) -> str:
    """A session as a sign-in makes it, in the test's own database: made before that is copied."""
    client = Client()
    client.force_login(person)
    return client.cookies["sessionid"].value


class Browser:
    """One person at one server. Every request has a connection of its own."""

    def __init__(self, port: int, session: str = "") -> None:
        self.port = port
        self.token = secrets.token_hex(16)
        self.cookies = {"csrftoken": self.token} | ({"sessionid": session} if session else {})

    def get(self, path: str) -> Answer:
        return self._ask("GET", path, b"", {})

    def post(self, path: str, **fields: object) -> Answer:
        body = urlencode(fields, doseq=True).encode()
        return self._ask("POST", path, body, {"Content-Type": "application/x-www-form-urlencoded"})

    def post_json(self, path: str, document: object) -> Answer:
        return self._ask("POST", path, json.dumps(document).encode(), {"Content-Type": "application/json"})

    def upload(self, path: str, field: str, name: str, content: bytes, **fields: str) -> Answer:
        edge = secrets.token_hex(16)
        parts = [
            f'--{edge}\r\nContent-Disposition: form-data; name="{key}"\r\n\r\n{value}\r\n'.encode()
            for key, value in fields.items()
        ]
        head = f'--{edge}\r\nContent-Disposition: form-data; name="{field}"; filename="{name}"\r\n\r\n'.encode()
        body = b"".join([*parts, head, content, f"\r\n--{edge}--\r\n".encode()])
        return self._ask("POST", path, body, {"Content-Type": f"multipart/form-data; boundary={edge}"})

    def _ask(self, method: str, path: str, body: bytes, headers: dict[str, str]) -> Answer:
        cookies = "; ".join(f"{name}={value}" for name, value in self.cookies.items())
        headers = {**headers, "Cookie": cookies, "X-CSRFToken": self.token, "Accept-Language": "en"}
        line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=PATIENCE)
        try:
            line.request(method, path, body or None, headers)
            response = line.getresponse()
            text = response.read().decode("utf-8", "replace")
        except (OSError, http.client.HTTPException) as error:
            raise Lost(f"{method} {path}: {error!r}") from error
        finally:
            line.close()
        return Answer(response.status, text, response.headers.get("Location", ""))
