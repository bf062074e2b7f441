"""Patients over HTTP: adding, changing, finding."""

import unicodedata
import unittest
from urllib.parse import urlencode

from lenstest import Service


def setUpModule():
    global svc
    svc = Service()


def tearDownModule():
    svc.close()


class Case(unittest.TestCase):
    def setUp(self):
        self.net = svc.network()

    def add(self, **fields):
        answer = self.net.api("desk", "POST", "/v1/patients", fields)
        self.assertEqual(answer.status, 201, answer.body)
        return answer.body

    def get(self, path, role="desk", status=200):
        answer = self.net.api(role, "GET", path)
        self.assertEqual(answer.status, status, answer.body)
        return answer.body

    def find(self, **query):
        return self.get("/v1/patients?" + urlencode(query))["items"]

    def ids(self, **query):
        return [p["id"] for p in self.find(**query)]

    def patch(self, patient, body, etag, role="desk"):
        return self.net.api(
            role, "PATCH", f"/v1/patients/{patient}", body,
            {"If-Match": etag, "Content-Type": "application/merge-patch+json"})

    def pointers(self, answer, status=422):
        self.assertEqual(answer.status, status, answer.body)
        self.assertIn("application/problem+json",
                      answer.headers["Content-Type"])
        return [e["pointer"] for e in answer.body["errors"]]


class Adding(Case):
    def test_what_was_sent_comes_back_and_can_be_read_again(self):
        sent = {"record_number": "Q-10442", "family": "Okonjo-Lindqvist",
                "given": "Tamsin", "born": "1971-11-09", "sex": "female",
                "telephone": "+43 1 5550100"}
        answer = self.net.api("desk", "POST", "/v1/patients", sent)
        self.assertEqual(answer.status, 201, answer.body)
        self.assertEqual(answer.headers["ETag"], '"1"')
        self.assertEqual(answer.headers["Location"],
                         f"/v1/patients/{answer.body['id']}")
        self.assertEqual({k: answer.body[k] for k in sent}, sent)
        again = self.net.api("prescriber", "GET", answer.headers["Location"])
        self.assertEqual(again.body, answer.body)
        self.assertEqual(again.headers["ETag"], '"1"')

    def test_names_that_forms_refuse_are_taken_and_kept_byte_for_byte(self):
        # P-24: one name only, one letter, apostrophe and hyphen, 120
        # characters, composed and decomposed letters.
        names = [{"given": "Wiratna"}, {"family": "O", "given": "Min"},
                 {"family": "O\u2019Brien-Ng", "given": "D'Arcy"},
                 {"family": "N" * 120, "given": "\u738b\u5c0f\u660e"},
                 {"family": "Ren\u00e9", "given": "A"},
                 {"family": "Rene\u0301", "given": "B"}]
        for name in names:
            with self.subTest(name=name):
                added = self.add(**name)
                kept = self.get(f"/v1/patients/{added['id']}")
                self.assertEqual(
                    {k: kept[k] for k in ("family", "given") if k in kept},
                    name)

    def test_every_fault_is_named_at_once_and_nothing_is_stored(self):
        answer = self.net.api("desk", "POST", "/v1/patients", {
            "family": "N" * 121, "given": "two\nlines", "born": "1984-02-30",
            "sex": "f", "telephone": " ", "record_number": 7, "age": 41})
        self.assertEqual(sorted(self.pointers(answer)), [
            "/age", "/born", "/family", "/given", "/record_number", "/sex",
            "/telephone"])
        self.assertEqual(self.find(), [])

    def test_a_patient_needs_some_name(self):
        for body in ({}, {"family": None}, {"record_number": "1"}):
            answer = self.net.api("desk", "POST", "/v1/patients", body)
            self.assertEqual(self.pointers(answer), ["/family"], body)

    def test_a_nul_in_a_name_is_refused_with_its_place(self):
        # P-25: a C string would end there, and "Anna" be stored.
        answer = self.net.api("desk", "POST", "/v1/patients",
                              '{"family": "X", "given": "Anna\\u0000Maria"}')
        self.assertEqual(self.pointers(answer), ["/given"])
        self.assertEqual(self.find(), [])

    def test_the_same_member_twice_is_refused_by_name(self):
        # P-26: one parser would keep the first, another the last.
        answer = self.net.api("desk", "POST", "/v1/patients",
                              '{"family": "Ode", "family": "Ng"}')
        self.assertEqual(answer.status, 400)
        self.assertIn("family", answer.body["detail"])
        self.assertEqual(self.find(), [])

    def test_births_known_in_part_are_fine_and_future_ones_are_not(self):
        for born in ("1984", "1984-05", "1984-05-30"):
            self.assertEqual(self.add(family="Ng", born=born)["born"], born)
        for born in ("2184", "2184-01", "84", "1984-5-3", "30.5.1984",
                     "1984-05-30T00:00:00Z"):
            answer = self.net.api("desk", "POST", "/v1/patients",
                                  {"family": "Ng", "born": born})
            self.assertEqual(self.pointers(answer), ["/born"], born)

    def test_a_record_number_in_use_is_a_conflict_here_and_free_elsewhere(self):
        self.add(record_number="Q-1", family="Ode")
        answer = self.net.api("desk", "POST", "/v1/patients",
                              {"record_number": "Q-1", "family": "Ng"})
        self.assertEqual(self.pointers(answer, 409), ["/record_number"])
        other = svc.network()
        answer = other.api("desk", "POST", "/v1/patients",
                           {"record_number": "Q-1", "family": "Ng"})
        self.assertEqual(answer.status, 201)

    def test_a_likely_duplicate_is_a_caution_that_names_the_other(self):
        first = self.add(family="S\u00f8rensen", given="Aud", born="1984-05")
        self.assertNotIn("cautions", first)
        for fields in ({"family": "Sorensen", "given": "AUD"},
                       {"family": "Aud", "given": "Sorensen",
                        "born": "1984-05-30"}):
            again = self.add(**fields)
            self.assertEqual(
                {(c["code"], c["patient"]) for c in again["cautions"]}
                & {("likely-duplicate", first["id"])},
                {("likely-duplicate", first["id"])})
        other = self.add(family="Sorensen", given="Aud", born="1985")
        self.assertNotIn(first["id"], [
            c["patient"] for c in other.get("cautions", [])])

    def test_the_same_key_twice_adds_one_patient(self):
        body = {"family": "Ode", "given": "Ann"}
        key = {"Idempotency-Key": "k-1"}
        first = self.net.api("desk", "POST", "/v1/patients", body, key)
        again = self.net.api("desk", "POST", "/v1/patients", body, key)
        self.assertEqual((first.status, again.status), (201, 201))
        self.assertEqual(again.body, first.body)
        self.assertEqual(again.headers["ETag"], first.headers["ETag"])
        other = self.net.api("desk", "POST", "/v1/patients",
                             {"family": "Ode", "given": "Bo"}, key)
        self.assertEqual(other.status, 422)
        self.assertEqual(len(self.find()), 1)

    def test_roles_and_tokens(self):
        body = {"family": "Ode"}
        for role, status in (("desk", 201), ("prescriber", 201), ("lab", 403),
                             ("device", 403), ("admin", 403),
                             ("auditor", 403)):
            answer = self.net.api(role, "POST", "/v1/patients", body)
            self.assertEqual(answer.status, status, role)
        for role, status in (("admin", 200), ("auditor", 200), ("lab", 403),
                             ("device", 403)):
            answer = self.net.api(role, "GET", "/v1/patients")
            self.assertEqual(answer.status, status, role)
        for method in ("GET", "POST"):
            answer = svc.api(method, "/v1/patients", body)
            self.assertEqual(answer.status, 401, method)


class Changing(Case):
    def test_a_merge_patch_changes_what_it_names_and_counts_the_version(self):
        p = self.add(family="Ode", given="Ann", telephone="1")
        answer = self.patch(p["id"], {"family": "Ng", "telephone": None},
                            '"1"')
        self.assertEqual(answer.status, 200, answer.body)
        self.assertEqual(answer.headers["ETag"], '"2"')
        self.assertEqual(answer.body, {
            "id": p["id"], "family": "Ng", "given": "Ann",
            "created_at": p["created_at"]})
        self.assertEqual(self.get(f"/v1/patients/{p['id']}"), answer.body)

    def test_a_change_needs_the_standing_version(self):
        p = self.add(family="Ode")
        answer = self.net.api("desk", "PATCH", f"/v1/patients/{p['id']}",
                              {"family": "Ng"})
        self.assertEqual(answer.status, 428)
        self.assertEqual(self.patch(p["id"], {"family": "Ng"}, '"2"').status,
                         412)
        self.assertEqual(self.patch(p["id"], {"family": "Ng"}, '"1"').status,
                         200)
        self.assertEqual(self.patch(p["id"], {"family": "Xu"}, '"1"').status,
                         412)
        self.assertEqual(self.get(f"/v1/patients/{p['id']}")["family"], "Ng")

    def test_what_a_patch_would_break_is_refused(self):
        p = self.add(family="Ode", record_number="Q-1")
        self.add(family="Ng", record_number="Q-2")
        cases = [({"family": None}, 422, "/family"),
                 ({"id": p["id"]}, 422, "/id"),
                 ({"created_at": "2020-01-01T00:00:00Z"}, 422, "/created_at"),
                 ({"born": "soon"}, 422, "/born"),
                 ({"record_number": "Q-2"}, 409, "/record_number")]
        for body, status, pointer in cases:
            answer = self.patch(p["id"], body, '"1"')
            self.assertEqual(self.pointers(answer, status), [pointer], body)
        self.assertEqual(self.patch(p["id"], "[]", '"1"').status, 422)
        answer = self.net.api("desk", "PATCH", f"/v1/patients/{p['id']}", "x",
                              {"If-Match": '"1"',
                               "Content-Type": "text/plain"})
        self.assertEqual(answer.status, 415)
        self.assertEqual(self.patch(p["id"], {"sex": "other"}, '"1"').status,
                         200)

    def test_a_new_name_is_found_and_the_old_one_is_not(self):
        p = self.add(family="Oderberg", given="Ann")
        self.patch(p["id"], {"family": "Ngata"}, '"1"')
        self.assertEqual(self.ids(q="ngat"), [p["id"]])
        self.assertEqual(self.ids(q="oder"), [])
        self.assertEqual(self.ids(q="ann"), [p["id"]])

    def test_the_log_keeps_what_stood_before(self):
        p = self.add(family="Ode", given="Ann")
        self.patch(p["id"], {"family": "Ng", "given": "Ann", "born": "1984"},
                   '"1"')
        rows = self.get(f"/v1/audit?patient={p['id']}", "auditor")["items"]
        change = next(r for r in rows if r["action"] == "patient-changed")
        self.assertEqual(change["detail"],
                         {"before": {"family": "Ode", "born": None}})

    def test_another_network_sees_and_changes_nothing(self):
        p = self.add(family="Ode")
        other = svc.network()
        path = f"/v1/patients/{p['id']}"
        self.assertEqual(other.api("desk", "GET", path).status, 404)
        self.assertEqual(other.api("desk", "PATCH", path, {"family": "Ng"},
                                   {"If-Match": "*"}).status, 404)
        answer = other.api("desk", "GET", "/v1/patients?q=ode")
        self.assertEqual(answer.body["items"], [])
        self.assertEqual(self.get(path)["family"], "Ode")


class Finding(Case):
    def test_accents_case_order_and_composition_are_forgiven(self):
        # P-24: the last two differ in bytes and are one name.
        composed = self.add(family="Ren\u00e9-L\u00e9vy", given="Ann")["id"]
        apart = self.add(
            family=unicodedata.normalize("NFD", "Ren\u00e9-L\u00e9vy"),
            given="Bo")["id"]
        for q in ("rene", "REN\u00c9", "rene\u0301", "levy ren", "l\u00e9v",
                  "rene-levy", "renelevy", "\uff32\uff25\uff2e\uff25"):
            with self.subTest(q=q):
                self.assertEqual(set(self.ids(q=q)), {composed, apart})
        self.assertEqual(self.ids(q="levy bo"), [apart])

    def test_letters_with_strokes_and_ligatures_are_found_without(self):
        pairs = [("S\u00f8rby", "sorby"), ("\u0141uczak", "luczak"),
                 ("Wei\u00dfgerber", "weissgerber"),
                 ("\u00c6gir", "aegir"), ("\u0110okovi", "dokovi")]
        for name, q in pairs:
            made = self.add(family=name)["id"]
            self.assertEqual(self.ids(q=q), [made], name)
            self.assertEqual(self.ids(q=name.upper()), [made], name)

    def test_words_run_together_and_apart_find_each_other(self):
        berg = self.add(family="van der Berg", given="Ann")["id"]
        run = self.add(family="Vanderberg", given="Bo")["id"]
        brien = self.add(family="O\u2019Brien", given="Cy")["id"]
        self.assertEqual(set(self.ids(q="van der berg")), {berg, run})
        self.assertEqual(set(self.ids(q="vanderberg")), {berg, run})
        self.assertEqual(self.ids(q="obrien"), [brien])
        self.assertEqual(self.ids(q="o'brien"), [brien])
        self.assertEqual(self.ids(q="brien"), [brien])

    def test_other_scripts_are_found_by_their_first_sign(self):
        wang = self.add(family="\u738b", given="\u5c0f\u660e")["id"]
        self.add(family="Ode")
        for q in ("\u738b", "\u5c0f", "\u5c0f\u660e \u738b"):
            self.assertEqual(self.ids(q=q), [wang], q)

    def test_one_letter_alone_finds_that_name_only(self):
        o = self.add(family="O", given="Min")["id"]
        self.add(family="Ode", given="Ann")
        self.assertEqual(self.ids(q="o"), [o])

    def test_a_letter_beside_a_name_is_the_start_of_another(self):
        smith = self.add(family="Smithson", given="Jo")["id"]
        self.add(family="Smithson", given="Ann")
        self.assertEqual(self.ids(q="smith j"), [smith])

    def test_the_best_match_comes_first(self):
        self.add(family="Annabel", given="Ngata")
        self.add(family="Ngata", given="Anna")
        exact = self.add(family="Ng", given="Ann")["id"]
        half = self.add(family="Ng", given="Annika")["id"]
        self.assertEqual(self.ids(q="ann ng")[:2], [exact, half])
        self.assertEqual(len(self.ids(q="ann ng")), 4)
        self.assertEqual(set(self.ids(q="ng")[:2]), {exact, half})

    def test_a_record_number_is_found_as_typed_and_in_part(self):
        p = self.add(record_number="Q-10442", family="Ode")["id"]
        self.add(record_number="Q-10443", family="Ng")
        for q in ("Q-10442", "q10442", "10442", "q 10442"):
            self.assertEqual(self.ids(q=q), [p], q)
        self.assertEqual(len(self.ids(q="Q-1044")), 2)
        self.assertEqual(len(self.ids(q="1044")), 2)

    def test_by_birth_as_far_as_it_is_known(self):
        day = self.add(family="Ode", born="1984-05-30")["id"]
        month = self.add(family="Odell", born="1984-05")["id"]
        year = self.add(family="Odette", born="1984")["id"]
        self.add(family="Odessa", born="1985-05-30")
        self.add(family="Odeon")
        self.assertEqual(self.ids(born="1984-05-30"), [day, month, year])
        self.assertEqual(set(self.ids(born="1984")), {day, month, year})
        self.assertEqual(self.ids(q="ode", born="1984-05-30"),
                         [day, month, year])
        self.assertEqual(self.ids(q="odell 1984-05-30"), [month])
        self.assertEqual(self.ids(q="nobody", born="1984"), [])
        for born in ("1984-13", "x"):
            answer = self.net.api("desk", "GET", f"/v1/patients?born={born}")
            self.assertEqual(self.pointers(answer), ["/born"])

    def test_a_year_typed_finds_who_was_born_in_it(self):
        day = self.add(family="Ode", born="1966-05-30")["id"]
        year = self.add(family="Odell", born="1966")["id"]
        number = self.add(family="Ng", record_number="1966")["id"]
        other = self.add(family="Ode", born="1967-05-30")["id"]
        self.assertEqual(set(self.ids(q="1966")), {day, year, number})
        self.assertEqual(self.ids(q="1966")[0], number)
        self.assertEqual(self.ids(q="ode 1966"), [day, year])
        self.patch(other, {"born": "1968"}, '"1"')
        self.assertEqual(self.ids(q="1967"), [])
        self.assertEqual(self.ids(q="1968"), [other])

    def test_three_letters_of_a_name_find_it_inside(self):
        inside = self.add(family="Okonjo", given="Ada")["id"]
        start = self.add(family="Konjoba", given="Bo")["id"]
        whole = self.add(family="Konjo", given="Cy")["id"]
        self.assertEqual(self.ids(q="konjo"), [whole, start, inside])
        self.assertEqual(self.ids(q="KON\u0134o"), [whole, start, inside])
        self.assertEqual(self.ids(q="njo ada"), [inside])
        self.assertEqual(set(self.ids(q="onj")), {whole, start, inside})
        self.assertEqual(self.ids(q="nj"), [])
        self.assertEqual(self.ids(q="konjod"), [])
        self.patch(inside, {"family": "Ode"}, '"1"')
        self.assertEqual(self.ids(q="njo ada"), [])

    def test_whole_words_come_before_starts_and_starts_before_parts(self):
        part = self.add(family="Abode", given="Ann", born="1966-05-30")["id"]
        start = self.add(family="Odell", given="Ann", born="1966-05-30")["id"]
        whole = self.add(family="Ode", given="Ann", born="1966-05-30")["id"]
        for query in ({"q": "ode"}, {"q": "ode ann"},
                      {"q": "ode", "born": "1966-05-30"}):
            with self.subTest(query=query):
                self.assertEqual(self.ids(**query), [whole, start, part])

    def test_what_cannot_be_a_name_finds_nobody_and_breaks_nothing(self):
        self.add(family="Ode")
        for q in ("%", "_", "*", "\\", "'", "--", "?", "\u0301", "\u200d",
                  "\U0010fffd", '"', "{}", "a" * 400):
            with self.subTest(q=q):
                self.assertEqual(self.ids(q=q), [])
        answer = self.net.api("desk", "GET", "/v1/patients?q=" + "a" * 401)
        self.assertEqual(self.pointers(answer), ["/q"])
        answer = self.net.api("desk", "GET", "/v1/patients?q=%ff")
        self.assertIn(answer.status, (400, 422))
        many = "+".join(f"w{n}" for n in range(90))
        self.assertEqual(self.get("/v1/patients?q=" + many)["items"], [])

    def test_a_long_name_pasted_whole_is_found(self):
        name = " ".join(f"Word{n} of" for n in range(12))
        p = self.add(family=name, given="Ann")["id"]
        self.add(family="Word1 of", given="Ann")
        self.assertEqual(self.ids(q=name + " ann"), [p])

    def pages(self, path):
        seen = []
        while path:
            answer = self.net.api("desk", "GET", path)
            self.assertEqual(answer.status, 200, answer.body)
            self.assertLessEqual(len(answer.body["items"]), 7)
            seen += [p["id"] for p in answer.body["items"]]
            link = answer.headers["Link"]
            self.assertEqual(link is None, answer.body["next"] is None)
            path = None
            if link:
                self.assertTrue(link.endswith('; rel="next"'))
                path = link[1:link.index(">")]
                self.assertIn(f"after={answer.body['next']}", path)
        return seen

    def test_pages_hold_everybody_once_in_one_order(self):
        made = [self.add(family="Ode", given=f"A{n:02}", born="1984")["id"]
                for n in range(23)]
        self.assertEqual(self.pages("/v1/patients?limit=7"), made[::-1])
        self.assertEqual(self.pages("/v1/patients?q=ode&limit=7"), made)
        self.assertEqual(self.pages("/v1/patients?q=ode+a&limit=7"), made)
        self.assertEqual(self.pages("/v1/patients?born=1984&limit=7"), made)

    def test_limits_and_cursors_of_others_are_refused(self):
        for query, pointer in (("limit=0", "/limit"), ("limit=501", "/limit"),
                               ("limit=x", "/limit"), ("after=x", "/after"),
                               ("after=5.x", "/after")):
            answer = self.net.api("desk", "GET", "/v1/patients?" + query)
            self.assertEqual(self.pointers(answer), [pointer], query)
        answer = self.net.api("desk", "GET", "/v1/patients?colour=red")
        self.assertEqual(answer.status, 422)

    def test_more_than_a_thousand_say_that_the_list_is_limited(self):
        svc.psql(f"""
            INSERT INTO patient (network_id, patient_id, family, family_fold,
                created_at)
            SELECT '{self.net.id}', gen_random_uuid(), 'Manya' || n,
                'manya' || n, now() FROM generate_series(1, 1100) AS n;
            INSERT INTO patient_word (network_id, word, patient_id)
            SELECT network_id, family_fold, patient_id FROM patient
            WHERE network_id = '{self.net.id}'""")
        body = self.get("/v1/patients?q=many&limit=500")
        self.assertIs(body["limited"], True)
        self.assertEqual(len(body["items"]), 500)
        self.assertNotIn("limited", self.get("/v1/patients?q=manya1099"))


class Auditing(Case):
    def test_a_read_of_a_record_is_logged_with_who_and_whose(self):
        p = self.add(family="Ode")
        self.get(f"/v1/patients/{p['id']}", "prescriber")
        rows = self.get(f"/v1/audit?patient={p['id']}", "auditor")["items"]
        views = [r for r in rows if r["action"] == "viewed"
                 and r["user"] == self.net.users["prescriber"]]
        self.assertEqual(len(views), 1)
        self.assertEqual(views[0]["subject"], p["id"])
        self.assertEqual([r["action"] for r in rows if r["user"]
                          == self.net.users["desk"]], ["patient-added"])
