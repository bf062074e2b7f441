"""Clients that send a byte now and then don't stay for ever."""

import select
import socket
import threading
import time
import unittest

from lenstest import Service

# What server/http/server.c allows, in seconds, and what a busy machine adds.
FIRST_LINE, WHOLE_REQUEST, MORE = 30, 60, 8


def setUpModule():
    global svc, net
    svc = Service()
    net = svc.network()


def tearDownModule():
    svc.close()


class Drip(threading.Thread):
    """Sends a beginning at once and then a byte each second, for ever."""

    def __init__(self, name, start, drop):
        super().__init__()
        self.name, self.start_bytes, self.drop = name, start, drop
        self.seconds = None  # until it was cut
        self.got = b""

    def run(self):
        began = time.monotonic()
        with socket.create_connection(("127.0.0.1", svc.port)) as s:
            try:
                s.sendall(self.start_bytes)
                while time.monotonic() - began < WHOLE_REQUEST + 30:
                    if select.select([s], [], [], 1.0)[0]:
                        part = s.recv(4096)
                        if not part:
                            break
                        self.got += part
                    else:
                        s.sendall(self.drop)
                else:
                    return
            except ConnectionError:
                pass
        self.seconds = time.monotonic() - began


class Slow(unittest.TestCase):
    def test_each_is_cut_off_in_time_and_nobody_else(self):
        auth = f"Authorization: Bearer {net.tokens['device']}\r\n".encode()
        head = (b"POST /v1/readings HTTP/1.1\r\nHost: localhost\r\n" + auth
                + b"Content-Type: application/json\r\n")
        drips = [
            Drip("nothing at all", b"", b""),
            Drip("a request line", b"GE", b"T"),
            Drip("headers", head, b"X-A: b\r\n"),
            Drip("a body", head + b"Content-Length: 100000\r\n\r\n", b" "),
            Drip("chunks", head + b"Transfer-Encoding: chunked\r\n\r\n",
                 b"1\r\n \r\n"),
            # Taken line by line as they come, which lasts as long as it
            # brings something.
            Drip("lines", head.replace(b"/json", b"/x-ndjson")
                 + b"Transfer-Encoding: chunked\r\n\r\n", b"2\r\n {\r\n")]
        steady = socket.create_connection(("127.0.0.1", svc.port))
        ask = (b"GET /v1/me HTTP/1.1\r\nHost: localhost\r\n" + auth
               + b"\r\n")
        for drip in drips:
            drip.start()
        served = 0
        while any(drip.is_alive() for drip in drips):
            # Meanwhile a connection that completes its requests is served.
            steady.sendall(ask)
            self.assertTrue(steady.recv(65536).startswith(
                b"HTTP/1.1 200 OK"))
            served += 1
            time.sleep(5)
        steady.close()
        self.assertGreater(served, 5)
        for drip, most in zip(drips, [FIRST_LINE] * 2 + [WHOLE_REQUEST] * 4):
            with self.subTest(drip.name):
                self.assertIsNotNone(drip.seconds, "was never cut off")
                self.assertGreater(drip.seconds, most - 2)
                self.assertLess(drip.seconds, most + MORE)
        self.assertEqual(svc.psql(
            f"SELECT 1 FROM reading WHERE network_id = '{net.id}'"), [])


if __name__ == "__main__":
    unittest.main()
