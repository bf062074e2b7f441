"""The service as a client sees it, and the operator's commands."""

import http.client
import json
import select
import ssl
import subprocess
import threading
import time
import urllib.parse

PATIENCE_S = 20


class Refused(Exception):
    pass


class Answer:
    def __init__(self, status, headers, body):
        self.status, self.headers, self.body = status, headers, body
        self.etag = headers.get("ETag")


def parsed(data, content_type):
    kind = (content_type or "").split(";")[0]
    if kind == "application/x-ndjson":
        return [json.loads(line) for line in data.splitlines() if line]
    if data and (kind == "application/json" or kind.endswith("+json")):
        return json.loads(data)
    return data


class Service:
    """Connections are kept, one a thread."""

    def __init__(self, base_url):
        self.base_url = base_url
        self.to = urllib.parse.urlsplit(base_url)
        self.local = threading.local()

    def connection(self):
        kept = getattr(self.local, "kept", None)
        # Readable while nothing is asked: the other end has closed it.
        if kept and kept.sock and not select.select([kept.sock], [], [], 0)[0]:
            return kept
        if kept:
            kept.close()
        if self.to.scheme == "https":
            # This machine's own daemon, whose certificate has another name.
            loose = ssl._create_unverified_context()
            kept = http.client.HTTPSConnection(
                self.to.hostname, self.to.port, timeout=30, context=loose)
        else:
            kept = http.client.HTTPConnection(
                self.to.hostname, self.to.port, timeout=30)
        self.local.kept = kept
        return kept

    def ask(self, method, path, body, headers):
        kept = self.connection()
        try:
            kept.request(method, path, body=body, headers=headers)
            answer = kept.getresponse()
            data = answer.read()
        except (OSError, http.client.HTTPException) as fault:
            kept.close()
            raise Refused(f"{method} {path}: the service is gone"
                          f" ({fault or type(fault).__name__})") from fault
        return Answer(answer.status, answer.headers,
                      parsed(data, answer.headers.get("Content-Type")))

    def call(self, token, method, path, body=None, *, key=None, match=None,
             media="application/json"):
        """An answer below 300, or Refused.  A busy service is waited for."""
        headers = {}
        if token:
            headers["Authorization"] = f"Bearer {token}"
        if key:
            headers["Idempotency-Key"] = key
        if match:
            headers["If-Match"] = match
        if body is not None:
            headers["Content-Type"] = media
            if not isinstance(body, bytes):
                body = json.dumps(body, ensure_ascii=False).encode()
        end = time.monotonic() + PATIENCE_S
        while True:
            answer = self.ask(method, path, body, headers)
            if answer.status != 503 or time.monotonic() > end:
                break
            time.sleep(min(2, int(answer.headers.get("Retry-After") or 1)))
        if answer.status >= 300:
            raise Refused(f"{method} {path}: {answer.status} {answer.body}")
        return answer

    def items(self, token, path):
        """Every item of a list."""
        found, after = [], ""
        mark = "&" if "?" in path else "?"
        while True:
            page = self.call(
                token, "GET", f"{path}{mark}limit=500{after}").body
            found += page["items"]
            if not page["next"]:
                return found
            after = "&after=" + urllib.parse.quote(page["next"])

    def knows(self, token):
        answer = self.ask("GET", "/v1/me", None,
                          {"Authorization": f"Bearer {token}"})
        if answer.status not in (200, 401):
            raise Refused(f"GET /v1/me: {answer.status} {answer.body}")
        return answer.status == 200


class Command:
    """lensclerkd's commands for what must be there before anybody can sign
    in: the network and its administrator."""

    def __init__(self, state, config):
        self.program = state / "app/bin/lensclerkd"
        self.config = config

    def run(self, *words, text=None):
        return subprocess.run(
            [self.program, *words, "--config", self.config], text=True,
            input=text or "", stdout=subprocess.PIPE, stderr=subprocess.PIPE,
            check=False)

    def network_add(self, network):
        """False when it is there already."""
        done = self.run("network", "add", "--name", network["name"],
                        "--display", network["display"])
        if done.returncode == 0:
            return True
        if "another network has this name" in done.stderr:
            return False
        raise Refused(done.stderr.strip())

    def admin(self, network, user, password):
        """The user with this password, made or changed."""
        words = ("--network", network, "--user", user["name"],
                 "--password-file", "/dev/stdin")
        done = self.run("user", "password", *words, text=password + "\n")
        if done.returncode:
            done = self.run("user", "add", *words, "--role", user["role"],
                            "--display", user["display"],
                            text=password + "\n")
        if done.returncode:
            raise Refused(done.stderr.strip())
