"""The demo scenario, loaded as deploy/start loads it: it is whole, it is
loaded once, and each of its people is the case that its README says."""

import datetime
import json
import math
import os
import re
import signal
import subprocess
import unittest
from urllib.parse import quote

from lenstest import Service, repo, wait_until

DEMO = repo / "deploy/demo"
ROLES = {"desk", "prescriber", "lab", "device", "admin", "auditor"}
COUNTED = ("network", "clinic", "lab", "app_user", "device", "patient",
           "visit", "reading", "entry", "exam", "exam_step", "prescription",
           "orders", "order_event", "habitual_choice")


def loader(service):
    return [DEMO / "load", "--base-url", service.base_url,
            "--state", service.state / "s", "--config", service.config]


def load(service):
    """Where deploy/start does it: no terminal, no locale, no home."""
    return subprocess.run(
        loader(service), env={"PATH": os.environ["PATH"]}, cwd="/",
        stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT, text=True, timeout=300, check=False)


def told(service):
    path = service.state / "s/demo.json"
    return json.loads(path.read_text("utf-8"))


def counts(service):
    sql = "".join(f"SELECT '{t}', count(*) FROM {t};\n" for t in COUNTED)
    return {name: int(n) for name, n in service.psql(sql)}


def setUpModule():
    global svc, demo, first_output
    svc = Service()
    done = load(svc)
    if done.returncode:
        raise AssertionError(done.stdout + svc.log("lensclerkd")[-3000:])
    first_output = done.stdout
    demo = told(svc)


def tearDownModule():
    log = svc.log("lensclerkd")
    svc.close()
    # /readyz may say 503 while the first connection is being made.
    failed = [line for line in log.splitlines()
              if re.search(r'"status":5\d\d', line)
              and '"route":"/readyz"' not in line]
    if failed:
        raise AssertionError("answers of 500 and more:\n" + "\n".join(failed))


def account(name):
    return next(a for a in demo["accounts"] if a["user"] == name)


def get(path, user="desk"):
    answer = svc.api("GET", path, token=account(user)["token"])
    if answer.status != 200:
        raise AssertionError(f"GET {path}: {answer.status} {answer.body}")
    return answer.body


def items(path, user="desk"):
    return get(path + ("&" if "?" in path else "?") + "limit=500",
               user)["items"]


def timeline(key, kind=None):
    """Oldest first."""
    found = items(f"/v1/patients/{demo['patients'][key]}/timeline")[::-1]
    return [i for i in found if i["kind"] == kind] if kind else found


def person(key):
    return get(f"/v1/patients/{demo['patients'][key]}")


def exams(key):
    """Oldest first."""
    return items(f"/v1/exams?patient={demo['patients'][key]}")[::-1]


def rx_of(key):
    return [get(f"/v1/exams/{e['id']}/rx") for e in exams(key)
            if e["status"] != "preliminary"]


def when(item):
    return datetime.datetime.fromisoformat(item["at"].replace("Z", "+00:00"))


def vector(p):
    """M, J0, J45 (Thibos, Wheeler and Horner 1997)."""
    c, a = p["cylinder"], math.radians(2 * (p["axis"] or 0))
    return (p["sphere"] + c / 2, -c / 2 * math.cos(a), -c / 2 * math.sin(a))


def apart(p, q):
    return math.dist(vector(p), vector(q))


def strongest(p):
    return max(abs(p["sphere"]), abs(p["sphere"] + p["cylinder"]))


class Accounts(unittest.TestCase):
    def test_every_role_is_there_and_its_token_works(self):
        path = svc.state / "s/demo.json"
        self.assertEqual(path.stat().st_mode & 0o777, 0o600)
        self.assertEqual(path.stat().st_uid, (svc.state / "s").stat().st_uid)
        self.assertEqual({a["role"] for a in demo["accounts"]}, ROLES)
        self.assertEqual(demo["base_url"], svc.base_url)
        for a in demo["accounts"]:
            with self.subTest(a["user"]):
                me = svc.api("GET", "/v1/me", token=a["token"])
                self.assertEqual(me.status, 200, me.body)
                self.assertEqual(me.body["role"], a["role"])
                self.assertEqual(me.body["network"], demo["network"])
                self.assertEqual(
                    me.body.get("device", me.body.get("user")), a["user"])
                ends = datetime.datetime.fromisoformat(
                    me.body["expires_at"].replace("Z", "+00:00"))
                left = ends - datetime.datetime.now(datetime.timezone.utc)
                self.assertGreater(left.days, 3640)

    def test_the_first_of_each_role_share_the_first_clinic(self):
        quay = demo["clinics"]["quay"]
        for role in ("desk", "prescriber", "device"):
            a = next(a for a in demo["accounts"] if a["role"] == role)
            me = svc.api("GET", "/v1/me", token=a["token"]).body
            self.assertEqual(me["clinic"], quay)

    def test_passwords_are_random_and_open_a_session(self):
        words = [a["password"] for a in demo["accounts"]
                 if a["role"] != "device"]
        self.assertEqual(len(set(words)), len(words))
        self.assertGreaterEqual(min(map(len, words)), 16)
        for a in demo["accounts"]:
            if a["role"] == "device":
                self.assertIsNone(a["password"])
        for name in ("prescriber", "lab"):
            answer = svc.api("POST", "/v1/sessions", {
                "network": demo["network"], "user": name,
                "password": account(name)["password"]})
            self.assertEqual(answer.status, 201, answer.body)

    def test_no_password_or_token_stands_in_output_or_log(self):
        text = first_output + svc.log("lensclerkd")
        for a in demo["accounts"]:
            self.assertNotIn(a["token"], text)
            if a["password"]:
                self.assertNotIn(a["password"], text)


class Places(unittest.TestCase):
    def test_three_clinics_in_two_zones_and_a_lab(self):
        clinics = items("/v1/clinics")
        self.assertEqual({c["id"] for c in clinics},
                         set(demo["clinics"].values()))
        self.assertEqual(len(clinics), 3)
        self.assertEqual(len({c["time_zone"] for c in clinics}), 2)
        self.assertEqual([x["id"] for x in items("/v1/labs")], [demo["lab"]])

    def test_the_desk_has_visits_about_now(self):
        day = datetime.timedelta(days=1)
        now = datetime.datetime.now(datetime.timezone.utc)
        found = {}
        for key, clinic in demo["clinics"].items():
            for date in {(now + n * day).strftime("%Y-%m-%d")
                         for n in (-1, 0, 1)}:
                found.setdefault(key, []).extend(
                    items(f"/v1/visits?clinic={clinic}&date={date}"))
        self.assertGreaterEqual(min(map(len, found.values())), 2, found)
        self.assertLessEqual({"arrived", "planned", "in-progress"},
                             {v["status"] for v in found["quay"]})


class Files(unittest.TestCase):
    def test_every_file_belongs_to_somebody_and_is_small(self):
        tray = json.loads((DEMO / "tray.json").read_text("utf-8"))
        named = {item["file"] for item in tray}
        for path in (DEMO / "patients").glob("*.json"):
            for visit in json.loads(path.read_text("utf-8"))["visits"]:
                named.update(visit.get("files", []))
        there = {str(p.relative_to(DEMO / "files"))
                 for p in (DEMO / "files").rglob("*") if p.is_file()}
        self.assertEqual(named, there)
        for suffix in (".dicom.json", ".ndjson", ".json"):
            self.assertTrue(any(name.endswith(suffix) for name in there))
        for name in there:
            self.assertLess((DEMO / "files" / name).stat().st_size, 20000)

    def test_what_has_a_day_of_its_own_is_kept_as_it_stands(self):
        for key, name in (("keratoconus", "2022-08-30.dicom.json"),
                          ("aphakia", "2021-05-18.json")):
            reading = next(i for i in timeline(key, "keratometry")
                           if i["at"].startswith(name[:10]))
            answer = svc.api(
                "GET", f"/v1/readings/{reading['id']}/original",
                token=account("desk")["token"])
            kept = answer.body if isinstance(answer.body, bytes) else None
            want = (DEMO / "files" / key / name).read_bytes()
            if kept is None:  # the client has parsed it
                self.assertEqual(answer.body, json.loads(want))
            else:
                self.assertEqual(kept, want)

    def test_no_clock_is_ahead(self):
        now = datetime.datetime.now(datetime.timezone.utc)
        for key in demo["patients"]:
            for item in timeline(key):
                self.assertLessEqual(when(item), now, (key, item["kind"]))
                codes = {c["code"] for c in item["cautions"]}
                self.assertNotIn("clock", codes)


class People(unittest.TestCase):
    """Each row of the README's table."""

    def test_every_timeline_opens_and_spans_years(self):
        files = {p.stem for p in (DEMO / "patients").glob("*.json")}
        self.assertEqual(set(demo["patients"]), files)
        self.assertGreaterEqual(len(files), 12)
        for key in demo["patients"]:
            with self.subTest(key):
                line = timeline(key)
                kinds = {i["kind"] for i in line}
                self.assertLessEqual({"final", "autorefraction"}, kinds)
                span = when(line[-1]) - when(line[0])
                self.assertGreater(span.days, 365 * 2)
                self.assertGreaterEqual(len(exams(key)), 2)

    def test_every_exam_was_refined_and_every_rx_and_delta_opens(self):
        refined = deltas = 0
        for key in demo["patients"]:
            for exam in exams(key):
                where = f"/v1/exams/{exam['id']}"
                if exam["status"] == "preliminary":
                    continue
                steps = items(where + "/steps")
                refined += len(steps) > 3
                self.assertTrue(exam["catch_up"], key)
                rx = get(where + "/rx")
                self.assertEqual(rx["patient"]["record_number"],
                                 person(key)["record_number"])
                answer = svc.api("GET", where + "/delta",
                                 token=account("desk")["token"])
                self.assertIn(answer.status, (200, 409))
                deltas += answer.status == 200
        self.assertGreater(refined, 35)
        self.assertGreater(deltas, 35)

    def test_progressive(self):
        adds = [rx["right"]["add"] for rx in rx_of("progressive")]
        self.assertEqual(adds, sorted(set(adds)))
        self.assertGreaterEqual(len(adds), 3)
        last = timeline("progressive", "lensometry")[-1]
        self.assertEqual(last["right"]["lens_type"], "progressive")
        self.assertEqual(last["right"]["add"], adds[-1])
        visits = items(f"/v1/visits?patient={demo['patients']['progressive']}")
        now = max(visits, key=when)
        self.assertEqual(now["status"], "arrived")
        self.assertNotIn(now["id"], {e["visit"] for e in exams("progressive")})
        self.assertGreater(when(last), when(now))
        self.assertIn("series", timeline("progressive", "autorefraction")[-1])

    def test_child(self):
        born = datetime.date.fromisoformat(person("child")["born"])
        first = when(timeline("child")[0]).date()
        self.assertLess((first - born).days, 5 * 366)
        keys = {}
        for item in timeline("child", "autorefraction"):
            keys.setdefault(item["condition_key"], []).append(item)
        self.assertEqual(len(keys), 2)
        with_drug = [i for i in timeline("child", "autorefraction")
                     if i["condition"]["cycloplegic"]]
        without = [i for i in timeline("child", "autorefraction")
                   if not i["condition"]["cycloplegic"]]
        self.assertGreater(with_drug[0]["right"]["sphere"],
                           without[0]["right"]["sphere"] + 1.5)
        for rx, objective in zip(rx_of("child"), with_drug):
            self.assertLessEqual(rx["pd_mm"]["binocular"], 54)
            self.assertLess(rx["left"]["sphere"], objective["left"]["sphere"])

    def test_aphakia(self):
        for rx in rx_of("aphakia"):
            for side in ("right", "left"):
                self.assertGreaterEqual(rx[side]["sphere"], 12)
                self.assertEqual(rx[side]["add"], 3)
            self.assertEqual(rx["vertex_mm"], 12)
        delta = get(f"/v1/exams/{exams('aphakia')[-1]['id']}/delta")
        self.assertEqual(delta["vertex_mm"]["habitual"], 14)
        self.assertTrue(delta["vertex_mm"]["moved"])
        self.assertEqual(person("aphakia")["born"], "1944")

    def test_high_myopia(self):
        found = rx_of("high-myopia")
        for rx in found:
            self.assertGreater(strongest(rx["left"]), 20)
            self.assertEqual(rx["vertex_mm"], 12)
        spheres = [rx["right"]["sphere"] for rx in found]
        self.assertEqual(spheres, sorted(spheres, reverse=True))

    def test_high_cylinder(self):
        cornea = timeline("high-cylinder", "keratometry")[-1]
        for rx in rx_of("high-cylinder"):
            for side in ("right", "left"):
                self.assertLessEqual(rx[side]["cylinder"], -6)
                k = cornea[side]
                self.assertAlmostEqual(
                    k["steep"]["power"] - k["flat"]["power"], 5.9, delta=0.5)
                turn = abs(k["flat"]["axis"] - rx[side]["axis"]) % 180
                self.assertLess(min(turn, 180 - turn), 5)

    def test_one_eye(self):
        for rx in rx_of("one-eye"):
            self.assertEqual(rx["left"]["lens"], "prosthesis")
            self.assertNotIn("sphere", rx["left"])
            self.assertEqual(rx["right"]["lens"], "power")
        self.assertEqual(timeline("one-eye", "lensometry")[-1]["left"]["lens"],
                         "balance")

    def test_prism(self):
        versions = exams("prism")
        self.assertEqual([e["edition"] for e in versions], [2, 1, 1])
        self.assertEqual(versions[0]["status"], "amended")
        for rx in rx_of("prism"):
            bases = {s: {p["base"] for p in rx[s]["prism"]}
                     for s in ("right", "left")}
            self.assertEqual(bases, {"right": {"out", "down"},
                                     "left": {"out", "up"}})
            self.assertNotEqual(rx["right"]["near_prism"],
                                rx["right"]["prism"])
        self.assertTrue(rx_of("prism")[0]["reason"])
        one = person("prism")
        self.assertGreater(len(one["given"] + one["family"]), 70)

    def test_monovision(self):
        over = timeline("monovision", "over-refraction")
        self.assertEqual(len(over), 1)
        self.assertIn("contact", over[0]["condition"]["lens_worn"])
        last = rx_of("monovision")[-1]
        self.assertGreaterEqual(
            last["left"]["sphere"] - last["right"]["sphere"], 1.25)
        eyes = timeline("monovision", "autorefraction")[-1]
        self.assertLess(apart(eyes["right"], eyes["left"]), 0.75)
        steps = items(f"/v1/exams/{exams('monovision')[-1]['id']}/steps")
        self.assertIn("patient-preference", {s.get("test") for s in steps})

    def test_keratoconus(self):
        line = timeline("keratoconus", "keratometry")
        for side, least in (("right", 6.5), ("left", 5)):
            steep = [i[side]["steep"]["power"] for i in line]
            self.assertEqual(steep, sorted(steep))
            self.assertGreater(steep[-1] - steep[0], least)
        draft = exams("keratoconus")[-1]
        self.assertEqual(draft["status"], "preliminary")
        whole = get(f"/v1/exams/{draft['id']}", "prescriber")
        self.assertGreater(whole["steps"]["count"], 2)

    def test_swapped(self):
        *old, new = timeline("swapped", "autorefraction")
        for side, other in (("right", "left"), ("left", "right")):
            self.assertGreater(apart(new[side], old[-1][side]), 3)
            self.assertLess(apart(new[side], old[-1][other]), 0.6)
        # Which the spherical equivalents alone would not show.
        for side in ("right", "left"):
            m = vector(new[side])[0] - vector(old[-1][side])[0]
            self.assertLess(abs(m), 1)

    def test_false_myopia(self):
        first = timeline("false-myopia", "autorefraction")[:3]
        self.assertEqual(len({when(i).date() for i in first}), 1)
        strained, calm, drops = (i["right"]["sphere"] for i in first)
        self.assertLess(strained, calm)
        self.assertGreaterEqual(drops - strained, 2.5)
        self.assertTrue(first[2]["condition"]["cycloplegic"])
        for rx in rx_of("false-myopia"):
            self.assertEqual(rx["outcome"], "none-needed")
            self.assertEqual(rx["right"]["lens"], "none")

    def test_one_name(self):
        one = person("one-name")
        self.assertNotIn("given", one)
        self.assertTrue(one["family"])
        found = items("/v1/patients?q=wiranti")
        self.assertEqual([p["id"] for p in found],
                         [demo["patients"]["one-name"]])
        pair = get(f"/v1/patients/{one['id']}/habitual?purpose=near")["entry"]
        self.assertEqual(pair["origin"], "typed")

    def test_names_in_other_scripts_are_found(self):
        for key, typed in (
                ("high-myopia", "злата"), ("aphakia", "الشاطئ"),
                ("keratoconus", "汐見"), ("low-vision", "sian naess"),
                ("low-vision", "Ó Caoillte")):
            with self.subTest(typed):
                found = items(f"/v1/patients?q={quote(typed)}")
                self.assertIn(demo["patients"][key], {p["id"] for p in found})

    def test_partial_birth(self):
        self.assertEqual(person("partial-birth")["born"], "1958")
        spheres = [rx["right"]["sphere"] for rx in rx_of("partial-birth")]
        low = min(range(len(spheres)), key=lambda i: spheres[i])
        self.assertGreater(spheres[0] - spheres[low], 3)
        self.assertGreater(spheres[low + 1] - spheres[low], 3)

    def test_diabetic(self):
        # Published: 0.50 to 3.75 D of plus, back within 14 to 84 days (Br J
        # Ophthalmol 2000;84:1097).
        before, peak, after = timeline("diabetic", "autorefraction")[-3:]
        for side in ("right", "left"):
            up = vector(peak[side])[0] - vector(before[side])[0]
            down = vector(after[side])[0] - vector(peak[side])[0]
            self.assertAlmostEqual(up, 1.5, delta=0.5)
            self.assertAlmostEqual(down, -1.5, delta=0.5)
        self.assertLess((when(after) - when(before)).days, 90)
        rx = rx_of("diabetic")[-2]
        self.assertEqual(rx["outcome"], "unchanged")
        self.assertIn("old glasses kept", rx["reason"])

    def test_anisometropia(self):
        last = rx_of("anisometropia")[-1]
        self.assertGreater(
            vector(last["right"])[0] - vector(last["left"])[0], 19)

    def test_low_vision(self):
        reading = timeline("low-vision", "acuity")[-1]
        self.assertEqual(reading["condition"]["test_distance_m"], 2)
        self.assertGreater(reading["right"]["acuity"]["logmar"], 0.9)
        for rx in rx_of("low-vision"):
            self.assertTrue(rx["right"]["acuity"]["text"].startswith("2/"))

    def test_the_tray_holds_what_nobody_can_place(self):
        found = items("/v1/readings?unclaimed=true")
        self.assertEqual(len(found), 4)
        codes = [c["code"] for r in found for c in r["cautions"]]
        self.assertIn("patient-mismatch", codes)
        self.assertIn("patient-unknown", codes)
        self.assertTrue(any("unspecified" in r for r in found))


class Orders(unittest.TestCase):
    def test_orders_stand_at_every_stage(self):
        found = items("/v1/orders") + [
            o for o in items("/v1/orders", "desk-skerry")
            if o["status"] == "draft"]
        states = {(o["status"], o.get("stage")) for o in found}
        self.assertLessEqual(
            {("requested", None), ("received", None), ("accepted", None),
             ("in-progress", "cut"), ("in-progress", "checked"),
             ("on-hold", None), ("rejected", None), ("completed", "sent"),
             ("completed", "arrived"), ("completed", "handed over"),
             ("draft", None)}, states)

    def test_the_lab_sees_what_was_placed(self):
        found = items("/v1/orders", "lab")
        self.assertEqual(len(found), 12)
        self.assertNotIn("draft", {o["status"] for o in found})

    def test_a_draft_names_its_gaps(self):
        drafts = [o for o in items("/v1/orders", "desk-skerry")
                  if o["status"] == "draft"]
        order = get(f"/v1/orders/{drafts[0]['id']}", "desk-skerry")
        self.assertIn("/lens/index", {g["pointer"] for g in order["gaps"]})

    def test_every_placed_order_prints(self):
        for order in items("/v1/orders", "lab"):
            answer = svc.api("GET", f"/v1/orders/{order['id']}.pdf",
                             token=account("lab")["token"])
            self.assertEqual(answer.status, 200)
            self.assertEqual(answer.body[:5], b"%PDF-")


class Again(unittest.TestCase):
    """Tests that load once more; what others use stays as it is."""

    def test_a_second_load_changes_nothing(self):
        path = svc.state / "s/demo.json"
        before = counts(svc), path.read_bytes(), path.stat().st_mtime_ns
        audited = svc.psql("SELECT count(*) FROM audit")
        done = load(svc)
        self.assertEqual(done.returncode, 0, done.stdout)
        self.assertEqual(done.stdout, "the demo scenario is loaded\n")
        self.assertEqual((counts(svc), path.read_bytes(),
                          path.stat().st_mtime_ns), before)
        self.assertEqual(svc.psql("SELECT count(*) FROM audit"), audited)

    def test_a_changed_address_is_noted(self):
        path = svc.state / "s/demo.json"
        path.write_text(json.dumps({**demo, "base_url": "http://127.0.0.1:1"}))
        done = load(svc)
        self.assertEqual(done.returncode, 0, done.stdout)
        self.assertEqual(told(svc), demo)
        self.assertEqual(path.stat().st_mode & 0o777, 0o600)


class Broken(unittest.TestCase):
    """A service of its own, whose loads go wrong."""

    def setUp(self):
        self.own = Service()
        self.addCleanup(self.own.close)

    def break_off(self, sign):
        """Kills a load when it has printed a line with sign."""
        process = subprocess.Popen(
            loader(self.own), stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT, text=True,
            env={"PATH": os.environ["PATH"], "PYTHONUNBUFFERED": "1"})
        for line in process.stdout:
            if sign in line:
                break
        process.send_signal(signal.SIGKILL)
        process.communicate()

    def good(self):
        done = load(self.own)
        self.assertEqual(done.returncode, 0, done.stdout)
        return done.stdout

    def works(self, a):
        return self.own.api("GET", "/v1/me", token=a["token"]).status == 200

    def all_end(self, accounts):
        """The daemon asks every second which tokens were revoked."""
        wait_until("these tokens end",
                   lambda: not any(map(self.works, accounts)))

    def test_a_load_that_broke_off_goes_on_without_duplicates(self):
        for sign in ("users and devices", "patient 1 of", "patient 9 of"):
            self.break_off(sign)
            self.assertFalse((self.own.state / "s/demo.json").exists())
        self.good()
        self.assertEqual(counts(self.own), counts(svc))
        first = told(self.own)
        self.assertTrue(all(map(self.works, first["accounts"])))

        # Without the file the accounts are made anew, and nothing else.
        path = self.own.state / "s/demo.json"
        path.unlink()
        self.good()
        second = told(self.own)
        self.assertEqual(counts(self.own), counts(svc))
        self.assertEqual(second["patients"], first["patients"])
        self.assertTrue(all(map(self.works, second["accounts"])))
        self.all_end(first["accounts"])

        # Accounts that somebody took away stay away.
        admin = next(a for a in second["accounts"] if a["role"] == "admin")
        for token in self.own.api(
                "GET", "/v1/tokens?limit=500",
                token=admin["token"]).body["items"]:
            if token["role"] != "admin" and "revoked_at" not in token:
                self.own.api("DELETE", f"/v1/tokens/{token['id']}",
                             token=admin["token"])
        others = [a for a in second["accounts"] if a["role"] != "admin"]
        self.all_end(others)
        self.assertIn("changed or disabled", self.good())
        self.assertEqual(told(self.own), second)
        self.assertFalse(any(map(self.works, others)))

    def test_a_service_that_is_gone_is_said_in_one_line(self):
        self.own.stop()
        done = load(self.own)
        self.assertEqual(done.returncode, 1)
        self.assertRegex(done.stdout, r"\Adeploy/demo/load: [^\n]+\n\Z")
        self.own.start()


if __name__ == "__main__":
    unittest.main()
