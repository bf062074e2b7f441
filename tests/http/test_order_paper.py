"""An order on paper: read back by tools that know nothing of us (pdftotext,
pdfinfo, pdftoppm, zbarimg)."""

import base64
import contextlib
import hashlib
import os
import pathlib
import re
import subprocess
import tempfile
import unittest

from lenstest import Client, Service, wait_until
from lenstest.service import free_ports
from order_case import (EYE, FINAL, FRAME, HEIGHTS, LENS, PROGRESSIVE,
                        OrderCase)

MINUS = "\u2212"


def setUpModule():
    OrderCase.svc = Service()


def tearDownModule():
    OrderCase.svc.close()


def tool(*words, data=None):
    done = subprocess.run(words, input=data, stdout=subprocess.PIPE,
                          stderr=subprocess.PIPE, timeout=60, check=False)
    if done.returncode:
        raise AssertionError(f"{words}: {done.stderr.decode()}")
    return done.stdout


class Paper(OrderCase):
    FULL = {"right": dict(EYE, add=2.25, prism=[
                {"amount": 1, "base": "in"}, {"amount": 0.5, "base": "up"}]),
            "left": {"sphere": 0.5, "cylinder": -1.25, "axis": 5, "add": 2,
                     "near_prism": [{"amount": 2, "base": "out"}]},
            "vertex_mm": 12, "expires_on": "2031-02-28",
            "pd_mm": {"right": 31.5, "left": 32.25, "near": 60}}

    def full(self, final=None, **more):
        return self.place(self.body(
            self.signed(final or self.FULL),
            lens=dict(PROGRESSIVE, tint="grey 15 %",
                      treatments=["anti-reflective", "hard"]),
            frame=dict(FRAME, fitting_height_mm=HEIGHTS, worn_vertex_mm=13.5,
                       tilt_deg=8, wrap_deg=-2.5, supply="to-follow"),
            priority="urgent", purpose="driving", deliver_to="front desk",
            notes="engrave inside the temple", **more))

    def pdf(self, order, role="lab", query=""):
        answer = self.get(order, role, ".pdf" + query)
        self.assertEqual(answer.status, 200, answer.body)
        self.assertEqual(answer.headers["Content-Type"], "application/pdf")
        return answer.body

    def text(self, pdf):
        """The text layer, blanks and line ends as one blank."""
        text = tool("pdftotext", "-raw", "-", "-", data=pdf).decode()
        return " ".join(text.split())

    def code(self, pdf):
        with tempfile.TemporaryDirectory() as folder:
            tool("pdftoppm", "-r", "150", "-png", "-", f"{folder}/page",
                 data=pdf)
            (image,) = pathlib.Path(folder).glob("page*.png")
            return tool("zbarimg", "-q", "--raw", str(image)).decode()

    def test_one_page_of_the_paper_that_was_asked_for(self):
        order = self.full()["id"]
        for query, size in (("", "595.276 x 841.89"),
                            ("?paper=a4", "595.276 x 841.89"),
                            ("?paper=letter", "612 x 792")):
            info = tool("pdfinfo", "-", data=self.pdf(order, query=query))
            self.assertRegex(info.decode(), r"Pages: +1\n")
            self.assertIn(f"{size} pts", info.decode())
        self.problem(self.get(order, "lab", ".pdf?paper=a5"), 422, "/paper")
        self.problem(self.get(order, "lab", ".pdf?page=1"), 422)

    def test_every_figure_reads_back_with_its_sign(self):
        order = self.full()
        text = self.text(self.pdf(order["id"]))
        for words in (
                order["number"], "version 1, page 1 of 1", "replaces nothing",
                "both lenses", "urgent", "driving", "28 February 2031",
                "Tamsin Okonjo", "Q-10442", "User prescriber", "L-1",
                "Main clinic", "Workshop", "front desk",
                f"{MINUS}2.25", f"{MINUS}0.75", "172", "+2.25",
                f"{MINUS}3.00 +0.75 \u00d7 082",
                "1.00 base in, 0.50 base up",
                "+0.50", f"{MINUS}1.25", "005", "+2.00",
                f"{MINUS}0.75 +1.25 \u00d7 095", "2.00 base out",
                "31.5 mm", "32.25 mm", "22.0 mm", "22.5 mm", "12.0 mm",
                "60.0 mm", "progressive", "polyurethane", "1.67",
                "anti-reflective, hard", "grey 15 %", "52.0 mm", "34.0 mm",
                "18.0 mm", "55.0 mm", "13.5 mm", "8.0 deg",
                f"{MINUS}2.5 deg", "to-follow", order["check_word"],
                "engrave inside the temple", "the adds differ by 0.25 D",
                "do not replace the judgement of a licensed practitioner"):
            self.assertIn(words, text)
        self.assertNotIn("1971", text)
        self.assertLess(text.index("right"), text.index("left"))

    def test_plano_is_a_word(self):
        order = self.place(self.body(self.signed(dict(
            FINAL, right={"sphere": 0, "cylinder": -0.5, "axis": 90}))))
        self.assertIn("plano", self.text(self.pdf(order["id"])))

    def test_the_square_code_holds_the_figures_and_nobodys_name(self):
        order = self.full()
        for query in ("", "?paper=letter"):
            code = self.code(self.pdf(order["id"], query=query))
            # As it was signed when the order was placed (test_signatures).
            self.assertEqual(code.rstrip("\n"), self.svc.psql(
                "SELECT code FROM order_edition WHERE order_id ="
                f" '{order['id']}'")[0][0].rstrip("\n"))
            lines = code.strip().split("\n")
            self.assertEqual([line.split()[0] for line in lines[6:]],
                             ["KEY", "SIGNATURE"])
            self.assertEqual(
                lines[:6],
                [f"ORDER {order['number']}", "EDITION 1",
                 f"CHECK {order['check_word']}",
                 "RIGHT SPH -2.25 CYL -0.75 AXIS 172 ADD +2.25 PRISM 1.00 IN"
                 " PRISM 0.50 UP PD 31.50 HEIGHT 22.00",
                 "LEFT SPH +0.50 CYL -1.25 AXIS 5 ADD +2.00"
                 " NEAR-PRISM 2.00 OUT PD 32.25 HEIGHT 22.50",
                 "BOTH VERTEX 12.00 NEAR-PD 60.00"])

    def test_the_file_has_nobodys_name(self):
        order = self.full()["id"]
        for tail in ("pdf", "html"):
            answer = self.get(order, "lab", "." + tail)
            self.assertEqual(answer.headers["Content-Disposition"],
                             f'inline; filename="order-{order}-v1.{tail}"')
        info = tool("pdfinfo", "-", data=self.pdf(order)).decode()
        for secret in ("Okonjo", "Tamsin", "Q-10442"):
            self.assertNotIn(secret, info)

    def test_a_plus_clinic_reads_plus_first(self):
        self.svc.psql("UPDATE clinic SET cylinder_form = 'plus'"
                      f" WHERE clinic_id = '{self.net.clinic}'")
        order = self.place(self.body(self.signed(dict(
            FINAL, right={"sphere": -2.12, "cylinder": -0.62, "axis": 10}))))
        pdf = self.pdf(order["id"])
        text = self.text(pdf)
        self.assertIn(f"{MINUS}2.12 {MINUS}0.62 \u00d7 010", text)
        self.assertIn("written in minus cylinder", text)
        self.assertIn("RIGHT SPH -2.75 CYL +0.62 AXIS 100", self.code(pdf))

    def test_what_must_not_be_made_says_so(self):
        exam = self.signed()
        draft = self.place(self.body(exam, draft=True, lab=None))["id"]
        text = self.text(self.pdf(draft, "desk")).lower()
        self.assertIn("a draft", text)
        self.assertIn("missing: lab", text)
        order = self.place(self.body(exam))["id"]
        self.assertNotIn("not to be made", self.text(self.pdf(order)).lower())
        self.move(order, "desk", "cancelled")
        text = self.text(self.pdf(order)).lower()
        self.assertIn("cancelled", text)

    def test_one_lens_and_lenses_without_power(self):
        order = self.place(self.body(self.signed(
            {"right": EYE, "left": {"lens": "balance"}, "vertex_mm": 12,
             "pd_mm": {"right": 31}})))
        self.assertIn("balance lens", self.text(self.pdf(order["id"])))
        order = self.place(only="left")
        text = self.text(self.pdf(order["id"]))
        self.assertIn("left lens only", text)
        self.assertNotIn(f"{MINUS}2.25", text)
        self.assertIn(f"{MINUS}1.75", text)

    def test_names_of_any_script_and_length_fit(self):
        names = [("\u0627\u0644\u0632\u0647\u0631\u0627\u0621", "\u0644\u064a\u0644\u0649"),
                 ("\u738b", "\u5c0f\u660e"),
                 ("\u0936\u0930\u094d\u092e\u093e", "\u0905\u0928\u0940\u0924\u093e"),
                 ("Nnamdi-" * 17, "Wolfeschlegel" * 9)]
        for i, (family, given) in enumerate(names):
            with self.subTest(family=family):
                patient = self.someone(f"Q-{i}", family, given)
                order = self.place(self.body(self.signed(patient=patient)))
                for query in ("", "?paper=letter"):
                    pdf = self.pdf(order["id"], query=query)
                    text = "".join(self.text(pdf).split())
                    if family.isascii():
                        self.assertIn("".join(family.split()), text)
                    self.assertIn("Q-" + str(i), text)

    def test_the_longest_texts_fit_or_are_refused_in_words(self):
        words = "a word and another one " * 30
        order = self.full()
        for notes, deliver in (("n", "d"), (words[:400], words[:120])):
            more = self.place(self.body(
                self.signed(self.FULL),
                lens=dict(LENS, tint=words[:120],
                          treatments=[words[:40]] * 8),
                frame=FRAME, notes=notes, deliver_to=deliver,
                previous=order["id"]))
            for query in ("", "?paper=letter"):
                answer = self.get(more["id"], "lab", ".pdf" + query)
                self.assertEqual(answer.status, 200, answer.body)

    def test_the_page_for_a_browser_is_whole_in_itself(self):
        order = self.full()
        answer = self.get(order["id"], "lab", ".html")
        self.assertEqual(answer.headers["Content-Type"],
                         "text/html; charset=utf-8")
        page = answer.body.decode()
        style = re.search(r"<style>(.*?)</style>", page, re.S).group(1)
        digest = base64.b64encode(hashlib.sha256(style.encode()).digest())
        policy = answer.headers["Content-Security-Policy"]
        self.assertIn(f"style-src 'sha256-{digest.decode()}'", policy)
        self.assertIn("default-src 'none'", policy)
        for word in ("<script", "<link", " style=", "http://", "https://",
                     " src="):
            self.assertNotIn(word, page.replace(
                "http://www.w3.org/2000/svg", ""))
        for words in (order["number"], f"{MINUS}2.25", "172",
                      order["check_word"], "Okonjo"):
            self.assertIn(words, page)

    def test_what_is_typed_can_not_become_markup(self):
        order = self.place(notes="<script>alert(1)</script> & \"more\"")
        page = self.get(order["id"], "lab", ".html").body.decode()
        self.assertNotIn("<script", page)
        self.assertIn("&lt;script&gt;", page)

    def test_the_same_order_is_the_same_file(self):
        order = self.full()["id"]
        answer = self.get(order, "lab", ".pdf")
        self.assertEqual(self.version(answer), 1)
        self.assertEqual(self.pdf(order), answer.body)
        again = self.net.api("lab", "GET", f"/v1/orders/{order}.pdf",
                             headers={"If-None-Match":
                                      answer.headers["ETag"]})
        self.assertEqual(again.status, 304)

    # P-27: a system whose decimals have a comma.

    @contextlib.contextmanager
    def comma(self):
        """Another daemon on the same database, in such a locale."""
        with tempfile.TemporaryDirectory() as folder:
            os.chmod(folder, 0o755)
            tool("localedef", "-i", "de_DE", "-f", "UTF-8",
                 f"{folder}/de_DE.UTF-8")
            port = free_ports()
            app = self.svc.state / "s/app/bin/lensclerkd"
            command = [str(app), "serve", "--config", str(self.svc.config)]
            if self.svc.root:
                command = ["setpriv", "--reuid=lensclerk", "--regid=lensclerk",
                           "--clear-groups", *command]
            environment = dict(
                self.svc.environment, LC_ALL="de_DE.UTF-8", LOCPATH=folder,
                LENSCLERK_SERVER_PORT=str(port),
                LENSCLERK_SERVER_METRICS_PORT="-1", HOME="/nonexistent")
            # The locale is there and has the comma, or this shows nothing.
            comma = subprocess.run(["printf", "%.1f", "2,5"], env=environment,
                                   stdout=subprocess.PIPE, check=True)
            self.assertEqual(comma.stdout, b"2,5")
            daemon = subprocess.Popen(
                command, env=environment, stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
            try:
                client = Client("127.0.0.1", port)
                wait_until("the daemon with a comma answers",
                           lambda: self.answers(client, daemon), 30)
                yield client
            finally:
                daemon.terminate()
                daemon.communicate(timeout=30)

    def answers(self, client, daemon):
        if daemon.poll() is not None:
            raise AssertionError(daemon.stderr.read().decode())
        with contextlib.suppress(OSError):
            return client.api("GET", "/readyz").status == 200

    def test_a_decimal_comma_of_the_system_changes_nothing(self):
        exam = self.signed(self.FULL)
        with self.comma() as client:
            answer = client.api(
                "POST", "/v1/orders", self.body(
                    exam, lens=PROGRESSIVE,
                    frame=dict(FRAME, a_mm=52.5, fitting_height_mm=HEIGHTS)),
                token=self.net.tokens["desk"])
            self.assertEqual(answer.status, 201, answer.body)
            order = answer.body
            pdf = client.api("GET", f"/v1/orders/{order['id']}.pdf",
                             token=self.net.tokens["lab"]).body
            fhir = client.api("GET", f"/v1/orders/{order['id']}/fhir",
                              token=self.net.tokens["lab"]).body
        self.assertEqual(order["right"]["sphere"], -2.25)
        self.assertEqual(order["frame"]["a_mm"], 52.5)
        self.assertEqual(self.get(order["id"]).body, order)
        self.assertEqual(fhir["lensSpecification"][0]["sphere"], -2.25)
        text = self.text(pdf)
        for words in (f"{MINUS}2.25", "52.5 mm", "31.5 mm", "1.67"):
            self.assertIn(words, text)
        self.assertEqual(re.findall(r"\d,\d", text), [])
        self.assertIn("SPH -2.25 CYL -0.75", self.code(pdf))
        self.assertEqual(self.pdf(order["id"]), pdf)
        stored = self.svc.psql("SELECT body FROM order_edition"
                               f" WHERE order_id = '{order['id']}'")[0][0]
        self.assertIn('"sphere":-2.25', stored)


if __name__ == "__main__":
    unittest.main()
