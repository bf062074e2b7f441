"""The timeline: every entry, newest first, with what changed since."""

import copy
import datetime
import json
import math
import unittest

from lenstest import Service, repo
from lenstest.fixture import uuid7

DICOM = {"Content-Type": "application/dicom+json"}


def setUpModule():
    global svc
    svc = Service()


def tearDownModule():
    svc.close()


def vector(sphere, cylinder=0.0, axis=0.0):
    """M = S + C/2, J0 = -C/2 cos 2A, J45 = -C/2 sin 2A (Thibos, Wheeler &
    Horner 1997)."""
    double = math.radians(2 * axis)
    return (sphere + cylinder / 2, -cylinder / 2 * math.cos(double),
            -cylinder / 2 * math.sin(double))


def lens(m, j0, j45):
    """The same back, in minus-cylinder form: C = -2 sqrt(J0^2 + J45^2),
    S = M - C/2, A = atan2(J45, J0) / 2."""
    cylinder = -2 * math.hypot(j0, j45)
    axis = math.degrees(math.atan2(j45, j0)) / 2 % 180 or 180.0
    return m - cylinder / 2, cylinder, axis


class Case(unittest.TestCase):
    def setUp(self):
        self.net = svc.network()
        self.who = self.patient("Q-1")

    def patient(self, number, **more):
        answer = self.net.api("desk", "POST", "/v1/patients", {
            "record_number": number, "family": "Ode", **more})
        self.assertEqual(answer.status, 201, answer.body)
        return answer.body["id"]

    def put(self, day, right=None, left=None, number="Q-1", **more):
        """A reading of a day: eyes are (sphere, cylinder, axis)."""
        body = {"kind": "autorefraction", "patient": {"record_number": number},
                "taken_at": f"{day}T09:00:00+01:00" if len(day) == 10
                else day, **more}
        for side, eye in (("right", right), ("left", left)):
            if eye:
                body[side] = dict(zip(("sphere", "cylinder", "axis"), eye))
        answer = self.net.api("device", "POST", "/v1/readings", body)
        self.assertEqual((answer.status, answer.body.get("status")),
                         (201, "claimed"), answer.body)
        return answer.body["id"]

    def read(self, query="", who=None, **options):
        answer = self.net.api(
            "desk", "GET", f"/v1/patients/{who or self.who}/timeline{query}",
            **options)
        self.assertEqual(answer.status, 200, answer.body)
        return answer

    def items(self, query=""):
        return self.read(query).body["items"]

    def near(self, got, want, why=""):
        """Design 10.1: figures of the record are rounded to 0.0001 D, axes
        to 0.01 degree."""
        self.assertAlmostEqual(got["sphere"], want[0], delta=6e-5, msg=why)
        self.assertAlmostEqual(got["cylinder"], want[1], delta=6e-5, msg=why)
        if abs(want[1]) < 5e-5:
            self.assertIsNone(got["axis"], why)
        else:
            off = (got["axis"] - want[2] + 90) % 180 - 90
            self.assertLess(abs(off), 0.006, why)


class Deltas(Case):
    def test_newest_first_each_with_the_change_since_the_one_before(self):
        eyes = {"2022-03-01": ((-2.00, -0.50, 10), (-1.75, -0.75, 170)),
                "2023-03-01": ((-2.25, -0.75, 5), (-1.75, -0.75, 170)),
                "2024-03-01": ((-2.50, -1.25, 178), (-2.00, -1.00, 90)),
                "2025-03-01": ((-2.50, -1.25, 178), (-2.25, 0, 0))}
        # Stored in another order than they were taken.
        ids = {day: self.put(day, *eyes[day]) for day in
               ("2024-03-01", "2022-03-01", "2025-03-01", "2023-03-01")}
        items = self.items()
        days = sorted(eyes, reverse=True)
        self.assertEqual([i["id"] for i in items], [ids[d] for d in days])
        self.assertNotIn("delta", items[-1])
        for item, now, before in zip(items, days, days[1:]):
            delta = item["delta"]
            self.assertEqual(delta["to"], ids[before])
            for side in (0, 1):
                part = delta[("right", "left")[side]]
                change = [a - b for a, b in zip(vector(*eyes[now][side]),
                                                vector(*eyes[before][side]))]
                why = f"{now} {side}"
                self.near(part, lens(*change), why)
                got = part["power_vector"]
                for name, want in zip(("m", "j0", "j45"), change):
                    self.assertAlmostEqual(got[name], want, delta=6e-5,
                                           msg=why)
                # Blur strength: the length of the vector.
                self.assertAlmostEqual(
                    got["blur"], math.sqrt(sum(x * x for x in change)),
                    delta=6e-5, msg=why)

    def test_a_published_progression_of_one_eye(self):
        # P-02, doaj.org/article/0b8504d87eaf4f21afbba14032a38e34: the right
        # eye changes by exactly -4.50 -0.50 x 170, the left not at all.
        left = (0, -0.50, 10)
        self.put("2014-11-03", (-2.25, 0), left)
        self.put("2018-11-03", (-6.75, -0.50, 170), left)
        self.put("2019-12-03", (-6.75, -0.50, 170), left)
        newest, middle, _ = self.items()
        right = middle["delta"]["right"]
        self.assertEqual((right["sphere"], right["cylinder"], right["axis"]),
                         (-4.5, -0.5, 170))
        self.assertEqual(right["power_vector"]["m"], -4.75)
        for part in (middle["delta"]["left"], newest["delta"]["right"],
                     newest["delta"]["left"]):
            self.assertEqual((part["sphere"], part["cylinder"], part["axis"],
                              part["power_vector"]["blur"]), (0, 0, None, 0))

    def test_conditions_are_kept_apart(self):
        # P-03 (a), mdpi.com/2411-5150/6/1/17: a manifest reading of LE -5.00
        # and a cycloplegic one of +0.75 -0.50 x 180 are no progression.
        manifest = {"condition": {"cycloplegic": False}}
        wet = {"condition": {"cycloplegic": True, "drug": "cyclopentolate"}}
        one = self.put("2026-01-05", (0, 0), (-5.00, 0), **manifest)
        two = self.put("2026-01-05T10:00:00+01:00", (0.75, -0.25, 180),
                       (0.75, -0.50, 180), **wet)
        newest, oldest = self.items()
        self.assertEqual((newest["id"], oldest["id"]), (two, one))
        self.assertNotIn("delta", newest)
        self.assertNotEqual(newest["condition_key"], oldest["condition_key"])
        # Later ones go on from their own.
        self.put("2026-02-05", (0, 0), (-4.50, 0), **manifest)
        self.put("2026-02-05T10:00:00+01:00", (0.75, 0), (0.75, 0), **wet)
        wet_now, dry_now = self.items()[:2]
        self.assertEqual(wet_now["delta"]["to"], two)
        self.assertEqual(dry_now["delta"]["to"], one)
        self.assertEqual(dry_now["delta"]["left"]["sphere"], 0.5)

    def test_kinds_are_kept_apart(self):
        first = self.put("2025-01-05", (-1, 0))
        self.put("2025-02-05", (-3, 0), kind="lensometry")
        self.put("2025-03-05", (-4, 0), kind="subjective")
        self.put("2025-04-05", (-1.5, 0))
        items = self.items()
        self.assertEqual(items[0]["delta"]["to"], first)
        self.assertEqual(items[0]["delta"]["right"]["sphere"], -0.5)
        for item in items[1:]:
            self.assertNotIn("delta", item)

    def test_an_over_refraction_is_shown_and_in_no_delta(self):
        # P-06, visionmagazineonline.co.za/2019/04/25/residual-astigmatism-
        # with-scleral-lens-fit: taken as a refraction it would look like a
        # change of 4 D within a week.
        one = self.put("2026-01-05", (-7.00, -3.50, 77), (-7.75, -2.00, 119),
                       kind="subjective")
        worn = {"kind": "over-refraction",
                "condition": {"lens_worn": "trial scleral lens"}}
        for day in ("2026-01-12", "2026-01-19"):
            self.put(day, (-3.00, -1.75, 35), (-1.50, -1.75, 45), **worn)
        self.put("2026-01-26", (-7.00, -3.50, 77), (-7.75, -2.00, 119),
                 kind="subjective")
        newest, second, first, _ = self.items()
        self.assertEqual(newest["delta"]["to"], one)
        self.assertEqual(newest["delta"]["right"]["power_vector"]["blur"], 0)
        for item in (second, first):
            self.assertEqual(item["kind"], "over-refraction")
            self.assertEqual(item["condition"]["lens_worn"],
                             "trial scleral lens")
            self.assertNotIn("delta", item)

    def test_a_total_near_power_is_no_add(self):
        # P-05, escrs.org/istanbul2015 (poster 22888): the add is +1.50 on
        # both days, the near power +1.50 and +3.00.
        for day, far, near in (("2026-01-05", 0, 1.5), ("2026-01-06", 1.5,
                                                        3.0)):
            eye = {"sphere": far, "cylinder": 0, "near_total": near}
            answer = self.net.api("device", "POST", "/v1/readings", {
                "kind": "subjective", "taken_at": f"{day}T09:00:00Z",
                "patient": {"record_number": "Q-1"}, "right": eye,
                "left": eye})
            self.assertEqual(answer.status, 201, answer.body)
        for item in self.items():
            for side in ("right", "left"):
                self.assertEqual(item[side]["add"], 1.5)
        self.assertEqual([i["right"]["near_total"] for i in self.items()],
                         [3.0, 1.5])
        # Who doesn't say which of the two is meant is asked.
        answer = self.net.api("device", "POST", "/v1/readings", {
            "kind": "subjective", "taken_at": "2026-01-07T09:00:00Z",
            "right": {"sphere": 1.5, "near": 3.0}})
        self.assertEqual(answer.status, 422)
        self.assertIn("/right/near",
                      [e["pointer"] for e in answer.body["errors"]])

    def test_one_eye_alone_changes_alone(self):
        self.put("2025-01-05", (-1, 0), (-2, 0))
        self.put("2025-02-05", None, (-2.5, 0))
        self.put("2025-03-05", (-1.25, 0), None)
        newest, middle, _ = self.items()
        self.assertEqual(set(middle["delta"]), {"to", "left"})
        # To the one before, which says nothing of this eye.
        self.assertNotIn("delta", newest)


class Series(Case):
    """Instances of one DICOM series are one item (design 10.6)."""

    def setUp(self):
        super().setUp()
        self.base = json.loads(
            (repo / "tests/data/dicom/02-autorefraction-both.json")
            .read_text())
        self.fixture = self.patient("FX-2041-07", family="Brückner-Fixture",
                                    given="Odile", born="1979-03-14")

    def send(self, series, n, minute, sphere=None, left=True):
        """Instance n of a series; the right eye's sphere is changed."""
        data = copy.deepcopy(self.base)
        if not left:
            data["00240113"]["Value"] = ["R"]
            del data["00460052"]
        data["00080018"]["Value"] = [f"2.25.{series}{n:04d}"]
        data["0020000E"]["Value"] = [f"2.25.{series}"]
        clock = f"{10 + minute // 60:02d}{minute % 60:02d}00"
        for tag in ("00080031", "00080033"):
            data[tag]["Value"] = [clock]
        if sphere is not None:
            data["00460050"]["Value"][0]["00460146"]["Value"] = [sphere]
        answer = self.net.api("device", "POST", "/v1/readings",
                              json.dumps(data), DICOM)
        self.assertEqual(answer.status, 201, answer.body)
        self.assertEqual(answer.body["status"], "claimed", answer.body)
        return answer.body["id"]

    def whole(self, limit=50):
        """All pages; each must make progress."""
        items, path = [], f"/v1/patients/{self.fixture}/timeline?limit={limit}"
        while path:
            answer = self.net.api("desk", "GET", path)
            self.assertEqual(answer.status, 200, answer.body)
            self.assertGreaterEqual(len(answer.body["items"]), 1)
            self.assertLessEqual(len(answer.body["items"]), limit)
            items += answer.body["items"]
            after = answer.body["next"]
            path = after and (f"/v1/patients/{self.fixture}/timeline"
                              f"?limit={limit}&after={after}")
        return items

    def test_a_series_is_one_item_with_its_mean_and_spread(self):
        ids = [self.send(7001, n, n, sphere) for n, sphere in
               enumerate((-2.00, -2.25, -2.75))]
        item, = self.whole()
        self.assertEqual(item["id"], ids[-1])
        self.assertEqual(item["series"]["uid"], "2.25.7001")
        self.assertEqual(item["series"]["readings"], ids[::-1])
        right = item["series"]["right"]
        # By hand: the spheres' mean is -7 / 3, the cylinder -0.75 x 168 of
        # all; the squares of -2.00, -2.25, -2.75 about -7/3 sum to 7/24,
        # over n - 1 = 2 is 7/48, whose root is 0.3819.
        self.near(right, (-7 / 3, -0.75, 168))
        self.assertEqual(right["spread"], 0.3819)
        self.assertEqual(item["series"]["left"]["spread"], 0)

    def test_an_eye_measured_once_in_a_series_has_no_spread(self):
        self.send(7001, 0, 0, -2)
        self.send(7001, 1, 1, -2, left=False)
        series = self.whole()[0]["series"]
        self.assertEqual(series["right"]["spread"], 0)
        self.assertIn("power_vector", series["left"])
        self.assertNotIn("spread", series["left"])

    def test_a_series_is_compared_as_one(self):
        for n, sphere in enumerate((-2.00, -2.50)):
            self.send(7001, n, n, sphere)
        newest_old = self.whole()[0]["id"]
        for n, sphere in enumerate((-3.00, -3.50, -4.00)):
            self.send(7002, n, 30 + n, sphere)
        item = self.whole()[0]
        self.assertEqual(item["delta"]["to"], newest_old)
        # -3.50 after -2.25, the cylinders alike.
        self.near(item["delta"]["right"], (-1.25, 0, 0))

    def test_no_page_cuts_a_series_or_shows_a_part_of_it_again(self):
        # Two series and single readings, mixed in time.
        first = [self.send(7001, n, 3 * n, -2) for n in range(4)]
        second = [self.send(7002, n, 3 * n + 1, -2) for n in range(4)]
        single = [self.send(8000 + n, 0, 3 * n + 2, -2) for n in range(4)]
        for limit in (1, 2, 3, 50):
            items = self.whole(limit)
            got = [set(i["series"]["readings"]) if "series" in i
                   else {i["id"]} for i in items]
            self.assertEqual(
                sorted(map(sorted, got)),
                sorted(map(sorted, [set(first), set(second)]
                           + [{s} for s in single])), limit)

    def test_many_series_hide_nothing_that_came_before_them(self):
        # 60 series of three instances: one look at the rows ends at the
        # last item of a page, or within it, with more behind.
        oldest = self.send(9999, 0, 0, -2)
        for series in range(60):
            for n in range(3):
                self.send(9000 + series, n, 1 + 3 * series + n)
        for limit in (50, 49, 1):
            items = self.whole(limit)
            self.assertEqual(len(items), 61)
            self.assertEqual(items[-1]["id"], oldest)
            self.assertTrue(all(len(i["series"]["readings"]) == 3
                                for i in items[:-1]))


class Pages(Case):
    def many(self, n):
        start = datetime.datetime(2020, 1, 1, tzinfo=datetime.timezone.utc)
        body = [{"kind": "autorefraction",
                 "taken_at": (start + datetime.timedelta(days=i)).isoformat(),
                 "patient": {"record_number": "Q-1"},
                 "right": {"sphere": -i / 100}} for i in range(n)]
        answer = self.net.api("device", "POST", "/v1/readings", body)
        self.assertEqual(answer.status, 201, answer.body)
        return [r["id"] for r in answer.body][::-1]

    def test_pages_hold_everything_once_in_order_with_deltas_across(self):
        ids = self.many(120)
        seen, path = [], f"/v1/patients/{self.who}/timeline?limit=7"
        items = []
        while path:
            page = self.net.api("desk", "GET", path)
            items += page.body["items"]
            self.assertLessEqual(len(page.body["items"]), 7)
            link = page.headers["Link"]
            self.assertEqual(bool(link), bool(page.body["next"]))
            path = link and link.split(">")[0][1:]
        seen = [i["id"] for i in items]
        self.assertEqual(seen, ids)
        for item, before in zip(items, ids[1:]):
            self.assertEqual(item["delta"]["to"], before)
            self.assertEqual(item["delta"]["right"]["sphere"], -0.01)

    def test_fifty_are_given_by_default_and_500_at_most(self):
        self.many(60)
        self.assertEqual(len(self.items()), 50)
        self.assertEqual(len(self.items("?limit=500")), 60)
        for query in ("?limit=501", "?limit=0", "?limit=-1", "?limit=x",
                      "?limit=", "?limit=1.5", "?after=x", "?after=1.x",
                      f"?after=.{uuid7()}", f"?after=1e3.{uuid7()}",
                      f"?after={'9' * 30}.{uuid7()}", "?limit=1&limit=2",
                      "?order=asc", "?cylinder=", "?cylinder=both"):
            answer = self.net.api(
                "desk", "GET", f"/v1/patients/{self.who}/timeline{query}")
            self.assertEqual(answer.status, 422, query)

    def test_what_is_taken_in_the_same_instant_has_an_order_and_no_gap(self):
        body = [{"kind": "autorefraction", "taken_at": "2020-01-01T00:00:00Z",
                 "patient": {"record_number": "Q-1"},
                 "right": {"sphere": -i / 4}} for i in range(9)]
        self.net.api("device", "POST", "/v1/readings", body)
        path, seen = f"/v1/patients/{self.who}/timeline?limit=2", []
        while path:
            page = self.net.api("desk", "GET", path)
            seen += [i["id"] for i in page.body["items"]]
            path = page.headers["Link"] and \
                page.headers["Link"].split(">")[0][1:]
        self.assertEqual(len(seen), 9)
        self.assertEqual(len(set(seen)), 9)

    def test_before_1970_is_a_time_like_any(self):
        old = self.put("1969-05-05", (-1, 0))
        new = self.put("1971-05-05", (-1, 0))
        first = self.read("?limit=1").body
        self.assertEqual(first["items"][0]["id"], new)
        second = self.read(f"?limit=1&after={first['next']}").body
        self.assertEqual(second["items"][0]["id"], old)


class Views(Case):
    def test_the_readers_form_is_a_view_with_a_tag_of_its_own(self):
        self.put("2025-01-05", (-8.25, -9.25, 163), (-1.00, 0))
        minus, plus = self.read(), self.read("?cylinder=plus")
        # P-07, gpli.info/er-case-28; the plus form by hand.
        for answer, want in ((minus, (-8.25, -9.25, 163)),
                             (plus, (-17.5, 9.25, 73))):
            right = answer.body["items"][0]["right"]
            self.assertEqual(
                (right["sphere"], right["cylinder"], right["axis"]), want)
            # The power vector is the same lens in every form.
            self.assertEqual(right["m"], -12.875)
        self.assertNotEqual(minus.headers["ETag"], plus.headers["ETag"])
        self.assertEqual(self.items("?cylinder=minus"), minus.body["items"])

    def test_an_unchanged_timeline_is_not_sent_again(self):
        self.put("2025-01-05", (-1, 0))
        tag = self.read().headers["ETag"]
        path = f"/v1/patients/{self.who}/timeline"
        again = self.net.api("desk", "GET", path, None,
                             {"If-None-Match": tag})
        self.assertEqual((again.status, again.body), (304, b""))
        self.assertEqual(again.headers["ETag"], tag)
        # A new reading, and one that went away, change the tag.
        new = self.put("2025-02-05", (-1, 0))
        self.assertNotEqual(self.read().headers["ETag"], tag)
        free = self.net.api("desk", "DELETE", f"/v1/readings/{new}/claim",
                            None, {"If-Match": '"1"'})
        self.assertEqual(free.status, 200, free.body)
        self.assertEqual(self.read().headers["ETag"], tag)

    def test_nothing_yet_is_an_empty_list_and_nobody_is_404(self):
        self.assertEqual(self.read().body, {"items": [], "next": None})
        for who in (uuid7(), self.net.clinic):
            answer = self.net.api("desk", "GET",
                                  f"/v1/patients/{who}/timeline")
            self.assertEqual(answer.status, 404)
        answer = self.net.api("lab", "GET",
                              f"/v1/patients/{self.who}/timeline")
        self.assertEqual(answer.status, 403)

    def test_digits_are_kept_in_the_text(self):
        self.put("2025-01-05", (-7.68, -0.50, 7))
        data = svc.client.connection()
        data.request("GET", f"/v1/patients/{self.who}/timeline", headers={
            "Authorization": f"Bearer {self.net.tokens['desk']}"})
        text = data.getresponse().read().decode()
        self.assertIn('"sphere":-7.68,"cylinder":-0.50,"axis":7', text)


if __name__ == "__main__":
    unittest.main()
