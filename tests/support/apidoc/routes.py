"""server/http/routes.def and what else of the C sources a description is
held against."""

import pathlib
import re
from typing import NamedTuple

repo = pathlib.Path(__file__).resolve().parents[3]

ROLES = ("desk", "prescriber", "lab", "device", "admin", "auditor")
STAFF = {"desk", "prescriber", "admin", "auditor"}
GROUPS = {"STAFF": STAFF, "ANYBODY": set(ROLES), "OPEN": set()}


class Route(NamedTuple):
    method: str
    path: str
    roles: frozenset  # empty: no token is asked for
    flags: frozenset  # JSON, MATCH, KEYED, MERGE, RAW, MAYBE
    action: str  # the audit log's word, or ""
    query: tuple

    @property
    def open(self):
        return not self.roles


def source(path):
    text = (repo / path).read_text(encoding="utf-8")
    return re.sub(r"/\*.*?\*/", " ", text, flags=re.S)


def texts(argument):
    """C's literals side by side are one; NULL is none."""
    return "".join(re.findall(r'"((?:[^"\\]|\\.)*)"', argument))


def words(argument):
    return re.findall(r"HTTP_(\w+)", argument)


def roles_of(argument):
    found = set()
    for word in words(argument):
        found |= GROUPS.get(word, {word.lower()})
    unknown = found - set(ROLES)
    if unknown:
        raise ValueError(f"routes.def names roles unknown here: {unknown}")
    return frozenset(found)


def routes():
    found = []
    for body in re.findall(r"^ROUTE\((.*?)\)$", source(
            "server/http/routes.def"), re.S | re.M):
        # Commas outside of texts part the arguments.
        parts = re.split(r",(?=(?:[^\"]*\"[^\"]*\")*[^\"]*$)", body)
        method, path, _, roles, flags, action, query = parts
        found.append(Route(
            texts(method), texts(path), roles_of(roles),
            frozenset(words(flags)), texts(action),
            tuple(texts(query).split())))
    return found


def problem_words():
    """{word: status} of every problem type: base/rc.def gives the words,
    http/problem.c each status."""
    names = dict(re.findall(r'RC\((\w+), "([\w-]+)"\)',
                            source("server/base/rc.def")))
    statuses = dict(re.findall(r"\[RC_(\w+)\] = \{(\d+),",
                               source("server/http/problem.c")))
    return {word: int(statuses[name]) for name, word in names.items()
            if name != "OK"}


def optics_functions():
    """{name: members of its request} of server/http/optics.def."""
    text = source("server/http/optics.def")
    lens = re.search(r"#define LENS (.*)", text).group(1)
    found = {}
    for body in re.findall(r"^FUNCTION\((.*?)\)$", text, re.S | re.M):
        name, _, _, members = body.replace("LENS", lens).split(",", 3)
        found[texts(name)] = re.findall(r'"(\w+)"', members)
    return found


def optics_ranges():
    """{argument: [(low, high), …]} of server/optics/fault.def."""
    found = {}
    for name, low, high in re.findall(
            r'RANGE\(\w+,\s*"(\w+)",\s*([-\d.e]+),\s*([-\d.e]+),',
            source("server/optics/fault.def")):
        found.setdefault(name, []).append((float(low), float(high)))
    return found
