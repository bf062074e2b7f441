"""A receiver of webhooks: checks each message's digest and signature (RFC
9530, RFC 9421) and keeps what was told."""

import base64
import hashlib
import hmac
import http.server
import json
import re
import threading

COVERED = ("@method", "@target-uri", "content-digest", "content-type")


class Receiver:
    """url is where it listens.  answer(path, message) gives the status of
    each; wrong holds what is broken about a message."""

    def __init__(self, port=0):
        self.lock = threading.Lock()
        self.told, self.wrong, self.secrets = [], [], {}
        self.answer = lambda path, message: 204
        receiver = self

        class Handler(http.server.BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"

            def do_POST(self):
                body = self.rfile.read(int(self.headers["Content-Length"]))
                message = json.loads(body)
                why = receiver.fault(self.path, self.headers, body)
                status = receiver.answer(self.path, message)
                with receiver.lock:
                    if why:
                        receiver.wrong.append(why)
                    receiver.told.append((self.path, status, message))
                self.send_response(status)
                if status == 302:
                    self.send_header("Location", "/elsewhere")
                self.send_header("Content-Length", "0")
                self.end_headers()

            def log_message(self, *args):
                pass

        class Server(http.server.ThreadingHTTPServer):
            daemon_threads = True
            request_queue_size = 128

            def handle_error(self, request, client_address):
                pass  # who posts may be killed meanwhile

        self.server = Server(("127.0.0.1", port), Handler)
        self.port = self.server.server_address[1]
        self.url = f"http://127.0.0.1:{self.port}"
        self.thread = threading.Thread(
            target=self.server.serve_forever, kwargs={"poll_interval": 0.05},
            daemon=True)
        self.thread.start()

    def fault(self, path, headers, body):
        """What is wrong with a message, or None."""
        digest = base64.b64encode(hashlib.sha256(body).digest()).decode()
        if headers["Content-Digest"] != f"sha-256=:{digest}:":
            return "the digest isn't the body's"
        found = re.fullmatch(
            r'sig1=(\((.*)\);created=(\d+);keyid="([^"]+)";'
            r'alg="hmac-sha256")', headers["Signature-Input"] or "")
        if not found or found.group(2) != " ".join(
                f'"{name}"' for name in COVERED):
            return f"not signed as said: {headers['Signature-Input']}"
        values = {"@method": "POST", "@target-uri": self.url + path,
                  "content-digest": headers["Content-Digest"],
                  "content-type": headers["Content-Type"]}
        base = "\n".join([f'"{n}": {values[n]}' for n in COVERED]
                         + [f'"@signature-params": {found.group(1)}'])
        secret = self.secrets.get(found.group(4))
        if secret is None:
            return f"unknown key {found.group(4)}"
        key = base64.urlsafe_b64decode(secret + "=")
        mac = base64.b64encode(hmac.digest(key, base.encode(),
                                           "sha256")).decode()
        return None if headers["Signature"] == f"sig1=:{mac}:" \
            else "the signature isn't of these bytes"

    def taken(self, path=None):
        """Messages that were answered 2xx."""
        with self.lock:
            return [m for p, s, m in self.told
                    if 200 <= s < 300 and path in (None, p)]

    def close(self):
        self.server.shutdown()
        self.server.server_close()
        self.thread.join()
