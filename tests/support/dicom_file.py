"""DICOM JSON (PS3.18, annex F) as a file (PS3.10, explicit VR little endian),
for tests that hold what we export against tools that read files only.

Knows the value representations that we write and no others.
"""

import struct

PADS = {"UI": b"\0"}  # texts are padded to even length (PS3.5, 6.2)
LONG = {"SQ", "UT"}   # have a length of 32 bits (PS3.5, 7.1.2)
TEXTS = {"CS", "DA", "DS", "DT", "IS", "LO", "SH", "TM", "UI", "UT"}


def value_of(vr, values):
    if vr == "PN":
        return "\\".join(v["Alphabetic"] for v in values).encode()
    if vr not in TEXTS:
        raise ValueError(f"a value representation that isn't known: {vr}")
    return "\\".join(str(v) for v in values).encode()


def element(tag, vr, data):
    group, number = int(tag[:4], 16), int(tag[4:], 16)
    if len(data) % 2:
        data += PADS.get(vr, b" ")
    head = struct.pack("<HH2s", group, number, vr.encode())
    if vr in LONG:
        return head + struct.pack("<HI", 0, len(data)) + data
    return head + struct.pack("<H", len(data)) + data


def items(values):
    return b"".join(struct.pack("<HHI", 0xFFFE, 0xE000, len(body)) + body
                    for body in map(data_set, values))


def data_set(json):
    if list(json) != sorted(json):
        raise ValueError(f"the tags aren't in order: {list(json)}")
    return b"".join(
        element(tag, e["vr"], items(e.get("Value", [])) if e["vr"] == "SQ"
                else value_of(e["vr"], e.get("Value", [])))
        for tag, e in json.items())


def file_of(json):
    """The bytes of a file of one instance."""
    meta = b"".join((
        struct.pack("<HH2sHI", 2, 1, b"OB", 0, 2) + b"\0\1",
        element("00020002", "UI", json["00080016"]["Value"][0].encode()),
        element("00020003", "UI", json["00080018"]["Value"][0].encode()),
        element("00020010", "UI", b"1.2.840.10008.1.2.1"),
        element("00020012", "UI", b"2.25.1")))
    return (b"\0" * 128 + b"DICM"
            + element("00020000", "CS", b"")[:4] + b"UL"
            + struct.pack("<HI", 4, len(meta)) + meta + data_set(json))
