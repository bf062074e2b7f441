"""The printed pages as general-purpose programs read them.

pdfinfo, pdffonts, pdftotext, pdftohtml and pdftoppm (poppler), zbarimg (zbar)
and localedef (C library) are the outside world here: none of them knows how
the pages were made.
"""

import functools
import html.parser
import os
import re
import subprocess
import sys
import tempfile
import unicodedata
import unittest
import xml.etree.ElementTree as ElementTree

WRITE_PAGE = ""

SAMPLES = ["progressive", "single-vision", "balance", "right-only",
           "plus-cylinder", "no-glyphs", "many-notes", "markup",
           "names-latin", "names-arabic", "names-devanagari",
           "names-chinese", "names-mixed"]
PAPERS = {"a4": (595.276, 841.89), "letter": (612, 792)}

# What the samples' sources say; written again here by hand.
FIGURES = {
    "progressive": [
        "\u22122.25", "\u22120.75", "172", "+2.00",
        "the same lens written in plus cylinder \u22123.00 +0.75 \u00d7 082",
        "prism 2.00 base in, 1.00 base up", "near prism 2.50 base in",
        "PD far 31.5 mm", "PD near 29.75 mm", "fitting height 18.0 mm",
        "intermediate add +1.25", "plano", "\u22121.25", "005",
        "the same lens written in plus cylinder \u22121.25 +1.25 \u00d7 095",
        "PD far 32.0 mm", "PD near 30.25 mm", "powers at vertex 12.0 mm",
        "PD far 63.5 mm", "PD near 60.0 mm", "check word KAFU-93TE-MOPA",
        "index 1.60", "A 52.0 mm", "B 36.5 mm", "DBL 18.0 mm", "ED 54.5 mm",
        "worn vertex 13.5 mm", "tilt 8.0 deg", "wrap 5.0 deg",
        "supply enclosed", "signed 4 March 2026", "expires 4 March 2028",
        "born 9 November 1971", "record no. Q-10442", "version 2, page 1 of 1",
        "REPLACES version 1 of 2 March 2026", "make both lenses",
        "R axis 168 \u2192 172; fitting heights 17.5 \u2192 18.0 mm",
        "R cylinder changed by 0.75 D", "Call the clinic before tinting.",
        "Local rules"],
    "single-vision": [
        "\u221222.50", "\u22126.00", "090", "+18.25", "index 1.498",
        "the same lens written in plus cylinder \u221228.50 +6.00 \u00d7 180",
        "no cylinder: the same lens in plus and in minus cylinder",
        "replaces nothing", "priority urgent"],
    "balance": ["balance lens", "NOT TO BE MADE", "cancelled on 5 March 2026"],
    "right-only": [
        "\u22122.12", "+0.62", "180", "make right lens only", "not ordered",
        "the same lens written in minus cylinder "
        "\u22121.50 \u22120.62 \u00d7 090"],
    "plus-cylinder": [
        "\u22123.00", "+0.75", "082",
        "the same lens written in minus cylinder "
        "\u22122.25 \u22120.75 \u00d7 172",
        "the same lens written in minus cylinder plano \u22121.25 \u00d7 005"],
    "no-glyphs": ["CAUTION: 2 characters on this page cannot be drawn"],
    "many-notes": ["more do not fit on this page: read them in the order"],
    "markup": ["<b>\"Ann\" & 'Bo'</b>", "</td><script>alert(1)</script>",
               "<i>7</i>", "a b c [31m"],
}

# Row by row: right, then left.
LARGE = {
    "progressive": ["\u22122.25", "\u22120.75", "172", "+2.00",
                    "plano", "\u22121.25", "005", "+2.00"],
    "single-vision": ["\u221222.50", "\u22126.00", "090", "+18.25"],
    "right-only": ["\u22122.12", "+0.62", "180", "not", "ordered"],
    "balance": ["\u221222.50", "\u22126.00", "090", "balance", "lens"],
}

PATTERNS = {
    "names-latin":
        "Wilhelmina Ad\u00e9b\u00e1y\u1ecd\u0300 \u00de\u00f3rhildur "
        "O'Hara-St\u00f8rmoen ",
    "names-arabic": "نورالدين عبدالرحمن المرزوقي ",
    "names-devanagari": "राजलक्ष्मी त्रिवेदी श्रीकृष्णन् ",
    "names-chinese": "司徒欧阳诸葛慕容静岚雅文子轩若溪",
}

CODE = ("LC1;019cb2f4-6d1e-7a40-9c55-3f1be0a7d214;2;"
        "R-225-075x172+200p200I100Un250I31.50/29.75h18.00;"
        "L+000-125x005+200p200In250I32.00/30.25h18.00;v12.00;"
        "progressive;resin;1600;A52.00B36.50D18.00E54.50;KAFU-93TE-MOPA;"
        "mOB3mT2JcQ9nSkz0y6uVtq1mAcP7eWlR4xYdG8sHoKbIiN5vTfZjU2aLgEw0XrC"
        "pD3hFqM6nBkSyJ9oV1tQzA")


def run(*command, env=None):
    """Standard output of command as bytes; any failure is the test's."""
    return subprocess.run(command, check=True, stdout=subprocess.PIPE,
                          env=env, timeout=120).stdout


def page_of(sample, form, *rest, env=None):
    return run(WRITE_PAGE, sample, form, *rest, env=env)


def squeezed(text):
    """text without blanks and direction marks, accents composed."""
    text = re.sub("[\u200e\u200f\u202a-\u202e\u2066-\u2069\\s]", "", text)
    return unicodedata.normalize("NFC", text)


def for_each_pdf(test):
    """Runs test(self, sample, paper, file) for every sample and paper."""
    @functools.wraps(test)
    def loop(self):
        for (sample, paper), name in self.files.items():
            with self.subTest(sample=sample, paper=paper):
                test(self, sample, paper, name)
    return loop


def for_each_html(test):
    """Runs test(self, sample, outline) for every sample."""
    @functools.wraps(test)
    def loop(self):
        for sample, page in self.pages.items():
            with self.subTest(sample=sample):
                test(self, sample, page)
    return loop


class Pages(unittest.TestCase):
    """Every sample on both papers, drawn once."""

    @classmethod
    def setUpClass(cls):
        cls.folder = tempfile.TemporaryDirectory(prefix="print-pages-")
        cls.files = {}
        for sample in SAMPLES:
            for paper in PAPERS:
                name = os.path.join(cls.folder.name,
                                    "%s-%s.pdf" % (sample, paper))
                with open(name, "wb") as file:
                    file.write(page_of(sample, paper))
                cls.files[sample, paper] = name

    @classmethod
    def tearDownClass(cls):
        cls.folder.cleanup()

    @staticmethod
    @functools.lru_cache(maxsize=None)
    def text(name):
        return run("pdftotext", "-raw", name, "-").decode()

    @for_each_pdf
    def test_each_order_is_one_page_of_its_paper(self, _sample, paper, name):
        info = run("pdfinfo", name).decode()
        self.assertRegex(info, r"Pages: +1\n")
        size = re.search(r"Page size: +([0-9.]+) x ([0-9.]+) pts", info)
        for got, want in zip(size.groups(), PAPERS[paper]):
            self.assertAlmostEqual(float(got), want, delta=0.1)

    @for_each_pdf
    def test_metadata_names_the_order_and_nobody(self, sample, _paper, name):
        info = run("pdfinfo", name).decode()
        title = re.search(r"Title: +(.*)", info).group(1)
        self.assertRegex(title, r"^Order 019cb2f[45][-0-9a-f]+, version \d$")
        for word in ("Tamsin", "Oyelaran", "Q-10", "Marchetti", "Author",
                     "Ada"):
            self.assertNotIn(word, info)

    @for_each_pdf
    def test_every_font_is_in_the_file(self, _sample, _paper, name):
        lines = run("pdffonts", name).decode().splitlines()[2:]
        self.assertGreater(len(lines), 1)
        for line in lines:
            self.assertRegex(line, r" yes (yes|no) (yes|no) +\d+ +\d+$")
            self.assertNotIn("Type 3", line)

    @for_each_pdf
    def test_no_text_is_smaller_than_12_points(self, sample, _paper, name):
        if sample == "no-glyphs":
            return  # the codes inside the boxes are small, and disowned
        layout = run("pdftohtml", "-xml", "-i", "-stdout", "-zoom", "1",
                     name).decode()
        sizes = [int(s) for s in re.findall(r'fontspec [^>]*size="(\d+)"',
                                            layout)]
        self.assertGreaterEqual(min(sizes), 12)
        self.assertGreaterEqual(max(sizes), 40)

    @staticmethod
    @functools.lru_cache(maxsize=None)
    def words(name):
        boxes = ElementTree.fromstring(run("pdftotext", "-bbox", name, "-"))
        return [(word.text, *(float(word.get(key)) for key in
                              ("xMin", "yMin", "xMax", "yMax")))
                for word in boxes.iter("{http://www.w3.org/1999/xhtml}word")]

    @for_each_pdf
    def test_no_word_leaves_the_page_or_lies_on_another(
            self, _sample, paper, name):
        width, height = PAPERS[paper]
        words = self.words(name)
        self.assertGreater(len(words), 80)
        for text, left, top, right, bottom in words:
            self.assertGreaterEqual(left, 18, text)
            self.assertLessEqual(right, width - 18, text)
            self.assertGreaterEqual(top, 15, text)
            self.assertLessEqual(bottom, height - 15, text)
        for i, a in enumerate(words):
            for b in words[i + 1:]:
                self.assertFalse(self.overlap(a, b), (a, b))

    @staticmethod
    def overlap(a, b):
        """True when the boxes share a place. They are as tall as the font
        allows any letter to be, which is more than lines are apart: the
        middle third is what letters fill."""
        def middle(box):
            third = (box[4] - box[2]) / 3
            return box[2] + third, box[4] - third
        a_top, a_bottom = middle(a)
        b_top, b_bottom = middle(b)
        return (min(a[3], b[3]) - max(a[1], b[1]) > 1 and
                min(a_bottom, b_bottom) - max(a_top, b_top) > 0)

    @for_each_pdf
    def test_text_reads_back_with_every_figure(self, sample, _paper, name):
        text = squeezed(self.text(name))
        for figure in FIGURES.get(sample, []):
            self.assertIn(squeezed(figure), text)

    @for_each_pdf
    def test_right_stands_above_left(self, _sample, _paper, name):
        place = {word[0]: word for word in self.words(name)
                 if word[0] in ("R", "L") and word[4] - word[2] > 40}
        self.assertEqual(sorted(place), ["L", "R"])
        self.assertLess(place["R"][4], place["L"][2] + 20)

    def test_large_figures_stand_with_their_eye(self):
        for sample, want in LARGE.items():
            for paper in PAPERS:
                words = [word for word in
                         self.words(self.files[sample, paper])
                         if word[4] - word[2] > 30]
                r = next(word for word in words if word[0] == "R")
                large = [word for word in words if word[1] > r[3] and
                         not word[0].startswith("H-")]
                large.sort(key=lambda word: ((word[2] + word[4]) / 2 > r[4],
                                             word[1]))
                self.assertEqual([word[0] for word in large], want)

    @for_each_pdf
    def test_names_of_120_characters_stand_whole(self, sample, _paper, name):
        if sample not in PATTERNS:
            return
        whole = (PATTERNS[sample] * 8)[:120]
        text = squeezed(self.text(name))
        # patient, prescriber, clinic, network, lab
        self.assertEqual(text.count(squeezed(whole)), 5)

    @for_each_pdf
    def test_unknown_characters_are_owned_up_to(self, sample, _paper, name):
        told = "cannot be drawn" in self.text(name)
        self.assertEqual(told, sample == "no-glyphs")

    @for_each_pdf
    def test_notes_that_do_not_fit_are_counted(self, sample, _paper, name):
        if sample != "many-notes":
            return
        text = self.text(name)
        shown = text.count("A note that stands on a line of its own.")
        missing = int(re.search(r"(\d+) more do not fit", text).group(1))
        self.assertGreater(shown, 5)
        self.assertEqual(shown + missing, 60)

    @for_each_pdf
    def test_code_is_read_by_a_scanner(self, sample, _paper, name):
        if sample != "progressive":
            return
        for dpi in ("100", "200"):
            image = name + dpi
            run("pdftoppm", "-r", dpi, "-png", "-singlefile", name, image)
            read = run("zbarimg", "-q", "--raw", "--nodbus", "-Sdisable",
                       "-Sqrcode.enable", image + ".png")
            self.assertEqual(read.decode().rstrip("\n"), CODE)

    def test_page_is_black_on_white(self):
        name = self.files["progressive", "a4"]
        image = run("pdftoppm", "-r", "50", name)
        pixels = image.split(b"\n", 3)[3]
        self.assertEqual(pixels[0::3], pixels[1::3])
        self.assertEqual(pixels[1::3], pixels[2::3])

    @for_each_pdf
    def test_same_page_gives_the_same_bytes(self, sample, paper, name):
        with open(name, "rb") as file:
            self.assertEqual(file.read(), page_of(sample, paper))

    def test_decimal_comma_of_the_host_changes_nothing(self):
        env = dict(os.environ, LOCPATH=self.folder.name)
        run("localedef", "-i", "de_DE", "-f", "UTF-8",
            os.path.join(self.folder.name, "de_DE.UTF-8"))
        for form in ("a4", "html"):
            there = page_of("progressive", form, "de_DE.UTF-8", env=env)
            self.assertEqual(there, page_of("progressive", form))

    def test_too_much_text_is_refused_not_cut(self):
        refused = subprocess.run([WRITE_PAGE, "too-long", "a4"],
                                 stdout=subprocess.PIPE,
                                 stderr=subprocess.PIPE, check=False)
        self.assertGreater(refused.returncode, 10)
        self.assertEqual(refused.stdout, b"")
        self.assertIn(b"cannot be printed on one page", refused.stderr)


class Outline(html.parser.HTMLParser):
    """What a reader of the page gets, and how the tags nest."""

    VOID = {"meta", "path"}

    def __init__(self):
        super().__init__()
        self.open, self.tags, self.attributes = [], [], []
        self.seen, self.heard, self.title = [], [], ""

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += [(tag, name, value) for name, value in attrs]
        if tag not in self.VOID:
            self.open.append((tag, dict(attrs)))

    def handle_startendtag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += [(tag, name, value) for name, value in attrs]

    def handle_endtag(self, tag):
        assert self.open and self.open[-1][0] == tag, (tag, self.open)
        self.open.pop()

    def handle_data(self, data):
        names = [tag for tag, _ in self.open]
        if "title" in names:
            self.title += data
        if "style" in names or "title" in names:
            return
        if not any(a.get("aria-hidden") == "true" for _, a in self.open):
            self.heard.append(data)
        if not any("said" == a.get("class") or tag == "caption"
                   for tag, a in self.open):
            self.seen.append(data)


class Html(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.pages = {}
        for sample in SAMPLES:
            outline = Outline()
            outline.source = page_of(sample, "html").decode()
            outline.feed(outline.source)
            outline.close()
            cls.pages[sample] = outline

    @for_each_html
    def test_tags_nest_and_all_are_closed(self, _sample, page):
        self.assertEqual(page.open, [])

    @for_each_html
    def test_page_needs_nothing_but_itself(self, _sample, page):
        for tag in ("script", "link", "img", "iframe", "object"):
            self.assertNotIn(tag, page.tags)
        for tag, name, _ in page.attributes:
            self.assertFalse(name.startswith("on"), (tag, name))
            self.assertNotIn(name, ("style", "src", "href"))
        self.assertNotIn("url(", page.source)
        self.assertNotIn("@import", page.source)

    @for_each_html
    def test_title_is_not_personal(self, _sample, page):
        self.assertRegex(page.title,
                         r"^Order 019cb2f[45][-0-9a-f]+, version \d$")

    @for_each_html
    def test_page_shows_every_figure_of_the_pdf(self, sample, page):
        if sample in ("no-glyphs", "many-notes"):
            return  # of the PDF alone: a browser has fonts and pages
        seen = squeezed("".join(page.seen))
        for figure in FIGURES.get(sample, []):
            self.assertIn(squeezed(figure), seen)

    def test_all_notes_stand_in_the_page(self):
        self.assertEqual("".join(self.pages["many-notes"].seen)
                         .count("A note that stands on a line of its own."),
                         60)

    def test_screen_reader_hears_signs_as_words(self):
        heard = "|".join(self.pages["progressive"].heard)
        for words in ("minus 2.25", "minus 0.75", "axis 1 7 2", "plus 2.00",
                      "axis 0 0 5", "plano",
                      "minus 3.00, plus 0.75, axis 0 8 2",
                      "31.5 millimetres"):
            self.assertIn(words, heard)
        self.assertNotIn("\u2212", heard)
        self.assertIn("empty", "|".join(self.pages["single-vision"].heard))

    @for_each_html
    def test_right_comes_before_left(self, _sample, page):
        seen = "".join(page.seen)
        self.assertLess(seen.index("R right"), seen.index("L left"))

    def test_figures_stand_under_headers(self):
        page = self.pages["progressive"]
        self.assertEqual(page.tags.count("table"), 2)
        self.assertEqual(page.tags.count("th"), page.tags.count("td"))
        self.assertEqual([value for tag, name, value in page.attributes
                          if (tag, name) == ("th", "scope")], ["col"] * 8)

    def test_names_of_120_characters_stand_whole(self):
        for sample, pattern in PATTERNS.items():
            seen = squeezed("".join(self.pages[sample].seen))
            self.assertEqual(seen.count(squeezed((pattern * 8)[:120])), 5)


if __name__ == "__main__":
    WRITE_PAGE = sys.argv.pop(1)
    unittest.main(verbosity=2)
