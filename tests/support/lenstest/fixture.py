"""A network with somebody of each role, for one test."""

import hashlib
import os
import secrets
import time
import uuid

ROLES = ("desk", "prescriber", "lab", "device", "admin", "auditor")


def uuid7():
    """RFC 9562, section 5.7: milliseconds, then random bits."""
    bits = int.from_bytes(os.urandom(10), "big")
    value = (time.time_ns() // 1_000_000) << 80 | bits
    value = value & ~(0xF << 76) | 7 << 76
    value = value & ~(0x3 << 62) | 2 << 62
    return str(uuid.UUID(int=value))


def quoted(value):
    if value is None:
        return "NULL"
    return "'" + str(value).replace("'", "''") + "'"


def insert(table, **columns):
    names = ", ".join(columns)
    values = ", ".join(quoted(value) for value in columns.values())
    return f"INSERT INTO {table} ({names}) VALUES ({values});\n"


class Network:
    """Rows as the administration commands make them, but in one statement
    and without passwords, whose hashing takes a tenth of a second each."""

    def __init__(self, service, name=None, time_zone="Europe/Vienna"):
        self.service = service
        self.id = uuid7()
        self.name = name or f"net-{secrets.token_hex(5)}"
        self.clinic, self.lab, self.device = uuid7(), uuid7(), uuid7()
        self.users, self.tokens = {}, {}
        sql = "BEGIN;\n" + insert(
            "network", network_id=self.id, name=self.name,
            display=f"Network {self.name}")
        sql += insert("clinic", network_id=self.id, clinic_id=self.clinic,
                      name="Main clinic", time_zone=time_zone)
        sql += insert("lab", network_id=self.id, lab_id=self.lab,
                      name="Workshop")
        sql += insert("device", network_id=self.id, device_id=self.device,
                      name="bench", clinic_id=self.clinic, serial="AR-0017")
        for role in ROLES:
            sql += self.somebody(role)
        service.psql(sql + "COMMIT;\n")

    def somebody(self, role, name=None):
        """Statements for a user (or the device) and a token; the token is in
        self.tokens under the name, which is the role unless given."""
        name = name or role
        token = "test-" + secrets.token_urlsafe(24)
        clinic = None if role == "lab" else self.clinic
        lab = self.lab if role == "lab" else None
        sql = ""
        if role != "device":
            self.users[name] = uuid7()
            sql = insert("app_user", network_id=self.id,
                         user_id=self.users[name], name=name,
                         display=f"User {name}", role=role, clinic_id=clinic,
                         lab_id=lab, licence_number="L-1")
        sql += insert(
            "token", network_id=self.id, token_id=uuid7(),
            token_hash="\\x" + hashlib.sha256(token.encode()).hexdigest(),
            kind="bearer", user_id=self.users.get(name),
            device_id=self.device if role == "device" else None, role=role,
            clinic_id=clinic, lab_id=lab, expires_at="2099-01-01Z")
        self.tokens[name] = token
        return sql

    def add(self, role, name):
        """One more user of a role."""
        self.service.psql(self.somebody(role, name))
        return self.users[name]

    def api(self, role, method, path, body=None, headers=None):
        return self.service.api(
            method, path, body, token=self.tokens[role], headers=headers)
