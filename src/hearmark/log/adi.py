"""ADI, the form of ADIF with tags like <CALL:4>: read from bytes, written as bytes.

Lengths are counted in characters by the standard and in bytes by many writers of UTF-8. Both are read: the count that
ends before the next tag is the right one. Text that is no UTF-8 is taken as Windows-1252, value by value.
"""

from __future__ import annotations

import codecs
import re
from collections.abc import Callable, Iterable, Iterator
from datetime import datetime

from hearmark.errors import HearmarkError
from hearmark.log.adif import PROGRAM, VERSION, Definition, Field, Fields, Header, Item, Record, Refused, value

_TAG = re.compile(
    rb"<(?:([^:<>\r\n]{1,100}):(\d{1,8})(?::([^<>\r\n]{0,60}))?|([eE][oO][rRhH])|([^<>\r\n]{1,200}))>",
)
_EDGE = b" \t\r\n<"
_LONGEST_CHARACTER = 4
MOST_REMARKS = 20


def read_adi(
    data: bytes, encoding: str | None = None, advance: Callable[[float], None] | None = None
) -> Iterator[Item]:
    """Every header, record and refusal, in order. `advance` is told how many bytes are done.

    A record is refused if a length is no number or does not fit its text, or if the file ends within it. What is said
    between fields or records is no data; a record that has such text says so in its remarks.
    """
    return _Reader(data, encoding, advance).items()


class _Reader:
    def __init__(self, data: bytes, encoding: str | None, advance: Callable[[float], None] | None) -> None:
        self.data, self.encoding = _as_bytes(data, encoding)
        self.advance = advance
        self.newline = b"\n" if b"\n" in data else b"\r"
        self.line, self.counted = 1, 0
        self.names: dict[bytes, str] = {}
        self._begin()

    def _begin(self) -> None:
        self.fields: list[Field] = []
        self.bad = ""
        self.remarks: list[str] = []
        self.start = -1

    def _line_at(self, place: int) -> int:
        self.line += self.data.count(self.newline, self.counted, place)
        self.counted = place
        return self.line

    def items(self) -> Iterator[Item]:
        data, search = self.data, _TAG.search
        place, tag, records = 0, _TAG.search(self.data), 0
        while tag is not None:
            if self.fields and place < tag.start():
                self._between(data[place : tag.start()])
            name, length, kind, end, other = tag.groups()
            if end is not None:
                place = tag.end()
                item = self._finish(end.upper() == b"EOH", tag.start())
                if item is not None:
                    yield item
                records += 1
                if self.advance is not None and records % 500 == 0:
                    self.advance(place)
            elif length is not None:
                if self.start < 0:
                    self.start = tag.start()
                place = self._take(name, int(length), kind, tag.end())
            else:
                place = tag.end()
                self._strange(other, tag.start())
            tag = search(data, place)
        if self.fields or self.bad:
            line = self._line_at(max(self.start, self.counted))
            yield Refused(line, self.bad or "the file ends before <EOR>", value(self.fields, "CALL"))

    def _between(self, text: bytes) -> None:
        # Two strokes begin a comment in the files of some services
        if text.strip() and not text.lstrip().startswith(b"//"):
            shown = self._decode(text.strip())[:30]
            self.remarks.append(f'the text "{shown}" after {self.fields[-1].name} belongs to no field')

    def _strange(self, other: bytes, place: int) -> None:
        """A tag that is none: part of the talk between records, or a field whose length is no number."""
        name, colon, _ = other.partition(b":")
        if colon and re.fullmatch(rb"\w{1,100}", name.strip()) and (self.fields or self._blank_before(place)):
            if self.start < 0:
                self.start = place
            self.bad = self.bad or f"<{self._decode(other)[:40]}> gives no length of its value"

    def _finish(self, header: bool, place: int) -> Item | None:
        fields, bad, remarks, start = tuple(self.fields), self.bad, tuple(self.remarks[:MOST_REMARKS]), self.start
        self._begin()
        if header:
            return Header(fields)
        if not fields and not bad:
            return None
        line = self._line_at(start if start >= 0 else place)
        return Refused(line, bad, value(fields, "CALL")) if bad else Record(line, fields, remarks)

    def _take(self, raw_name: bytes, length: int, kind: bytes | None, begin: int) -> int:
        """One field; the place behind its value."""
        name = self.names.get(raw_name)
        if name is None:
            name = self.names[raw_name] = self._decode(raw_name).strip()
        end = begin + length
        raw = self.data[begin:end]
        text: str | None
        if raw.isascii():
            text = raw.decode("ascii") if self._fits(end) else None
        else:
            text, end = self._wide(begin, length)
        if text is None:
            over = "the file ends" if end > len(self.data) else "its text is cut or runs on"
            self.bad = self.bad or f"the length {length} of {name or 'a field'} does not fit: {over}"
            # Whatever the length swallowed is looked at again, so that the records behind are kept
            return begin
        self.fields.append(Field(name, text, kind.decode("latin-1").strip() if kind else ""))
        return end

    def _fits(self, end: int) -> bool:
        if end >= len(self.data):
            return end == len(self.data)
        after = self.data[end]
        return not (48 <= after <= 57 or 65 <= after <= 90 or 97 <= after <= 122 or after > 127)

    def _blank_before(self, place: int) -> bool:
        """Nothing but space between the end of the last record or header and here."""
        return self.data[max(0, place - 40) : place].rstrip()[-5:].upper() in (b"<EOR>", b"<EOH>")

    def _blank(self, end: int) -> bool:
        """Nothing but space between here and the next tag."""
        stop = self.data.find(b"<", end)
        return not self.data[end : stop if stop >= 0 else len(self.data)].strip()

    def _wide(self, begin: int, length: int) -> tuple[str | None, int]:
        """A value with letters beyond ASCII, its length in bytes or in characters."""
        ways: list[tuple[str, int]] = []
        raw = self.data[begin : begin + length]
        decoded = self._strict(raw)
        if decoded is not None and begin + length <= len(self.data):
            ways.append((decoded, begin + length))
        ahead = self._strict_start(self.data[begin : begin + _LONGEST_CHARACTER * length])
        if len(ahead) >= length:
            text = ahead[:length]
            ways.append((text, begin + len(text.encode(self.encoding or "utf-8"))))
        for check in (self._blank, self._fits):
            for text, end in ways:
                if check(end):
                    return text, end
        if decoded is None and self._fits(begin + length):
            return self._decode(raw), begin + length
        return None, begin + length

    def _strict(self, raw: bytes) -> str | None:
        try:
            return raw.decode(self.encoding or "utf-8")
        except UnicodeDecodeError:
            return None

    def _strict_start(self, raw: bytes) -> str:
        """As much from the start as is text in this encoding."""
        try:
            return codecs.getincrementaldecoder(self.encoding or "utf-8")().decode(raw)
        except UnicodeDecodeError as error:
            return raw[: error.start].decode(self.encoding or "utf-8", errors="ignore")

    def _decode(self, raw: bytes) -> str:
        for encoding in (self.encoding or "utf-8", "cp1252"):
            try:
                return raw.decode(encoding)
            except UnicodeDecodeError:
                continue
        return raw.decode("latin-1")


def _as_bytes(data: bytes, encoding: str | None) -> tuple[bytes, str | None]:
    """Bytes in which "<" is one byte, and the encoding to use; byte order marks are taken off."""
    if encoding is not None:
        try:
            codecs.lookup(encoding)
        except LookupError:
            raise HearmarkError(f'The encoding "{encoding}" is not known; try utf-8, cp1252 or latin-1.') from None
    if data.startswith(codecs.BOM_UTF8):
        return data[len(codecs.BOM_UTF8) :], encoding
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return data.decode("utf-16", errors="replace").encode("utf-8"), None
    if encoding is not None and "<".encode(encoding, errors="replace") != b"<":
        return data.decode(encoding, errors="replace").encode("utf-8"), None
    return data, encoding


def write_adi(records: Iterable[Fields], known: Iterable[Definition], made: datetime, version: str) -> Iterator[bytes]:
    """The file in pieces, UTF-8, lengths in bytes; plain ASCII counts the same either way."""
    head = [
        f"Contacts of {made:%Y-%m-%d %H:%M} UTC\r\n",
        _tag("ADIF_VER", VERSION),
        _tag("CREATED_TIMESTAMP", f"{made:%Y%m%d %H%M%S}"),
        _tag("PROGRAMID", PROGRAM),
        _tag("PROGRAMVERSION", version),
    ]
    for number, definition in enumerate(known, start=1):
        limits = f",{definition.limits}" if definition.limits else ""
        head.append(_tag(f"USERDEF{number}", definition.name + limits, definition.kind))
    yield ("".join(head) + "<EOH>\r\n\r\n").encode()
    for fields in records:
        yield ("".join(_tag(*field) for field in fields) + "<EOR>\r\n\r\n").encode()


def _tag(name: str, text: str, kind: str = "") -> str:
    length = len(text) if text.isascii() else len(text.encode())
    return f"<{name}:{length}{f':{kind}' if kind else ''}>{text}\r\n"
