"""ADX, the form of ADIF in XML, read as a stream with line numbers and written with the fields' own names.

A document that is no XML from some line on is read up to there: the records before are kept. Document type
declarations are refused, so that no entity can blow up or reach outside.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from datetime import datetime
from typing import Any
from xml.parsers import expat
from xml.sax.saxutils import escape, quoteattr

from hearmark.log.adif import PROGRAM, VERSION, Definition, Field, Fields, Header, Item, Record, Refused, value

_NAME = re.compile(r"[A-Za-z_][\w.\-]*", re.ASCII)
_NOT_XML = re.compile(r"[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
_CHUNK = 1 << 16


class _Doctype(Exception):
    pass


def read_adx(data: bytes, advance: Callable[[float], None] | None = None) -> Iterator[Item]:
    """Every header, record and refusal, in order. `advance` is told how many bytes are done."""
    builder = _Builder()
    for begin in range(0, max(len(data), 1), _CHUNK):
        piece = data[begin : begin + _CHUNK]
        try:
            builder.parser.Parse(piece, begin + _CHUNK >= len(data))
        except expat.ExpatError as error:
            yield from builder.take()
            yield Refused(error.lineno, f"the file is no XML from here on ({expat.ErrorString(error.code)})")
            return
        except _Doctype:
            yield from builder.take()
            yield Refused(
                builder.parser.CurrentLineNumber,
                "a document type declaration has no place in ADX; the rest is not read",
            )
            return
        except (UnicodeError, LookupError, ValueError) as error:
            yield from builder.take()
            yield Refused(builder.parser.CurrentLineNumber, f"the rest cannot be read ({error})")
            return
        yield from builder.take()
        if advance is not None:
            advance(begin + len(piece))


class _Builder:
    """Collects finished items while the parser runs."""

    def __init__(self) -> None:
        self.parser = expat.ParserCreate()
        self.parser.buffer_text = True
        self.parser.StartElementHandler = self._start
        self.parser.EndElementHandler = self._end
        self.parser.CharacterDataHandler = self._characters
        self.parser.StartDoctypeDeclHandler = self._doctype
        self.path: list[str] = []
        self.items: list[Item] = []
        self.fields: list[Field] = []
        self.text: list[str] = []
        self.attributes: dict[str, str] = {}
        self.line = 0
        self.bad = ""

    def take(self) -> list[Item]:
        items, self.items = self.items, []
        return items

    def _doctype(self, *_: Any) -> None:
        raise _Doctype

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        self.path.append(name.upper())
        inside = self.path[:-1]
        if self.path in (["ADX", "RECORDS", "RECORD"], ["ADX", "HEADER"]):
            self.fields, self.line, self.bad = [], self.parser.CurrentLineNumber, ""
        elif inside in (["ADX", "RECORDS", "RECORD"], ["ADX", "HEADER"]):
            self.text = []
            self.attributes = {key.upper(): text for key, text in attributes.items()}
        elif inside[:3] == ["ADX", "RECORDS", "RECORD"]:
            self.bad = self.bad or f"<{name}> stands inside another field"

    def _characters(self, text: str) -> None:
        self.text.append(text)

    def _end(self, name: str) -> None:
        inside = self.path[:-1]
        if self.path == ["ADX", "RECORDS", "RECORD"]:
            fields = tuple(self.fields)
            if self.bad:
                self.items.append(Refused(self.line, self.bad, value(fields, "CALL")))
            elif fields:
                self.items.append(Record(self.line, fields))
        elif self.path == ["ADX", "HEADER"]:
            self.items.append(Header(tuple(self.fields)))
        elif inside in (["ADX", "RECORDS", "RECORD"], ["ADX", "HEADER"]):
            self._field(name, "".join(self.text), in_header=inside[-1] == "HEADER")
        self.path.pop()

    def _field(self, name: str, text: str, in_header: bool) -> None:
        given = self.attributes
        kind = given.get("TYPE", "")
        if name.upper() == "APP":
            name = f"APP_{given.get('PROGRAMID', '')}_{given.get('FIELDNAME', '')}"
        elif name.upper() == "USERDEF" and in_header:
            limits = given.get("ENUM") or given.get("RANGE") or ""
            name = f"USERDEF{given.get('FIELDID', '')}"
            text = text.strip() + (f",{limits}" if limits else "")
        elif name.upper() == "USERDEF":
            name = given.get("FIELDNAME", "")
            self.bad = self.bad or ("" if name else "a USERDEF has no FIELDNAME")
        self.fields.append(Field(name, text, kind))


def write_adx(records: Iterable[Fields], known: Iterable[Definition], made: datetime, version: str) -> Iterator[bytes]:
    """The file in pieces, UTF-8. Characters that XML 1.0 cannot hold are written as the replacement character."""
    own = tuple(known)
    head = [
        '<?xml version="1.0" encoding="UTF-8"?>\n<ADX>\n<HEADER>\n',
        f"<ADIF_VER>{VERSION}</ADIF_VER>\n<CREATED_TIMESTAMP>{made:%Y%m%d %H%M%S}</CREATED_TIMESTAMP>\n",
        f"<PROGRAMID>{PROGRAM}</PROGRAMID>\n<PROGRAMVERSION>{_text(version)}</PROGRAMVERSION>\n",
    ]
    for number, definition in enumerate(own, start=1):
        attribute = "RANGE" if definition.kind == "N" and ":" in definition.limits else "ENUM"
        limits = f" {attribute}={_attribute(definition.limits)}" if definition.limits else ""
        kind = f" TYPE={_attribute(definition.kind)}" if definition.kind else ""
        head.append(f'<USERDEF FIELDID="{number}"{kind}{limits}>{_text(definition.name)}</USERDEF>\n')
    yield ("".join(head) + "</HEADER>\n<RECORDS>\n").encode()
    names = {definition.name.upper() for definition in own}
    for fields in records:
        yield ("<RECORD>\n" + "".join(_element(field, names) for field in fields) + "</RECORD>\n").encode()
    yield b"</RECORDS>\n</ADX>\n"


def unwritable(fields: Iterable[Field]) -> bool:
    """True if a value holds a character that XML 1.0 cannot carry."""
    return any(_NOT_XML.search(field.value) for field in fields)


def _element(field: Field, defined: set[str]) -> str:
    name, upper = field.name, field.name.upper()
    kind = f" TYPE={_attribute(field.kind)}" if field.kind else ""
    text = _text(field.value)
    owner, _, rest = name[4:].partition("_")
    if upper.startswith("APP_") and owner and rest:
        return f"<APP PROGRAMID={_attribute(owner)} FIELDNAME={_attribute(rest)}{kind}>{text}</APP>\n"
    if upper in defined or upper in ("APP", "USERDEF") or not _NAME.fullmatch(name) or upper.startswith("XML"):
        return f"<USERDEF FIELDNAME={_attribute(name)}{kind}>{text}</USERDEF>\n"
    return f"<{name}{kind}>{text}</{name}>\n"


def _text(text: str) -> str:
    # A bare carriage return would come back as a line feed (XML 1.0, 2.11)
    return escape(_NOT_XML.sub("�", text), {"\r": "&#13;"})


def _attribute(text: str) -> str:
    return quoteattr(_NOT_XML.sub("�", text), {"\r": "&#13;", "\n": "&#10;", "\t": "&#9;"})
