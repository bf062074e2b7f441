import argparse
import json
import os
import subprocess
import sys
import tempfile

from lenstest import Service
from lenstest.service import built

from . import fill, load, statements

CLIENTS = (1, 2, 4, 8, 16, 32)
CONNECTIONS = (1, 16, 64)


class Bench:
    def __init__(self, options):
        self.options = options
        self.folder = tempfile.mkdtemp(prefix="lensbench-")
        os.chmod(self.folder, 0o755)
        # Real flushes: a baseline without them would be no baseline.
        self.service = Service(fsync=True, settings={"log_level": "warning"})
        self.wrk = load.Wrk(self.service.base_url, self.folder,
                            options.seconds)
        self.pgbench = load.Pgbench(self.service, self.folder,
                                    options.seconds)
        self.start = 0

    def fill(self):
        count = self.options.patients
        self.note(f"filling {count} patients with {fill.READINGS} readings")
        self.service.psql(fill.people())
        self.service.psql(fill.patients(count))
        answer = self.service.api(
            "POST", "/v1/readings",
            load.READING % (0, 0, 0, 999999, 0), token=fill.token(0, 0))
        assert answer.status == 201, answer
        self.sample = answer.body["id"]
        psql = self.service.psql_command("lensclerk_super")
        subprocess.run(psql, text=True, check=True, cwd="/",
                       input=fill.readings(count, self.sample)
                       + "VACUUM ANALYZE; CHECKPOINT;")

    def note(self, text):
        print(text, file=sys.stderr if self.options.json else sys.stdout,
              flush=True)

    def tell(self, name, rate, baseline, **more):
        row = {"name": name, "rate": round(rate, 1),
               "baseline": round(baseline, 1),
               "ratio": round(rate / baseline, 3), **more}
        if self.options.json:
            print(json.dumps(row), flush=True)
            return
        rest = "  ".join(f"{k} {v}" for k, v in more.items())
        print(f"{name:28} {rate:10.0f}/s  baseline {baseline:10.0f}/s  "
              f"ratio {row['ratio']:.2f}  {rest}", flush=True)

    def compare(self, name, sql, script, **variables):
        self.note(f"-- baseline of {name}:\n{sql}")
        self.pgbench.run(sql, 4, 1, **variables)  # warm
        base, clients = self.pgbench.best(sql, CLIENTS, **variables)
        self.wrk.run(script(), 8, 1)
        for connections in CONNECTIONS:
            got = self.wrk.run(script(), connections)
            self.tell(f"{name} at {connections}", got["rate"], base,
                      p50_ms=got["p50_ms"], p99_ms=got["p99_ms"],
                      baseline_clients=clients)

    def ingest(self):
        def script():
            self.start += 50_000_000
            return load.script(load.INGEST, self.start,
                               self.options.patients, self.start // 1000000)
        self.compare("ingest", statements.ingest(self.service, self.sample),
                     script, n=0, patients=self.options.patients)

    def chart(self):
        count = self.options.patients

        def repeat():
            return load.script(load.CHART, 0, count,
                               pick=f"(n * 7919) % {count}, 0")

        def first():
            # Every pair of user and patient once in the whole run.
            self.start += 20_000
            return load.script(
                load.CHART, self.start, count,
                pick=f"n % {count}, 1 + math.floor(n / {count})"
                     f" % {fill.USERS - 1}")
        self.compare("chart, repeated view", statements.CHART_REPEAT, repeat,
                     n=0, patients=count)
        self.start = 0
        self.compare("chart, first view", statements.CHART_FIRST, first, n=0,
                     patients=count)

    def close(self):
        self.service.close()
        subprocess.run(["rm", "-rf", self.folder], check=True)


def optics(options):
    """Each batch beside the loop with libm and beside a plain copy."""
    done = subprocess.run([built() / "tests/support/benchlib/bench-optics"],
                          text=True, check=True, stdout=subprocess.PIPE)
    for line in done.stdout.splitlines():
        name, rate, libm, copy, apart = line.split()
        rate, libm, copy = float(rate), float(libm), float(copy)
        row = {"name": f"optics {name}", "rate": rate, "baseline": libm,
               "ratio": round(rate / libm, 2), "copy": copy,
               "of_copy": round(rate / copy, 3), "apart": float(apart)}
        if options.json:
            print(json.dumps(row), flush=True)
        else:
            print(f"{row['name']:28} {rate:10.0f}/s  libm {libm:10.0f}/s  "
                  f"ratio {row['ratio']:.2f}  plain copy {copy:.0f}/s  "
                  f"ratio {row['of_copy']:.3f}  apart {apart}", flush=True)


def main():
    parser = argparse.ArgumentParser(prog="tests/bench")
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--patients", type=int, default=10000)
    parser.add_argument("--seconds", type=int, default=4)
    parser.add_argument("names", nargs="*", metavar="NAME")
    options = parser.parse_args()
    names = options.names or ["ingest", "chart", "optics"]
    unknown = set(names) - {"ingest", "chart", "optics"}
    if unknown:
        parser.error(f"no benchmark {sorted(unknown)}")
    if "optics" in names:
        optics(options)
    if set(names) & {"ingest", "chart"}:
        bench = Bench(options)
        try:
            bench.fill()
            if "chart" in names:
                bench.chart()
            if "ingest" in names:
                bench.ingest()
        finally:
            bench.close()


main()
