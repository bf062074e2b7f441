"""Exams, step by step as a prescriber makes them, and orders of glasses."""

from typing import NamedTuple

from api import Refused

__all__ = ["Place", "Refused", "make", "make_orders"]

SIDES = ("right", "left")
# In the scenario's words: with what an acuity was taken.
STAGES = {"unaided": "nothing", "habitual": "habitual", "working": "working"}
BY_CLINIC = ("arrived", "handed over")


class Place(NamedTuple):
    clinic: str  # key
    patient: str
    visit: str
    performed_at: str


def acuities(spec, stages):
    """{"unaided": [right, left], "near": text} as the API has it."""
    found = []
    for stage in stages:
        for eye, text in zip(SIDES, spec.get(stage, ())):
            if text:
                item = {"eye": eye, "distance": "far", "with": STAGES[stage],
                        "notation": "snellen", "text": text}
                if "distance_m" in spec:
                    item["distance_m"] = spec["distance_m"]
                found.append(item)
    if "working" in stages and "near" in spec:
        found.append({"eye": "both", "distance": "near", "with": "working",
                      "notation": "n-points", "text": spec["near"]})
    return found


class Draft:
    """An exam that is being written; every answer brings the next ETag."""

    def __init__(self, run, clinic, answer):
        self.run, self.token = run, run.tokens["prescriber", clinic]
        self.path = f"/v1/exams/{answer.body['id']}"
        self.take(answer)

    def take(self, answer):
        self.body, self.etag = answer.body, answer.etag

    def call(self, method, part="", body=None, key=None):
        answer = self.run.service.call(
            self.token, method, self.path + part, body, match=self.etag,
            key=key and f"demo {key} {self.path}")
        self.etag = answer.etag
        return answer

    def patch(self, body):
        if body:
            self.call("PATCH", "", body)


def find(run, place):
    token = run.tokens["prescriber", place.clinic]
    if not run.is_new:
        for exam in run.service.items(
                token, f"/v1/exams?patient={place.patient}"):
            if exam["visit"] == place.visit:
                return Draft(run, place.clinic, run.service.call(
                    token, "GET", f"/v1/exams/{exam['id']}"))
    return Draft(run, place.clinic, run.service.call(
        token, "POST", "/v1/exams",
        {"visit": place.visit, "performed_at": place.performed_at},
        key=f"demo exam {place.visit}"))


def newest(readings, kind):
    return [r["id"] for r in readings if r["kind"] == kind][-1]


def refine(draft, spec, source):
    """start-from and the steps; those that stand already are passed over."""
    done = draft.body["steps"]["count"]
    if done == 0:
        draft.call("POST", "/start-from", {"source": source}, key="start")
    for number, step in enumerate(spec["steps"], 1):
        if number >= max(done, 1):
            draft.call("POST", "/steps", step, key=f"step {number}")


def write(draft, spec, readings):
    """All that stands in an exam before it is signed."""
    said = spec.get("acuities", {})
    before = dict(spec.get("before", {}))
    if said:
        before["acuities"] = acuities(said, ("unaided", "habitual"))
    if "objective" in spec:
        before["objective"] = {kind: newest(readings, kind)
                               for kind in spec["objective"]}
    if draft.body["steps"]["count"] == 0:
        draft.patch(before)
    if "start_from" in spec:
        refine(draft, spec, newest(readings, spec["start_from"]))
    after = dict(spec.get("after_steps", {}))
    if "working" in said:
        after["acuities"] = acuities(said, STAGES)
    draft.patch(after)


def make(run, place, spec, readings):
    """The exam's id, when all of spec is done."""
    draft = find(run, place)
    if draft.body["status"] == "preliminary":
        write(draft, spec, readings)
        if "sign" in spec:
            draft.take(draft.call("POST", "/sign", spec["sign"], key="sign"))
    amend = spec.get("amend")
    if amend and draft.body["status"] == "final":
        if not draft.body["amending"]:
            draft.call("POST", "/amend", {"reason": amend["reason"]},
                       key="amend")
        draft.patch(amend["patch"])
        draft.call("POST", "/sign", {}, key="sign again")
    return draft.path.rpartition("/")[2]


# ---- orders -----------------------------------------------------------------

def move(run, clinic, order, etag, number, step):
    """One move of an order, by whom it is for."""
    by = ("desk", clinic) if step.get("stage") in BY_CLINIC else ("lab", None)
    return run.service.call(
        run.tokens[by], "POST", f"/v1/orders/{order}/status", step, match=etag,
        key=f"demo move {number} {order}").etag


def make_orders(run, place, exam, specs):
    desk = run.tokens["desk", place.clinic]
    there = []
    if specs and not run.is_new:
        # Ids of orders begin with the time at which they were made.
        there = sorted((o["id"] for o in run.service.items(
            desk, f"/v1/orders?patient={place.patient}")
            if o["exam"] == exam))
    for number, spec in enumerate(specs):
        body = {name: value for name, value in spec.items()
                if name != "moves"}
        if number < len(there):
            answer = run.service.call(
                desk, "GET", f"/v1/orders/{there[number]}")
        else:
            answer = run.service.call(
                desk, "POST", "/v1/orders",
                {"exam": exam, "lab": run.lab, **body},
                key=f"demo order {exam} {number}")
        order, etag = answer.body["id"], answer.etag
        done = len(answer.body["history"]) - 1
        for turn, step in enumerate(spec.get("moves", [])):
            if turn >= done:
                etag = move(run, place.clinic, order, etag, turn, step)
