"""HTTP over connections that are kept, one a thread."""

import http.client
import json
import select
import threading
from typing import Any, NamedTuple


class Answer(NamedTuple):
    status: int
    headers: http.client.HTTPMessage
    body: Any  # parsed when it is JSON, else the bytes


def is_json(content_type):
    kind = (content_type or "").split(";")[0].strip().lower()
    return kind == "application/json" or (
        kind.endswith("+json") and "ndjson" not in kind)


def no_pairs_twice(pairs):
    names = [name for name, _ in pairs]
    if len(names) != len(set(names)):
        raise ValueError(f"a member stands twice among {names}")
    return dict(pairs)


class Client:
    def __init__(self, host, port, timeout=30):
        self.host, self.port, self.timeout = host, port, timeout
        self.local = threading.local()

    def connection(self):
        """This thread's connection; a new one when the server closed it."""
        kept = getattr(self.local, "connection", None)
        if kept and kept.sock:
            # Readable while nothing is asked: the other end has closed.
            poll = select.poll()  # select() ends at descriptor 1023
            poll.register(kept.sock, select.POLLIN)
            if not poll.poll(0):
                return kept
            kept.close()
        self.local.connection = http.client.HTTPConnection(
            self.host, self.port, timeout=self.timeout)
        return self.local.connection

    def close(self):
        kept = getattr(self.local, "connection", None)
        if kept:
            kept.close()

    def api(self, method, path, body=None, token=None, headers=None):
        """One request.  A dict or list goes as JSON; text and bytes as they
        are.  Nothing is tried twice: a lost answer is an exception."""
        send = {name: value for name, value in (headers or {}).items()}
        names = {name.lower() for name in send}
        if isinstance(body, (dict, list)):
            body = json.dumps(body, ensure_ascii=False).encode()
            if "content-type" not in names:
                send["Content-Type"] = "application/json"
        elif isinstance(body, str):
            body = body.encode()
            if "content-type" not in names:
                send["Content-Type"] = "application/json"
        if token and "authorization" not in names:
            send["Authorization"] = f"Bearer {token}"
        connection = self.connection()
        try:
            connection.request(method, path, body=body, headers=send)
            answer = connection.getresponse()
            data = answer.read()
        except (OSError, http.client.HTTPException):
            connection.close()
            raise
        if data and is_json(answer.headers.get("Content-Type")):
            data = json.loads(data, object_pairs_hook=no_pairs_twice)
        return Answer(answer.status, answer.headers, data)
