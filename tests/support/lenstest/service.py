"""A PostgreSQL, a daemon and the supervisor of both, in a temporary folder."""

import csv
import fcntl
import io
import json
import os
import pathlib
import random
import re
import shutil
import signal
import socket
import subprocess
import tempfile
import time

from .client import Client
from .fixture import Network

repo = pathlib.Path(__file__).resolve().parents[3]

# What a sanitizer says when it has found something.
FAULT = re.compile(
    r"ERROR: \w+Sanitizer|runtime error:|WARNING: ThreadSanitizer")


def wait_until(what, holds, seconds=10.0, every=0.02):
    """The first true value of holds(), or a failure that names what."""
    end = time.monotonic() + seconds
    while True:
        value = holds()
        if value:
            return value
        if time.monotonic() > end:
            raise TimeoutError(f"not within {seconds} s: {what}")
        time.sleep(every)


def built():
    named = os.environ.get("LENSTEST_BUILD")
    return pathlib.Path(named) if named else repo / "build-test"


def plain_build():
    """A build without sanitizers, of which memory and time say something: the
    one that is tested, or one inside it, made when it is first asked for."""
    options = json.loads(
        (built() / "meson-info/intro-buildoptions.json").read_text())
    if any(o["name"] == "b_sanitize" and o["value"] == "none"
           for o in options):
        return built()
    folder = built() / "plain"
    folder.mkdir(exist_ok=True)
    with (folder / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not (folder / "build.ninja").exists():
            make("meson", "setup", "-Dwerror=false", folder, repo)
        make("ninja", "-C", folder, "server/lensclerkd",
             "server/lensclerk-forward", "server/lensclerk-supervise")
    return folder


def make(*words):
    done = subprocess.run(
        [str(word) for word in words], stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
        check=False)
    if done.returncode:
        raise RuntimeError(f"{words}:\n{done.stdout[-3000:]}")


def free_ports():
    """A port with a free one above it, below those of outgoing connections."""
    while True:
        port = random.randrange(20000, 30000, 2)
        try:
            for p in (port, port + 1):
                with socket.socket() as s:
                    s.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
                    s.bind(("127.0.0.1", p))
            return port
        except OSError:
            continue


def alive(pid):
    """False for a zombie too, which has nothing left but its number."""
    try:
        stat = pathlib.Path(f"/proc/{pid}/stat").read_text()
    except OSError:
        return False
    return stat.rpartition(")")[2].split()[0] not in "ZX"


class SqlError(Exception):
    def __init__(self, text):
        super().__init__(text.strip())
        found = re.search(r"(?:ERROR|FATAL|PANIC):  (\w{5}):", text)
        self.sqlstate = found.group(1) if found else None


class Service:
    """Up when the constructor returns.  fsync=False forgives no power cut,
    only the end of any process, and is what most tests want."""

    def __init__(self, fsync=False, settings=None, environment=None,
                 build=None):
        self.build = build or built()
        self.state = pathlib.Path(tempfile.mkdtemp(prefix="lenstest-"))
        self.state.chmod(0o711)
        self.root = os.getuid() == 0
        self.client = None
        self.port = free_ports()
        self.environment = dict(os.environ, **(environment or {}))
        self.environment["LENSCLERK_START_FSYNC"] = "on" if fsync else "off"
        for name, value in (settings or {}).items():
            self.environment[f"LENSCLERK_{name.upper()}"] = str(value)
        # The daemon's user can't read the tree when that is in a closed home.
        known = self.state / "lsan.supp"
        shutil.copy(repo / "tests/unit/print/lsan.supp", known)
        known.chmod(0o644)
        self.environment["LSAN_OPTIONS"] = \
            f"print_suppressions=0:suppressions={known}"
        try:
            self.start()
        except BaseException:
            self.remove()
            raise

    # --- life

    def start(self):
        done = subprocess.run(
            [repo / "deploy/start", "--empty", "--state", self.state / "s",
             "--port", str(self.port), "--metrics-port", str(self.port + 1),
             "--built", self.build, "--while-pid", str(os.getpid())],
            env=self.environment, stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
            timeout=120, check=False)
        if done.returncode:
            raise RuntimeError(f"deploy/start failed:\n{done.stdout}"
                               f"{self.log('lensclerkd')[-3000:]}")
        self.base_url = f"http://127.0.0.1:{self.port}"
        self.client = Client("127.0.0.1", self.port)

    def stop(self):
        done = subprocess.run(
            [repo / "deploy/stop", "--state", self.state / "s"],
            stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT, text=True, timeout=240, check=False)
        if done.returncode:
            raise RuntimeError(f"deploy/stop failed:\n{done.stdout}")

    def remove(self):
        if (self.state / "s/.lensclerk").exists():
            self.stop()
        shutil.rmtree(self.state, ignore_errors=True)

    def close(self):
        """Stops all and fails when a sanitizer found something."""
        if self.client:
            self.client.close()
        self.stop()
        faults = [text for text in (self.log("lensclerkd"),
                                    self.log("supervise"))
                  if FAULT.search(text)]
        self.remove()
        if faults:
            at = FAULT.search(faults[0]).start()
            raise AssertionError("a sanitizer found:\n"
                                 + faults[0][at:at + 6000])

    def log(self, name):
        path = self.state / "s/log" / f"{name}.log"
        return path.read_text(errors="replace") if path.exists() else ""

    # --- its processes

    def status(self):
        """{"postgres": (pid, state, starts), "lensclerkd": …}"""
        text = (self.state / "s/run/status").read_text()
        rows = [line.split() for line in text.splitlines()]
        return {name: (int(pid), state, int(starts))
                for name, pid, state, starts in rows}

    def pid(self, name):
        """Of "supervisor", "postgres" or "lensclerkd"; waits until it runs."""
        return wait_until(f"{name} runs", lambda: self.status()[name][0])

    def kill(self, name, sig=signal.SIGKILL):
        """Sends sig to that process and returns its number."""
        pid = self.pid(name)
        os.kill(pid, sig)
        return pid

    def ready(self):
        try:
            return self.api("GET", "/readyz").status == 200
        except OSError:
            return False
        except Exception:  # half an answer of a daemon that was killed
            self.client.close()
            return False

    def wait_ready(self, seconds=20.0):
        wait_until("GET /readyz answers 200", self.ready, seconds)

    def another(self, log, environment=None):
        """One more daemon on the same database, as a process and a client;
        log is a file to write to.  It is the caller's to end."""
        port = free_ports()
        names = ("ASAN_OPTIONS", "UBSAN_OPTIONS", "LSAN_OPTIONS", "PATH")
        kept = {n: v for n, v in self.environment.items()
                if n in names or n.startswith("LENSCLERK_")}
        kept.update({"LENSCLERK_SERVER_PORT": str(port),
                     "LENSCLERK_SERVER_METRICS_PORT": str(port + 1),
                     "TZ": "UTC", "LC_ALL": "C.UTF-8"}, **(environment or {}))
        command = [str(self.state / "s/app/bin/lensclerkd"), "serve",
                   "--config", str(self.config)]
        if self.root:
            command = [shutil.which("setpriv"), "--reuid=lensclerk",
                       "--regid=lensclerk",
                       "--clear-groups", *command]
        process = subprocess.Popen(
            command, env=kept, cwd="/", stdin=subprocess.DEVNULL,
            stdout=log, stderr=subprocess.STDOUT)
        client = Client("127.0.0.1", port)

        def up():
            if process.poll() is not None:
                raise RuntimeError("the daemon ended")
            try:
                return client.api("GET", "/readyz").status == 200
            except OSError:
                return False
        wait_until("another daemon is ready", up, 30)
        return process, client

    # --- what tests ask it

    def api(self, method, path, body=None, token=None, headers=None):
        """(status, headers, body): parsed JSON, or bytes."""
        return self.client.api(method, path, body, token, headers)

    def metrics(self):
        return Client("127.0.0.1", self.port + 1).api("GET", "/metrics")

    @property
    def config(self):
        return self.state / "s/lensclerk.conf"

    def cli(self, *words, check=True, **options):
        """lensclerkd WORDS --config …, as the administrator."""
        done = subprocess.run(
            [self.build / "server/lensclerkd", *map(str, words), "--config",
             self.config], stdin=subprocess.DEVNULL, text=True,
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, timeout=60,
            env=self.environment, check=False, **options)
        if check and done.returncode:
            raise RuntimeError(f"lensclerkd {words}: {done.stderr}")
        return done

    def sock(self):
        kept = self.state / "s/run/sock"
        return kept.read_text().strip() if kept.exists() \
            else self.state / "s/sock"

    def psql_command(self, role):
        command = ["psql", "-X", "-q", "--csv", "-t", "-v", "ON_ERROR_STOP=1",
                   "-v", "VERBOSITY=verbose", "-h", str(self.sock()),
                   "-U", role, "-d", "lensclerk", "-f", "-"]
        if self.root and role == "lensclerkd":
            command = ["setpriv", "--reuid=lensclerk", "--regid=lensclerk",
                       "--clear-groups", *command]
        return command

    def psql(self, sql, role="lensclerk_super"):
        """The rows, each a list of texts.  SqlError carries the SQLSTATE."""
        keep = {"PATH": os.environ["PATH"], "LC_ALL": "C.UTF-8"}
        if not self.root and role != "lensclerk_super":
            keep["PGPASSFILE"] = str(self.state / f"s/secrets/{role}.pgpass")
        done = subprocess.run(
            self.psql_command(role), input=sql, text=True, cwd="/",
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=keep,
            timeout=60, check=False)
        if done.returncode:
            raise SqlError(done.stderr)
        return list(csv.reader(io.StringIO(done.stdout)))

    def network(self, name=None, **options):
        return Network(self, name, **options)
