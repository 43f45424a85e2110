"""Inputs of every kind with something broken in them: bytes, XML in the zip, records, lines, values, whole parts."""

from __future__ import annotations

import io
import random
import re
import struct
import zipfile
from collections.abc import Callable, Iterator, Mapping

STRANGE = (
    "", "-1", "0", "1e999", "nan", "A0", "XFD1048577", "ZZZZZZZZZ", "99999999999999999999", "\xe9", "&amp;",
    "#REF!", "t", "1_0", "\uff11", "\u0661", "true", "2.013", "\u202e", "=1+1", "0x10", "1,5", "1.5",
    "\ud83d\udc8a", "xml:space", "B2", "A1:XFD1048576", "s", "str", "n",
)  # fmt: skip
ENCODINGS = ("utf-16", "utf-16-le", "utf-16-be", "utf-32", "utf-7", "cp1252", "utf-8-sig", "cp037", "latin-1")
_ELEMENT = re.compile(rb"<([\w:]+)(?:\s[^<>]*)?(?:/>|>[^<>]*</\1>)")
_ROW = re.compile(rb"<((?:table:table-)?row)\b.*?</\1>", re.DOTALL)
_VALUE = re.compile(rb'="([^"]*)"')
_TEXT = re.compile(rb">([^<>]+)<")


def bytes_broken(data: bytes, draws: random.Random) -> bytes:
    """A byte turned, a piece cut out, doubled or moved, or the end cut off."""
    at = draws.randrange(len(data))
    match draws.randrange(6):
        case 0:
            return data[:at] + bytes([data[at] ^ 1 << draws.randrange(8)]) + data[at + 1 :]
        case 1:
            return data[:at]
        case 2:
            return data[:at] + data[at + draws.randrange(1, 60) :]
        case 3:
            end = at + draws.randrange(1, 200)
            return data[:end] + data[at:end] + data[end:]
        case 4:
            return data[:at] + draws.randbytes(draws.randrange(1, 9)) + data[at:]
        case _:
            end = at + draws.randrange(1, 100)
            piece, rest = data[at:end], data[:at] + data[end:]
            to = draws.randrange(len(rest) + 1)
            return rest[:to] + piece + rest[to:]


def _chosen(shape: re.Pattern[bytes], text: bytes, draws: random.Random) -> re.Match[bytes] | None:
    found = list(shape.finditer(text))
    return draws.choice(found) if found else None


def xml_broken(text: bytes, draws: random.Random) -> bytes:
    """A part that mostly stays sound XML: a value, a text, an element or a row changed, lost or doubled."""
    shape = draws.choice([_VALUE, _VALUE, _TEXT, _TEXT, _ELEMENT, _ROW, None])
    found = None if shape is None else _chosen(shape, text, draws)
    if found is None or shape is None:
        return bytes_broken(text, draws) if text else text
    if shape in (_ELEMENT, _ROW):
        match draws.randrange(3):
            case 0:
                return text[: found.start()] + text[found.end() :]
            case 1:
                return text[: found.end()] + found.group() + text[found.end() :]
            case _:
                other = _chosen(shape, text, draws)
                assert other is not None
                return text[: found.start()] + other.group() + text[found.end() :]
    other = _chosen(shape, text, draws)
    assert other is not None
    old = found.group(1)
    match draws.randrange(4):
        case 0:
            new = other.group(1)
        case 1:
            new = draws.choice(STRANGE).encode("utf-8", "replace")
        case 2 if old:
            at = draws.randrange(len(old))
            new = old[:at] + draws.choice([b"0", b"9", b".", b"_", b"-", b" ", b"e", b"\xd9\xa1", b""]) + old[at + 1 :]
        case _:
            new = old[::-1] if draws.random() < 0.3 else old + draws.choice([b"0", b" ", b"1", b"e1", b"%"])
    return text[: found.start(1)] + new + text[found.end(1) :]


def zip_broken(data: bytes, draws: random.Random) -> bytes:
    """A workbook with a part changed, lost, doubled or exchanged, or its bytes broken."""
    if draws.random() < 0.1:
        return bytes_broken(data, draws)
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    names = [name for name in parts if parts[name] and name.endswith((".xml", ".rels"))]
    likely = [
        name for name in names if any(one in name for one in ("sheet", "content", "styles", "workbook", "Strings"))
    ]
    chosen = draws.choice(likely if draws.random() < 0.8 else names)
    match draws.randrange(20):
        case 0:
            del parts[chosen]
        case 1:
            parts[chosen] = parts[draws.choice(names)]
        case 2:
            parts[chosen + draws.choice(["~", ".bak", "2"])] = parts.pop(chosen)
        case _:
            for _ in range(draws.choice([1, 1, 1, 2, 3])):
                parts[chosen] = xml_broken(parts[chosen], draws)
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return stream.getvalue()


def text_broken(data: bytes, draws: random.Random) -> bytes:
    """A text with a line, a field or a sign changed, or written in another encoding."""
    text = data.decode()
    lines = text.split("\n")
    at = draws.randrange(len(lines))
    match draws.randrange(9):
        case 0:
            del lines[at]
        case 1:
            lines.insert(at, lines[draws.randrange(len(lines))])
        case 2:
            lines[at] = draws.choice(STRANGE)
        case 3:
            fields = re.split(r"([,;\t=])", lines[at])
            fields[draws.randrange(len(fields))] = draws.choice(STRANGE)
            lines[at] = "".join(fields)
        case 4 if lines[at]:
            spot = draws.randrange(len(lines[at]))
            sign = draws.choice(list("\"';,\t .-_eO09|%\x00\u2028\u00a0\uff12\u0662\u200b[]{}#\\"))
            lines[at] = lines[at][:spot] + sign + lines[at][spot + draws.choice([0, 1]) :]
        case 5:
            encoding = draws.choice(
                ["utf-16", "utf-16-le", "utf-16-be", "utf-32", "utf-7", "cp1252", "utf-8-sig", "cp037", "latin-1"]
            )
            return text.encode(encoding, "replace")
        case 6:
            return bytes_broken(data, draws)
        case 7:
            lines[at] = re.sub(
                r"\d+(\.\d+)?",
                lambda number: draws.choice([number.group() + "e1", number.group()[::-1], "1e-999999"]),
                lines[at],
                count=1,
            )
        case _:
            lines[at] = lines[at] * draws.choice([2, 50])
    return "\n".join(lines).encode("utf-8", "surrogatepass")


def old_broken(data: bytes, draws: random.Random) -> bytes:
    """An old workbook with a record changed, lost or doubled, or its bytes broken; its stream follows the head."""
    if draws.random() < 0.3:
        return bytes_broken(data, draws)
    records, at = [], 512
    while at + 4 <= len(data):
        kind, size = struct.unpack_from("<HH", data, at)
        if kind == 0 and size == 0:
            break
        records.append(data[at : at + 4 + size])
        at += 4 + size
    one = draws.randrange(len(records))
    match draws.randrange(5):
        case 0:
            records[one] = b""
        case 1:
            records[one] += records[draws.randrange(len(records))]
        case 2:
            records[one] = records[one][:4] + bytes(draws.randbytes(max(len(records[one]) - 4, 0)))
        case 3:
            records[one] = (
                struct.pack("<H", draws.choice([0x0A, 0x200, 0x203, 0x205, 0x27E, 0xBD, 0xFD, 0x809, 0x85]))
                + records[one][2:]
            )
        case _ if len(records[one]) > 4:
            spot = draws.randrange(4, len(records[one]))
            records[one] = (
                records[one][:spot] + bytes([records[one][spot] ^ 1 << draws.randrange(8)]) + records[one][spot + 1 :]
            )
    stream = b"".join(records)
    return data[:512] + (stream + data[512 + len(stream) :])[: len(data) - 512]


BREAK: Mapping[str, Callable[[bytes, random.Random], bytes]] = {
    ".xlsx": zip_broken,
    ".xlsm": zip_broken,
    ".ods": zip_broken,
    ".xls": old_broken,
    ".csv": text_broken,
    ".tsv": text_broken,
    ".txt": text_broken,
    ".toml": text_broken,
    ".json": text_broken,
}


def damaged(sources: Mapping[str, bytes], *, seed: int, count: int) -> Iterator[tuple[str, bytes]]:
    """Name of the source and broken bytes, by turns."""
    names = sorted(sources)
    for number in range(count):
        draws = random.Random(f"{seed} {number}")
        name = names[number % len(names)]
        yield name, BREAK[name[name.rindex(".") :]](sources[name], draws)
