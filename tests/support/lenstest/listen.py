"""A reader of server-sent events (WHATWG HTML, 9.2)."""

import http.client
import json
import queue
import socket
import threading


class Listener:
    """Collects events on a thread of its own.  get() gives (id, kind, data)
    of the next; done is set when the stream has ended."""

    def __init__(self, port, token, path="/v1/events", last=None):
        self.got, self.done = queue.Queue(), threading.Event()
        self.comments = 0
        self.connection = http.client.HTTPConnection("127.0.0.1", port,
                                                     timeout=60)
        headers = {"Authorization": f"Bearer {token}",
                   "Accept": "text/event-stream"}
        if last:
            headers["Last-Event-ID"] = last
        self.connection.request("GET", path, headers=headers)
        self.sock = self.connection.sock
        self.answer = self.connection.getresponse()
        self.thread = threading.Thread(target=self.read, daemon=True)
        self.thread.start()

    def read(self):
        fields = {}
        try:
            for raw in self.answer:
                line = raw.decode().rstrip("\n")
                if not line:
                    if "data" in fields:
                        self.got.put((fields.get("id"), fields.get("event"),
                                      json.loads(fields["data"])))
                    fields = {}
                elif line.startswith(":"):
                    self.comments += 1
                else:
                    name, _, value = line.partition(": ")
                    fields[name] = value
        except (OSError, ValueError, http.client.HTTPException):
            pass
        self.done.set()

    def get(self, seconds=10):
        return self.got.get(timeout=seconds)

    def all(self):
        """What is there once the stream has ended."""
        self.thread.join(30)
        found = []
        while not self.got.empty():
            found.append(self.got.get())
        return found

    def close(self):
        try:
            self.sock.shutdown(socket.SHUT_RDWR)
        except OSError:
            pass  # the other end was first
        self.thread.join(10)
        self.connection.close()
