"""The two load generators: wrk against the daemon, pgbench beside it."""

import os
import re
import subprocess

from . import fill

READING = """{"kind":"autorefraction","taken_at":"2026-03-02T09:%02d:%02d.\
%06d+01:00","device":{"serial":"AR-%d","model":"bench","manufacturer":"none"},\
"patient":{"record_number":"Q-%d"},"vertex_mm":12.00,"condition":{"cyclo\
plegic":false},"right":{"repeats":[{"sphere":-2.25,"cylinder":-0.75,"axis":172,\
"confidence":9},{"sphere":-2.50,"cylinder":-0.75,"axis":170,"confidence":9},\
{"sphere":-2.25,"cylinder":-0.50,"axis":171,"confidence":8}],"representative":\
{"sphere":-2.25,"cylinder":-0.75,"axis":172}},"left":{"repeats":[{"sphere":\
-2.75,"cylinder":-0.25,"axis":12,"confidence":9},{"sphere":-2.50,"cylinder":\
-0.25,"axis":10,"confidence":9},{"sphere":-2.75,"cylinder":-0.50,"axis":11,\
"confidence":8}],"representative":{"sphere":-2.75,"cylinder":-0.25,"axis":12}},\
"pd_mm":{"binocular":63.0,"right":31.5,"left":31.5,"near":60.0}}"""

# One thread asks, so a counter names each request.
SCRIPT = """
local n = {start}
local function token(net, user)
    return string.format("bench-%03d-%03d-0123456789abcdef", net, user)
end
local function patient(p)
    return string.format("00000000-0000-7000-8001-%012x", p)
end
"""

INGEST = """
wrk.method = "POST"
wrk.headers["Content-Type"] = "application/json"
function request()
    n = n + 1
    local p = (n * 7919) % {patients}
    wrk.headers["Authorization"] = "Bearer " .. token(p % {networks}, n % {users})
    return wrk.format(nil, "/v1/readings", nil, string.format([[{reading}]],
        math.floor(n / 60000000) % 60, math.floor(n / 1000000) % 60,
        n % 1000000, {serial}, p))
end
"""

CHART = """
function request()
    n = n + 1
    local p, user = {pick}
    wrk.headers["Authorization"] = "Bearer " .. token(p % {networks}, user)
    return wrk.format("GET", "/v1/patients/" .. patient(p) .. "/timeline")
end
"""


class Wrk:
    def __init__(self, base_url, folder, seconds):
        self.base_url, self.folder, self.seconds = base_url, folder, seconds

    def run(self, script, connections, seconds=None):
        path = os.path.join(self.folder, "load.lua")
        with open(path, "w", encoding="utf-8") as to:
            to.write(script)
        done = subprocess.run(
            ["wrk", "-t1", f"-c{connections}", f"-d{seconds or self.seconds}s",
             "--latency", "-s", path, self.base_url], text=True, check=True,
            stdout=subprocess.PIPE, stdin=subprocess.DEVNULL).stdout
        if "Non-2xx" in done or "Socket errors" in done:
            raise RuntimeError(f"the daemon refused some:\n{done}")
        return {"rate": float(re.search(r"Requests/sec:\s+([\d.]+)",
                                        done).group(1)),
                "p50_ms": milliseconds(done, "50%"),
                "p99_ms": milliseconds(done, "99%")}


def milliseconds(text, which):
    found = re.search(rf"\s{which}\s+([\d.]+)(us|ms|s)\b", text)
    return float(found.group(1)) * {"us": 0.001, "ms": 1, "s": 1000}[
        found.group(2)]


def script(kind, start, patients, serial=0, pick=""):
    fields = {"start": start, "patients": patients, "serial": serial,
              "networks": fill.NETWORKS, "users": fill.USERS,
              "reading": READING, "pick": pick}
    text = SCRIPT + kind
    for name, value in fields.items():
        text = text.replace("{" + name + "}", str(value))
    return text


class Pgbench:
    def __init__(self, service, folder, seconds):
        self.service, self.folder, self.seconds = service, folder, seconds
        self.runs = 0

    def run(self, sql, clients, seconds=None, **variables):
        self.runs += 1
        path = os.path.join(self.folder, f"base-{self.runs}.sql")
        with open(path, "w", encoding="utf-8") as to:
            to.write(sql)
        os.chmod(path, 0o644)
        psql = self.service.psql_command("lensclerkd")
        before = psql[:psql.index("psql")]
        command = [*before, "pgbench", "-n", "-M", "prepared", "-f", path,
                   "-c", str(clients), "-j", "1", "-T",
                   str(seconds or self.seconds), "-h",
                   str(self.service.sock()), "-U", "lensclerkd"]
        for name, value in {"run": self.runs, **variables}.items():
            command += ["-D", f"{name}={value}"]
        environment = dict(os.environ)
        passfile = self.service.state / "s/secrets/lensclerkd.pgpass"
        if passfile.exists():
            environment["PGPASSFILE"] = str(passfile)
        done = subprocess.run([*command, "lensclerk"], text=True, check=False,
                              cwd="/", env=environment,
                              stdout=subprocess.PIPE, stderr=subprocess.PIPE)
        if done.returncode:
            raise RuntimeError(f"pgbench: {done.stderr[-2000:]}")
        return float(re.search(r"tps = ([\d.]+)", done.stdout).group(1))

    def best(self, sql, counts, **variables):
        """The highest rate and the number of clients that reached it."""
        return max((self.run(sql, n, **variables), n) for n in counts)
