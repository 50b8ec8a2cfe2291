"""Joining PDF files of the typesetting library into one, tags, links and bookmarks included.

A lot of hundreds of sheets typeset at once would need gigabytes; typeset in portions and joined here
it needs memory for one portion. Understood is exactly what the library writes: PDF 1.7 with a plain
cross-reference table, direct objects, strings with every parenthesis escaped. Anything else is
refused. (ISO 32000-1:2008: 7.5 file structure, 7.7 page tree and names, 12.3 outlines, 14.7 tags.)
"""

from __future__ import annotations

import re
from itertools import pairwise
from typing import BinaryIO

from gearqa.errors import ReportError

TARGET = "dest:"
"""Scheme of links that lead to a place of the joined document."""

_STRING = rb"\((?:[^\\()]|\\.)*\)"
_TOKEN = re.compile(_STRING + rb"|\b(\d+) 0 R\b|/(StructParents?) (\d+)", re.DOTALL)
_STREAM = re.compile(rb"<<(?:[^()]|" + _STRING + rb")*?>>\s*stream\r?\n", re.DOTALL)
_CELL_ID = re.compile(rb"\((U\d+x\d+y\d+)\)")
_PAIR = re.compile(rb"(" + _STRING + rb")\s*(\d+) 0 R", re.DOTALL)
_LINK = re.compile(rb"/A<</Type/Action/S/URI/URI\(dest:([\w-]+)\)>>")
_DOCUMENT = b"<</Type/StructElem/S/Document/"
_CELL = (b"<</Type/StructElem/S/TH/", b"<</Type/StructElem/S/TD/")


class _File:
    """Objects of one PDF by number, as bytes between `obj` and `endobj`."""

    def __init__(self, data: bytes) -> None:
        trailer = re.search(
            rb"xref\n0 (\d+)\n.*trailer\n<</Size \d+/Root (\d+) 0 R/Info (\d+) 0 R.*?"
            rb"startxref\n(\d+)\s+%%EOF\s*$",
            data[data.rfind(b"\nxref\n") + 1 :], re.DOTALL,
        )  # fmt: skip
        if not data.startswith(b"%PDF-1.7") or trailer is None:
            raise ReportError("the typesetting library wrote a PDF that cannot be joined to another")
        self.size, self.root, self.info, start = (int(group) for group in trailer.groups())
        table = data[start:].split(b"\n", 2)[2]
        entries = [table[20 * k : 20 * k + 18] for k in range(self.size)]
        offsets = {k: int(entry[:10]) for k, entry in enumerate(entries) if entry[17:18] == b"n"}
        ends = sorted([*offsets.values(), start])
        following = dict(pairwise(ends))
        self.objects: dict[int, bytes] = {}
        for number, offset in offsets.items():
            body = data[offset : following[offset]]
            head = b"%d 0 obj\n" % number
            tail = body.rfind(b"endobj")
            if not body.startswith(head) or tail < 0:
                raise ReportError("the typesetting library wrote a PDF that cannot be joined to another")
            self.objects[number] = body[len(head) : tail].rstrip(b"\n")

    def reference(self, holder: bytes, key: bytes) -> int | None:
        """Number of the object that a key of a dictionary points to."""
        match = re.search(rb"/%s (\d+) 0 R" % key, holder)
        return None if match is None else int(match.group(1))


class PdfJoiner:
    """Writes one PDF from portions, each added once it is typeset and then forgotten."""

    def __init__(self, stream: BinaryIO) -> None:
        self._stream = stream
        self._at = 0
        self._offsets: dict[int, int] = {}
        # Objects 1 to 4 join the portions: page tree, tags, document element, bookmarks.
        self._pages, self._tags, self._body, self._outline = 1, 2, 3, 4
        self._next = 5
        self._page_count = 0
        self._page_trees: list[int] = []
        self._parts: list[int] = []
        self._parents: list[tuple[int, int]] = []
        self._parent_next = 0
        self._ids: list[tuple[bytes, int]] = []
        self._dests: list[tuple[bytes, int]] = []
        self._marks: list[tuple[int, bytes]] = []
        """Top bookmarks: number and the dictionary without its neighbours."""
        self._catalog = b""
        self._info = 0
        self._metadata: tuple[int, bytes] = (0, b"")
        self._roles = b""
        self._put(b"%PDF-1.7\n%\x80\x80\x80\x80\n\n")

    def _put(self, data: bytes) -> None:
        self._stream.write(data)
        self._at += len(data)

    def _object(self, number: int, content: bytes) -> None:
        self._offsets[number] = self._at
        self._put(b"%d 0 obj\n%s\nendobj\n\n" % (number, content))

    def add(self, data: bytes) -> None:
        """Join one more PDF to the end."""
        part = _File(data)
        base, first = self._next - 1, not self._page_trees
        self._next += part.size - 1
        catalog = part.objects[part.root]
        special = {
            key: part.reference(catalog, key)
            for key in (b"Pages", b"StructTreeRoot", b"Outlines", b"Metadata")
        }
        pages, tags, outlines = special[b"Pages"], special[b"StructTreeRoot"], special[b"Outlines"]
        if pages is None or tags is None:
            raise ReportError("the typesetting library wrote a PDF without pages or tags")
        tops = self._top_marks(part, outlines)
        prefix, parent_base = b"p%d" % len(self._page_trees), self._parent_next
        skip = {part.root, tags, outlines, special[b"Metadata"], part.info}
        for number, content in part.objects.items():
            if number in skip:
                continue
            new = self._moved(content, base, parent_base, prefix)
            if number == pages:
                count = re.search(rb"/Count (\d+)", new)
                self._page_count += int(count.group(1)) if count else 0
                self._page_trees.append(base + number)
                new = new.replace(b"<</Type/Pages", b"<</Type/Pages/Parent %d 0 R" % self._pages, 1)
            elif new.startswith(_DOCUMENT):
                self._parts.append(base + number)
                new = new.replace(_DOCUMENT, b"<</Type/StructElem/S/Part/", 1)
                new = re.sub(rb"/P \d+ 0 R", b"/P %d 0 R" % self._body, new, count=1)
            elif number in tops:
                new = re.sub(rb"/(Parent|Next|Prev) \d+ 0 R", b"", new)
                self._marks.append((base + number, new))
                continue
            self._object(base + number, new)
        self._collect(part, tags, catalog, base, prefix)
        if first:
            self._keep_head(part, special[b"Metadata"], tags, catalog, base)

    def _top_marks(self, part: _File, outlines: int | None) -> set[int]:
        """Bookmarks of the first level."""
        found: set[int] = set()
        one = None if outlines is None else part.reference(part.objects[outlines], b"First")
        while one is not None:
            found.add(one)
            one = part.reference(re.sub(_STRING, b"", part.objects[one], flags=re.DOTALL), b"Next")
        return found

    def _moved(self, content: bytes, base: int, parent_base: int, prefix: bytes) -> bytes:
        """An object with references, tag indices and cell names as they are in the joined file."""
        stream = _STREAM.match(content)
        head, rest = (content, b"") if stream is None else (content[: stream.end()], content[stream.end() :])

        def token(match: re.Match[bytes]) -> bytes:
            if match.group(1) is not None:
                return b"%d 0 R" % (base + int(match.group(1)))
            if match.group(2) is not None:
                return b"/%s %d" % (match.group(2), parent_base + int(match.group(3)))
            return match.group()

        head = _TOKEN.sub(token, head)
        if head.startswith(_CELL):
            head = _CELL_ID.sub(lambda m: b"(" + prefix + m.group(1) + b")", head)
        elif head.startswith(b"<</Type/Annot/Subtype/Link"):
            head = _LINK.sub(lambda m: b"/Dest(" + m.group(1) + b")", head)
            head = head.replace(b"/Contents(dest:", b"/Contents(")
        return head + rest

    def _collect(self, part: _File, tags: int, catalog: bytes, base: int, prefix: bytes) -> None:
        """Indices of the portion that the joined file needs: tag parents, cell names, destinations."""
        tree = part.objects[tags]
        numbers = re.search(rb"/Nums\[(.*?)\]", tree, re.DOTALL)
        highest = self._parent_next
        for key, number in re.findall(rb"(\d+) (\d+) 0 R", numbers.group(1) if numbers else b""):
            self._parents.append((self._parent_next + int(key), base + int(number)))
            highest = max(highest, self._parent_next + int(key) + 1)
        self._parent_next = highest
        names = re.search(rb"/IDTree<</Names\[(.*?)\]>>", tree, re.DOTALL)
        for name, number in _PAIR.findall(names.group(1) if names else b""):
            self._ids.append((prefix + name[1:-1], base + int(number)))
        dests = re.search(rb"/Dests<</Names\[(.*?)\]>>", catalog, re.DOTALL)
        for name, number in _PAIR.findall(dests.group(1) if dests else b""):
            self._dests.append((name[1:-1], base + int(number)))

    def _keep_head(self, part: _File, metadata: int | None, tags: int, catalog: bytes, base: int) -> None:
        """What the joined file takes from its first portion: title, language, role map."""
        roles = re.search(rb"/RoleMap<<.*?>>", part.objects[tags])
        self._roles = roles.group() if roles else b""
        self._info = base + part.info
        self._object(self._info, part.objects[part.info])
        if metadata is not None:
            self._metadata = (base + metadata, part.objects[metadata])
        keep = re.sub(rb"/Names<</Dests<<.*?>>>>", b"", catalog, flags=re.DOTALL)
        for key in (b"Pages", b"StructTreeRoot", b"Outlines", b"Metadata"):
            keep = re.sub(rb"/%s \d+ 0 R" % key, b"", keep)
        self._catalog = keep.replace(b"/Suspects false", b"")  # the default, which some readers stumble over

    def finish(self) -> None:
        """Write what holds the portions together; nothing may be added after it."""
        self._object(
            self._pages,
            b"<</Type/Pages/Count %d/Kids[%s]>>" % (self._page_count, _references(self._page_trees)),
        )
        self._object(
            self._body,
            b"<</Type/StructElem/S/Document/P %d 0 R/K[%s]>>" % (self._tags, _references(self._parts)),
        )
        parents = b" ".join(b"%d %d 0 R" % pair for pair in self._parents)
        self._object(
            self._tags,
            b"<</Type/StructTreeRoot%s/K[%d 0 R]/ParentTree<</Nums[%s]>>"
            b"/IDTree<</Names[%s]>>/ParentTreeNextKey %d>>"
            % (self._roles, self._body, parents, _names(self._ids), self._parent_next),
        )
        last = len(self._marks) - 1
        for k, (number, content) in enumerate(self._marks):
            around = b"/Parent %d 0 R" % self._outline
            around += b"/Next %d 0 R" % self._marks[k + 1][0] if k < last else b""
            around += b"/Prev %d 0 R" % self._marks[k - 1][0] if k else b""
            self._object(number, content.replace(b"<<", b"<<" + around, 1))
        if self._marks:
            self._object(
                self._outline,
                b"<</Type/Outlines/First %d 0 R/Last %d 0 R/Count %d>>"
                % (self._marks[0][0], self._marks[-1][0], len(self._marks)),
            )
        root, self._next = self._next, self._next + 1
        links = b"/Pages %d 0 R/StructTreeRoot %d 0 R" % (self._pages, self._tags)
        links += b"/Outlines %d 0 R" % self._outline if self._marks else b""
        links += b"/Names<</Dests<</Names[%s]>>>>" % _names(self._dests) if self._dests else b""
        number, content = self._metadata
        if number:
            self._object(number, self._counted(content))
            links += b"/Metadata %d 0 R" % number
        self._object(root, self._catalog.replace(b"<</Type/Catalog", b"<</Type/Catalog" + links, 1))
        self._table(root)

    def _counted(self, content: bytes) -> bytes:
        """Metadata with the number of pages of the joined file."""
        head, _, rest = content.partition(b"stream\n")
        text = rest[: rest.rfind(b"\nendstream")]
        text = re.sub(
            rb"<xmpTPg:NPages>\d+</xmpTPg:NPages>",
            b"<xmpTPg:NPages>%d</xmpTPg:NPages>" % self._page_count,
            text,
        )
        head = re.sub(rb"/Length \d+", b"/Length %d" % len(text), head)
        return head + b"stream\n" + text + b"\nendstream"

    def _table(self, root: int) -> None:
        """Cross-reference table and trailer; the identifier is a digest of the table."""
        import hashlib

        rows = [b"0000000000 65535 f\r\n"]
        for number in range(1, self._next):
            offset = self._offsets.get(number)
            rows.append(b"0000000000 00000 f\r\n" if offset is None else b"%010d 00000 n\r\n" % offset)
        table = b"xref\n0 %d\n%s" % (self._next, b"".join(rows))
        name = hashlib.sha256(table).hexdigest()[:32].encode()
        start = self._at
        self._put(table)
        self._put(
            b"trailer\n<</Size %d/Root %d 0 R/Info %d 0 R/ID[<%s><%s>]>>\nstartxref\n%d\n%%%%EOF"
            % (self._next, root, self._info, name, name, start)
        )


def _references(numbers: list[int]) -> bytes:
    return b" ".join(b"%d 0 R" % number for number in numbers)


def _names(pairs: list[tuple[bytes, int]]) -> bytes:
    return b"".join(b"(%s)%d 0 R" % pair for pair in sorted(pairs))
