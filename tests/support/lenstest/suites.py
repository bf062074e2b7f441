"""Runs suites and counts: python3 -m lenstest.suites [SUITE…].

The last line of the output is "N passed, N failed", and no other line looks
like it.
"""

import concurrent.futures
import json
import os
import pathlib
import re
import signal
import subprocess
import sys
import tempfile
import time

from .service import built, repo

# Those that wait most go first.
PYTHON = ("pages", "fault", "start", "http", "db")
SUITES = ("lint", "unit", "db", "http", "pages", "fault", "start")
FILE_SECONDS = 900

CHECK = re.compile(
    r"^\d+%: Checks: (\d+), Failures: (\d+), Errors: (\d+)", re.M)


def report(suite, name, passed, failed, seconds):
    mark = "FAILED" if failed else "ok"
    print(f"{mark:<7}{suite}/{name}: {passed} of {passed + failed}"
          f" ({seconds:.1f} s)", flush=True)


def indent(text, most=8000):
    if len(text) > most:
        text = text[:most // 2] + "\n…\n" + text[-most // 2:]
    return "".join(f"    {line}\n" for line in text.splitlines())


def unit():
    """Every case of every check program, by meson."""
    log = built() / "meson-logs/testlog.json"
    log.unlink(missing_ok=True)
    done = subprocess.run(
        ["meson", "test", "-C", built(), "--no-rebuild", "--timeout-multiplier",
         "4"], stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT, text=True, check=False)
    if not log.exists():
        print(indent(done.stdout))
        report("unit", "(meson)", 0, 1, 0)
        return 0, 1
    total = [0, 0]
    for line in log.read_text().splitlines():
        test = json.loads(line)
        text = (test.get("stdout") or "") + (test.get("stderr") or "")
        passed = failed = 0
        for found in CHECK.finditer(text):
            checks, failures, errors = map(int, found.groups())
            passed += checks - failures - errors
            failed += failures + errors
        well = test["result"] == "OK"
        if well and not passed:
            passed = 1  # a test that isn't a check program
        if not well and not failed:
            failed = 1  # a crash, a leak, or too long
        if failed:
            print(indent(f"{test['result']}\n{text}"))
        report("unit", test["name"], passed, failed, test["duration"])
        total[0] += passed
        total[1] += failed
    if total == [0, 0]:
        print("FAILED unit: meson knows no test")
        total[1] = 1
    return tuple(total)


def run_file(path):
    """(cases, output, seconds) of one test file in a process of its own."""
    began = time.monotonic()
    with tempfile.TemporaryDirectory(prefix="lenstest-") as folder:
        result = pathlib.Path(folder) / "result"
        process = subprocess.Popen(
            [sys.executable, "-m", "lenstest.one", path, result],
            cwd=repo, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT, text=True, errors="replace",
            start_new_session=True)
        try:
            output, _ = process.communicate(timeout=FILE_SECONDS)
        except subprocess.TimeoutExpired:
            os.killpg(process.pid, signal.SIGKILL)
            output, _ = process.communicate()
            output += f"\nstopped after {FILE_SECONDS} s\n"
        cases = json.loads(result.read_text()) if result.exists() else \
            [["(file)", "it ended without a result"]]
    return cases, output, time.monotonic() - began


def python(suites):
    """The files of these suites, two at a time."""
    files = []
    total = [0, 0]
    for suite in suites:
        found = sorted((repo / "tests" / suite).glob("test_*.py"))
        files += [(suite, p) for p in found]
        if not found:
            print(f"FAILED {suite}: it has no test file")
            total[1] += 1
    with concurrent.futures.ThreadPoolExecutor(2) as pool:
        futures = {pool.submit(run_file, p): (s, p) for s, p in files}
        for future in concurrent.futures.as_completed(futures):
            suite, path = futures[future]
            cases, output, seconds = future.result()
            failed = sum(1 for _, fault in cases if fault)
            if failed:
                print(indent(output))
            report(suite, path.stem, len(cases) - failed, failed, seconds)
            total[0] += len(cases) - failed
            total[1] += failed
    return tuple(total)


def lint():
    total = [0, 0]
    process = subprocess.Popen(
        [repo / "tests/lint", "--build", built()], text=True,
        stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT)
    for line in process.stdout:
        print(line, end="", flush=True)
        if line.startswith("ok "):
            total[0] += 1
        elif line.startswith("FAILED "):
            total[1] += 1
    if process.wait() and not total[1]:
        print("FAILED lint: it ended before its end")
        total[1] = 1
    return tuple(total)


def main(names):
    wanted = names or list(SUITES)
    passed = failed = 0
    counts = []
    if "lint" in wanted:
        counts.append(lint())
    if "unit" in wanted:
        counts.append(unit())
    if any(name in PYTHON for name in wanted):
        counts.append(python([n for n in PYTHON if n in wanted]))
    for more_passed, more_failed in counts:
        passed += more_passed
        failed += more_failed
    print(f"{passed} passed, {failed} failed", flush=True)
    return 1 if failed or not passed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
