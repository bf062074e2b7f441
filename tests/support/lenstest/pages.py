"""Tests of the pages: a file of cases in JavaScript, run in Chromium against
a service of its own; each case counts as a test."""

import fcntl
import hashlib
import json
import os
import pathlib
import shutil
import subprocess
import tempfile
import unittest

from .service import Service, built, repo

HERE = repo / "tests/pages"
PASSWORD = "a long enough password"
SECONDS = 600


def packages():
    """The folder below which the tests' packages are installed, once."""
    folder = built() / "pages"
    folder.mkdir(exist_ok=True)
    digest = hashlib.sha256(
        (HERE / "package-lock.json").read_bytes()).hexdigest()
    with (folder / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        mark = folder / "installed"
        if mark.exists() and mark.read_text() == digest:
            return folder
        for name in ("package.json", "package-lock.json", ".npmrc"):
            shutil.copy(HERE / name, folder / name)
        done = subprocess.run(
            ["npm", "ci", "--ignore-scripts", "--no-progress",
             "--prefer-offline", "--fetch-retries=1"], cwd=folder,
            stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT, text=True, timeout=300, check=False)
        if done.returncode:
            raise RuntimeError("npm can't fetch what the tests of the pages"
                               f" need:\n{done.stdout[-2000:]}")
        mark.write_text(digest)
    return folder


def give_password(svc, net, user):
    with tempfile.NamedTemporaryFile("w") as kept:
        kept.write(PASSWORD + "\n")
        kept.flush()
        svc.cli("user", "password", "--network", net.name, "--user", user,
                "--password-file", kept.name)


def tokens(svc, net):
    """New bearer tokens: setting a password ended those there were."""
    sql = "".join(
        "UPDATE token SET revoked_at = NULL WHERE network_id = "
        f"'{net.id}' AND user_id = '{user}' AND kind = 'bearer';\n"
        for user in net.users.values())
    svc.psql(sql)
    return net.tokens


def setup(svc, net, roles):
    for role in roles:
        give_password(svc, net, role)
    return {
        "base": svc.base_url, "network": net.name, "clinic": net.clinic,
        "lab": net.lab, "tokens": tokens(svc, net),
        "accounts": {r: {"user": r, "password": PASSWORD} for r in roles},
        "packages": str(packages()),
        "chromium": shutil.which("chromium") or "/usr/bin/chromium",
        "sizes": str(svc.build / "server/web/sizes.json"),
        "site": str(svc.build / "server/web/site"),
        "only": os.environ.get("LENSTEST_ONLY"),
    }


def run(script, svc, roles):
    with tempfile.TemporaryDirectory(prefix="lenstest-") as folder:
        folder = pathlib.Path(folder)
        (folder / "setup").write_text(
            json.dumps(setup(svc, svc.network(), roles)))
        subprocess.run(
            ["node", HERE / "run.mjs", HERE / script, folder / "setup",
             folder / "result"], stdin=subprocess.DEVNULL,
            stderr=subprocess.STDOUT, timeout=SECONDS, check=False)
        if not (folder / "result").exists():
            raise RuntimeError("the browser's run ended early")
        return json.loads((folder / "result").read_text())


def page_tests(script, roles=("desk", "prescriber")):
    """A test class with a method for each case of tests/pages/SCRIPT."""
    listed = subprocess.run(
        ["node", HERE / "run.mjs", "--list", HERE / script],
        stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, text=True,
        timeout=60, check=True)

    class Pages(unittest.TestCase):
        @classmethod
        def setUpClass(cls):
            svc = Service()
            try:
                cls.result = run(script, svc, roles)
            except BaseException:
                svc.remove()
                raise
            svc.close()

    for name in json.loads(listed.stdout):
        def method(self, name=name):
            self.assertIn(name, self.result, "it was not run")
            self.assertIsNone(self.result[name], self.result[name])
        setattr(Pages, "test_" + name.replace(" ", "_"), method)
    return Pages
