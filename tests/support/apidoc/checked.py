"""A client that holds what comes and goes against the description."""

import json
from typing import Any, NamedTuple

from .description import Description
from .schema import Faults, read

PATCH = "application/merge-patch+json"
# Answers of many objects, each of which fits the schema.
MANY = ("application/x-ndjson", "text/event-stream")


class Answer(NamedTuple):
    status: int
    headers: Any
    body: Any  # parsed with decimals as written; lists of lines; or bytes
    raw: bytes

    @property
    def etag(self):
        return self.headers["ETag"]


def plain(media):
    return (media or "").partition(";")[0].strip()


def without_nulls(value):
    """On input a member that is null counts as absent."""
    if isinstance(value, dict):
        return {k: without_nulls(v) for k, v in value.items()
                if v is not None}
    return [without_nulls(v) for v in value] if isinstance(value, list) \
        else value


class Checked:
    """client: lenstest's.  seen: the operations that answered 2xx."""

    def __init__(self, client, description=None):
        self.client = client
        self.of = description or Description()
        self.seen = set()

    def api(self, method, path, body=None, token=None, headers=None):
        """An answer whose status, headers and body are as described.  A body
        that was taken must be one that the description allows."""
        o = self.of.find(method, path.partition("?")[0])
        send = dict(headers or {})
        if isinstance(body, (dict, list)):
            body = json.dumps(body, ensure_ascii=False).encode()
            send.setdefault("Content-Type", PATCH if method == "PATCH"
                            else "application/json")
        if token:
            send["Authorization"] = f"Bearer {token}"
        connection = self.client.connection()
        connection.request(method, path, body=body, headers=send)
        got = connection.getresponse()
        raw = got.read()
        answer = Answer(got.status, got.headers, self.parsed(got, raw), raw)
        if got.status < 300:
            self.seen.add(str(o))
            self.sent(o, self.taken(body, send.get("Content-Type"), answer),
                      send.get("Content-Type"), path)
            self.header_names(o, answer)
        self.answered(o, answer)
        return answer

    def parsed(self, got, raw):
        media = plain(got.headers["Content-Type"])
        if media == "application/x-ndjson":
            return [read(line) for line in raw.splitlines()]
        if media == "text/event-stream":
            return [read(line.removeprefix(b"data: "))
                    for line in raw.splitlines()
                    if line.startswith(b"data: ")]
        return read(raw) if media.endswith("json") and raw else raw

    def taken(self, body, media, answer):
        """What was sent and not refused."""
        if body is None or not plain(media).endswith("json"):
            return []
        if plain(media) != "application/x-ndjson":
            return [read(body)]
        return [read(line) for line, became in
                zip(body.splitlines(), answer.body) if became["status"] < 300]

    def sent(self, o, bodies, media, path):
        if not bodies:
            return
        schema = o.request_schema(plain(media))
        if o.path == "/v1/optics/{function}":
            name = path.rpartition("/")[2]
            schema = {"$ref": f"../schema/optics.json#/$defs/{name}"}
            bodies = bodies[0] if isinstance(bodies[0], list) else bodies
        for one in bodies:
            if plain(media) == PATCH:  # null takes away, at any depth
                one = {name: without_nulls(value)
                       for name, value in one.items()}
            else:
                one = without_nulls(one)
            self.of.schemas.check(schema, one)

    def answered(self, o, answer):
        media = plain(answer.headers["Content-Type"])
        schema = o.answer_schema(answer.status, media)
        if schema is None:
            return
        # DICOMweb says in its own form which instances were refused.
        said = "application/dicom+json" if answer.status == 409 else None
        if answer.status >= 400 and \
                media not in ("application/problem+json", said):
            raise Faults(f"{o}: {answer.status} came as {media}")
        bodies = answer.body if media in MANY else [answer.body]
        for one in bodies:
            if isinstance(one, (bytes, bytearray)):
                one = one.decode()
            try:
                self.of.schemas.check(schema, one, closed=True)
            except Faults as fault:
                raise Faults(f"{o} answered {answer.status}: {fault}\n"
                             f"{answer.raw[:1500]}") from None

    def header_names(self, o, answer):
        """What is described comes, but Link on a last page and Location in a
        repeated answer; of these three nothing else comes."""
        said = set(o.responses[str(answer.status)].get("headers", {}))
        if "Idempotency-Replayed" in answer.headers:
            said -= {"Location"}
        came = {n for n in ("ETag", "Location", "Link") if n in answer.headers}
        many = isinstance(answer.body, list)  # each of several has its own
        if not came <= said or (not many and not said - {"Link"} <= came):
            raise Faults(f"{o}: headers {sorted(came)}, described are "
                         f"{sorted(said)}")
