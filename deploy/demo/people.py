"""Patients and what happened to them: visits, readings, exams, orders."""

import concurrent.futures
import json
import re
from datetime import datetime, timedelta, timezone
from urllib.parse import quote
from zoneinfo import ZoneInfo

import exams

MEDIA = {".dicom.json": "application/dicom+json",
         ".ndjson": "application/x-ndjson", ".json": "application/json"}
# A file of a visit whose day the load chooses has this moment for its begin.
BEGIN = datetime(2000, 1, 1, tzinfo=timezone.utc)
AT_ONCE = 8


def iso(at):
    return at.isoformat(timespec="seconds")


def instant_of(text):
    return datetime.fromisoformat(text.replace("Z", "+00:00"))


def local_time(day, text, zone):
    hour, minute = map(int, text.split(":"))
    return datetime(day.year, day.month, day.day, hour, minute, tzinfo=zone)


class Load:
    """What is the same for everybody."""

    def __init__(self, service, made, folder, is_new):
        self.service, self.folder, self.is_new = service, folder, is_new
        self.tokens, self.clinics = made["tokens"], made["clinics"]
        self.lab = made["lab"]
        self.zones = {key: ZoneInfo(name)
                      for key, name in made["zones"].items()}
        # The day of the demo stays that of its first load.
        self.now = instant_of(made["created_at"]).replace(
            second=0, microsecond=0)

    def instant(self, visit):
        """When a visit is: fixed, some days ago (never on a weekend), or
        some minutes from the load."""
        zone = self.zones[visit["clinic"]]
        if "at" in visit:
            return datetime.fromisoformat(visit["at"]).replace(tzinfo=zone)
        if "minutes" in visit:
            at = self.now + timedelta(minutes=visit["minutes"])
            at -= timedelta(minutes=at.minute % 5)
            return at.astimezone(zone)
        day = self.now.astimezone(zone).date() - timedelta(visit["days_ago"])
        day -= timedelta(max(0, day.weekday() - 4))
        return local_time(day, visit["time"], zone)


# ---- instrument files ------------------------------------------------------

def moved_native(text, begin):
    def moved(found):
        taken = begin + (instant_of(found[1]) - BEGIN)
        return f'"taken_at": "{iso(taken)}"'
    return re.sub(r'"taken_at": "(2000-[^"]+)"', moved, text)


def moved_dicom(text, begin):
    """Dates and times of the study and of the content (PS3.6)."""
    instances = json.loads(text)
    for instance in instances:
        for date, clock in (
                ("00080020", "00080030"), ("00080023", "00080033")):
            was = datetime.strptime(
                instance[date]["Value"][0] + instance[clock]["Value"][0],
                "%Y%m%d%H%M%S").replace(tzinfo=timezone.utc)
            at = begin + (was - BEGIN)
            instance[date]["Value"] = [at.strftime("%Y%m%d")]
            instance[clock]["Value"] = [at.strftime("%H%M%S")]
        instance["00080201"]["Value"] = [begin.strftime("%z")]
    return json.dumps(instances, ensure_ascii=False)


def post_file(run, name, clinic, begin, moves):
    """The file as it is, unless the load chose its day; the readings that
    are on record then, as the service answered.  It knows a reading again,
    so a repeat stores nothing."""
    data = (run.folder / "files" / name).read_bytes()
    suffix = next(s for s in MEDIA if name.endswith(s))
    if moves:
        move = moved_dicom if suffix == ".dicom.json" else moved_native
        data = move(data.decode(), begin).encode()
    body = run.service.call(run.tokens["device", clinic], "POST",
                            "/v1/readings", data, media=MEDIA[suffix]).body
    if suffix != ".ndjson":
        return body if isinstance(body, list) else [body]
    kinds = [json.loads(line)["kind"] for line in data.splitlines()]
    for line in body:
        if line["status"] >= 300:
            raise exams.Refused(f"{name}: {line}")
    return [{"kind": kind, **line} for kind, line in zip(kinds, body)]


# ---- patients and visits ----------------------------------------------------

def find_patient(run, doc):
    token = run.tokens["desk", "quay"]
    number = doc["patient"]["record_number"]
    if not run.is_new:
        for found in run.service.items(
                token, f"/v1/patients?q={quote(number)}"):
            if found.get("record_number") == number:
                return found["id"]
    return run.service.call(token, "POST", "/v1/patients", doc["patient"],
                            key=f"demo {number}").body["id"]


def find_visit(run, there, visit, patient, at):
    """(the visit, its ETag)"""
    desk = run.tokens["desk", visit["clinic"]]
    clinic = run.clinics[visit["clinic"]]
    for found in there:
        if found["clinic"] == clinic and instant_of(found["at"]) == at:
            answer = run.service.call(desk, "GET", f"/v1/visits/{found['id']}")
            return answer.body, answer.etag
    answer = run.service.call(desk, "POST", "/v1/visits", {
        "patient": patient, "clinic": clinic, "at": iso(at),
        "reason": visit["reason"]}, key=f"demo visit {patient} {iso(at)}")
    return answer.body, answer.etag


def end_visit(run, visit, stands, etag):
    want = visit.get("status")
    if not want:
        want = "planned" if visit.get("minutes", -1) > 0 else "finished"
    if stands["status"] in (want, "finished"):
        return
    run.service.call(
        run.tokens["desk", visit["clinic"]], "PATCH",
        f"/v1/visits/{stands['id']}", {"status": want}, match=etag)


def name_habitual(run, visit, patient):
    """Pairs that somebody typed: named once."""
    desk = run.tokens["desk", visit["clinic"]]
    for body in visit.get("habitual", []):
        label = body["typed"]["pair"]
        path = f"/v1/patients/{patient}/habitual"
        pairs = run.service.call(desk, "GET", path).body["pairs"]
        if all(pair.get("pair") != label for pair in pairs):
            run.service.call(desk, "POST", path, body,
                             key=f"demo pair {patient} {label}")


def make_visit(run, there, visit, patient):
    at = run.instant(visit)
    stands, etag = find_visit(run, there, visit, patient, at)
    moves = "at" not in visit
    readings = [reading for name in visit.get("files", [])
                for reading in post_file(
                    run, name, visit["clinic"], at, moves)]
    name_habitual(run, visit, patient)
    if "exam" in visit:
        spec = visit["exam"]
        # Not ahead of the service's clock, whose exam it is.
        performed = min(at + timedelta(minutes=spec["after"]),
                        run.now.astimezone(at.tzinfo))
        place = exams.Place(
            visit["clinic"], patient, stands["id"], iso(performed))
        exam = exams.make(run, place, spec, readings)
        exams.make_orders(run, place, exam, visit.get("orders", []))
    end_visit(run, visit, stands, etag)


def make_patient(run, doc):
    patient = find_patient(run, doc)
    there = [] if run.is_new else run.service.items(
        run.tokens["desk", "quay"], f"/v1/visits?patient={patient}")
    for visit in doc["visits"]:
        make_visit(run, there, visit, patient)
    return patient


def make_tray(run):
    """Readings that a person has to give to somebody."""
    for item in json.loads((run.folder / "tray.json").read_text("utf-8")):
        begin = run.instant(item)
        post_file(run, item["file"], item["clinic"], begin, True)


def make(service, made, folder, is_new):
    """{telling key: patient's id}"""
    run = Load(service, made, folder, is_new)
    docs = [json.loads(path.read_text("utf-8"))
            for path in sorted((folder / "patients").glob("*.json"))]
    patients = {}
    with concurrent.futures.ThreadPoolExecutor(AT_ONCE) as pool:
        doing = {pool.submit(make_patient, run, doc): doc for doc in docs}
        for done in concurrent.futures.as_completed(doing):
            doc = doing[done]
            patients[doc["key"]] = done.result()
            print(f"patient {len(patients)} of {len(docs)}: {doc['key']}",
                  flush=True)
    make_tray(run)
    return dict(sorted(patients.items()))
