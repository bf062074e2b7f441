"""The walk in README.md, pasted into a shell as it stands there."""

import json
import os
import pathlib
import re
import shutil
import subprocess
import tempfile
import unittest

from lenstest import Service, repo

README = (pathlib.Path(repo) / "README.md").read_text(encoding="utf-8")


def setUpModule():
    global svc
    svc = Service()


def tearDownModule():
    svc.close()


def commands():
    walk = README.partition("## A walk through the main job\n")[2]
    walk = walk.partition("\n## ")[0]
    return re.findall(r"^```sh\n(.*?)^```$", walk, re.S | re.M)


class Walk(unittest.TestCase):
    def setUp(self):
        """A home as deploy/start leaves it for an ordinary user."""
        self.home = pathlib.Path(tempfile.mkdtemp(prefix="lenstest-"))
        self.addCleanup(shutil.rmtree, self.home, True)
        self.net = svc.network()
        state = self.home / ".local/state/lensclerk"
        state.mkdir(parents=True)
        (state / "demo.json").write_text(json.dumps({
            "base_url": svc.base_url, "network": self.net.name,
            "accounts": [{"role": r, "user": r, "password": None, "token": t}
                         for r, t in self.net.tokens.items()]}))
        bin = self.home / "bin"
        bin.mkdir()
        (bin / "id").write_text("#!/bin/sh\necho 1000\n")
        (bin / "id").chmod(0o755)
        self.environment = {
            "HOME": str(self.home), "TMPDIR": str(self.home),
            "PATH": f"{bin}:{os.environ['PATH']}"}

    def paste(self, shell, text):
        return subprocess.run(
            [*shell, "-c", text], env=self.environment, text=True,
            stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT, timeout=120, check=False)

    def walked(self, shell):
        done = self.paste(shell, "\n".join(commands()))
        self.assertEqual(done.returncode, 0, done.stdout)
        asked = re.findall(r"^(\d{3}) ([A-Z]+) (\S+)$", done.stdout, re.M)
        self.assertEqual(len(asked), sum(
            len(re.findall(r"^ask ", c, re.M)) for c in commands()),
            done.stdout)
        self.assertEqual([a for a in asked if a[0][0] != "2"], [],
                         done.stdout)
        return done.stdout, asked

    def test_every_step_is_done_and_the_order_is_a_page(self):
        out, asked = self.walked(["bash", "-eu"])
        self.assertGreater(len(asked), 18)
        pages = list(self.home.glob("*/order.pdf"))
        self.assertEqual(len(pages), 1)
        self.assertIn(str(pages[0]), out)
        text = subprocess.run(
            ["pdftotext", "-layout", pages[0], "-"], text=True, check=True,
            stdout=subprocess.PIPE).stdout
        self.assertIn("Ines Abernathy-Ngata", text)
        number, word = re.search(
            r"^\('([^']+)', '([^']+)', \[", out, re.M).groups()
        self.assertIn(number, text)
        self.assertIn(word, text)
        self.assertIn("\u22122.50", text)
        self.assertEqual(text.count("\f"), 1)

    def test_it_can_be_walked_twice_and_by_a_plain_shell(self):
        self.walked(["sh", "-u"])
        self.walked(["sh", "-u"])

    def test_the_timeline_ends_with_what_was_signed(self):
        out, _ = self.walked(["bash", "-eu"])
        kinds = re.findall(r"'(final|autorefraction|lensometry)'\)", out)
        self.assertEqual(kinds, ["final", "autorefraction", "lensometry"])


class Page(unittest.TestCase):
    def test_it_opens_with_the_job_and_the_two_commands(self):
        title, _, rest = README.partition("\n\n")
        paragraph, _, rest = rest.partition("\n\n")
        self.assertEqual(title, "# Lensclerk")
        for word in ("REST", "timeline", "PostgreSQL", "final Rx", "delta",
                     "order"):
            self.assertIn(word, " ".join(paragraph.split()))
        self.assertLess(rest.index("deploy/start"), 200)
        self.assertLess(rest.index("tests/run"), 450)

    def test_it_says_what_it_does_not_replace(self):
        text = " ".join(README.split())
        self.assertIn("does not replace the judgement of a licensed "
                      "practitioner", text)
        self.assertIn("Local rules come first", text)

    def test_what_it_links_to_is_there(self):
        for name in re.findall(r"\]\(([^)#:]+)\)", README):
            self.assertTrue((pathlib.Path(repo) / name).exists(), name)


class Developers(unittest.TestCase):
    """DEVELOPERS.md and the pages of the folders."""

    text = (pathlib.Path(repo) / "DEVELOPERS.md").read_text(encoding="utf-8")

    def test_decisions_are_numbered_and_say_all_four_things(self):
        notes = re.split(r"^### (?=\d+\. )", self.text.partition(
            "\n## Decisions\n")[2].partition("\n## ")[0], flags=re.M)[1:]
        self.assertEqual([int(n.partition(".")[0]) for n in notes],
                         list(range(1, len(notes) + 1)))
        for note in notes:
            with self.subTest(note.partition("\n")[0]):
                self.assertRegex(
                    note, r"^\d+\. .+     \(\d{4}-\d\d-\d\d, [a-z ]+\)\n")
                self.assertEqual(
                    re.findall(r"^([A-Z]\w+): ", note, re.M),
                    ["Context", "Decision", "Consequences", "Rejected"])

    def test_its_contents_lead_somewhere(self):
        heads = {re.sub(r"[^\w -]", "", h).strip().lower().replace(" ", "-")
                 for h in re.findall(r"^##+ (.*)$", self.text, re.M)}
        links = re.findall(r"\]\(#([^)]+)\)", self.text)
        self.assertGreater(len(links), 5)
        self.assertLessEqual(set(links), heads)

    def test_a_word_has_one_row(self):
        rows = re.findall(r"^\| ([^|]+) \|", self.text.partition(
            "\n## Words\n")[2].partition("\n## ")[0], re.M)
        words = [w.strip() for row in rows if set(row) != {"-"}
                 and row != "term" for w in re.split("[,;]", row)]
        self.assertGreater(len(words), 75)
        self.assertEqual(sorted(words), sorted(set(words)))

    def test_each_folder_says_what_it_owns(self):
        for folder in (pathlib.Path(repo) / "server").iterdir():
            if folder.is_dir() and folder.name != "web":
                text = (folder / "README.md").read_text(encoding="utf-8")
                self.assertTrue(text.startswith(f"# {folder.name}: "), folder)

    def test_places_that_it_names_are_there(self):
        for path in re.findall(r"`((?:server|tests|schema|deploy|migrations)"
                               r"/[\w./-]+?)`", self.text):
            self.assertTrue((pathlib.Path(repo) / path).exists(), path)


if __name__ == "__main__":
    unittest.main()
