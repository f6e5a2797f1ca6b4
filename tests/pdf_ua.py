"""What a machine can check of ISO 14289-1 (PDF/UA-1) with pypdf.
It is no checker of the whole standard.

Each fault begins with the failure condition of the Matterhorn Protocol 1.1 (PDF Association) or the
clause of ISO 14289-1 that it is about. The numbers and their meaning are from memory.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from io import BytesIO
from typing import Any

from pypdf import PdfReader
from pypdf.generic import ContentStream, DictionaryObject

# ISO 32000-1, 14.8.4: the standard structure types (those that HTML can become)
STANDARD = set(
    "/Document /Part /Art /Sect /Div /BlockQuote /Caption /NonStruct /P /H1 /H2 /H3 /H4 /H5 /H6 /L"
    " /LI /Lbl /LBody /Table /TR /TH /TD /THead /TBody /TFoot /Span /Link /Figure /Form".split()
)
MAY_HOLD = {  # 09-004, 09-005: ISO 32000-1, tables 336 and 337; NonStruct passes on
    "/L": {"/LI", "/Caption", "/L"},
    "/LI": {"/Lbl", "/LBody"},
    "/TR": {"/TH", "/TD"},
    "/THead": {"/TR"},
    "/TBody": {"/TR"},
    "/TFoot": {"/TR"},
    "/Table": {"/TR", "/THead", "/TBody", "/TFoot", "/Caption"},
}
PAINTS = {
    b"S",
    b"s",
    b"f",
    b"F",
    b"f*",
    b"B",
    b"B*",
    b"b",
    b"b*",
    b"Tj",
    b"TJ",
    b"'",
    b'"',
    b"Do",
    b"sh",
    b"INLINE IMAGE",
}


@dataclass
class Element:
    """One element of the structure tree."""

    node: Any
    above: tuple[str, ...]
    language: str
    below: list[str] = field(default_factory=list)

    @property
    def kind(self) -> str:
        return str(self.node["/S"])


class Papers:
    """A PDF with its structure tree read once."""

    def __init__(self, pdf: bytes) -> None:
        self.reader = PdfReader(BytesIO(pdf), strict=True)
        self.root: Any = self.reader.root_object
        self.pages: list[Any] = list(self.reader.pages)
        self.number = {
            page.indirect_reference.idnum: place for place, page in enumerate(self.pages)
        }
        self.elements: list[Element] = []
        self.said: set[tuple[int, int]] = set()  # page and marked content that the tree names
        self.annotations: dict[int, str] = {}  # object → kind of the element that holds it
        tree = self.root.get("/StructTreeRoot")
        for kid in as_list(tree.get("/K") if tree else None):
            self.read(kid.get_object(), (), str(self.root.get("/Lang", "")), -1)

    def read(self, node: Any, above: tuple[str, ...], language: str, page: int) -> None:
        page = self.number[node.raw_get("/Pg").idnum] if "/Pg" in node else page
        language = str(node.get("/Lang", language))
        element = Element(node, above, language)
        self.elements.append(element)
        for kid in as_list(node.get("/K")):
            each = kid.get_object()
            if isinstance(each, int):
                self.said.add((page, each))
            elif each.get("/Type") == "/OBJR":
                self.annotations[each.raw_get("/Obj").idnum] = element.kind
            elif "/S" in each:
                element.below.append(str(each["/S"]))
                self.read(each, (*above, element.kind), language, page)

    def kinds(self) -> list[str]:
        return [element.kind for element in self.elements]

    def of_kind(self, *kinds: str) -> list[Element]:
        return [element for element in self.elements if element.kind in kinds]


def as_list(value: Any) -> list[Any]:
    value = value.get_object() if value is not None else []
    return value if isinstance(value, list) else [value]


def faults(pdf: bytes) -> list[str]:
    """Everything found, in order; empty if nothing was."""
    papers = Papers(pdf)
    checks = (document, tree, figures, headings, tables, contents, annotations, fonts)
    return [fault for check in checks for fault in check(papers)]


def document(papers: Papers) -> Iterator[str]:
    root = papers.root
    metadata = root["/Metadata"].get_data().decode() if "/Metadata" in root else ""
    title = papers.reader.metadata.title if papers.reader.metadata else ""
    wanted = {
        "06-001 no XMP metadata": metadata,
        "06-002 no PDF/UA identifier in it": 'pdfuaid:part="1"' in metadata,
        "06-003 no dc:title in it": "<dc:title>" in metadata and title,
        "07-001/002 the title is not displayed": bool(
            root.get("/ViewerPreferences", {}).get("/DisplayDocTitle")
        ),
        "7.1 not marked as tagged": bool(root.get("/MarkInfo", {}).get("/Marked")),
        "01-007 its tags are suspects": not root.get("/MarkInfo", {}).get("/Suspects"),
        "7.1 no structure tree": papers.elements,
        "11-006 no language": root.get("/Lang"),
        "26-001 encrypted": not papers.reader.is_encrypted,
        "25-001 dynamic forms": "/XFA" not in root.get("/AcroForm", {}),
    }
    yield from (fault for fault, is_right in wanted.items() if not is_right)


def tree(papers: Papers) -> Iterator[str]:
    roles = papers.root["/StructTreeRoot"].get("/RoleMap", {})
    for element in papers.elements:
        if element.kind not in STANDARD and element.kind not in roles:
            yield f"02-001 {element.kind} is not a standard type"
        if wrong := set(element.below) - MAY_HOLD.get(element.kind, STANDARD) - {"/NonStruct"}:
            yield f"09-004/005 {element.kind} holds {sorted(wrong)}"
        if not element.language:
            yield f"11-001 no language for {element.kind}"
        if "/P" in element.above and element.kind == "/P":
            yield "09-001 a paragraph in a paragraph"


def figures(papers: Papers) -> Iterator[str]:
    for element in papers.of_kind("/Figure"):
        if not element.node.get("/Alt") and not element.node.get("/ActualText"):
            yield "13-004 a figure without words"
        box = element.node["/A"]["/BBox"]
        page = element.node["/Pg"]["/MediaBox"]
        if not (page[0] <= box[0] < box[2] <= page[2] and page[1] <= box[1] < box[3] <= page[3]):
            yield f"ISO 32000-1, 14.8.5.4.3: a figure beside the page, {box}"


def headings(papers: Papers) -> Iterator[str]:
    last = 0
    for element in papers.of_kind(*(f"/H{level}" for level in range(1, 7))):
        level = int(element.kind[2:])
        if not last and level != 1:
            yield f"14-002 the first heading is {element.kind}"
        if level > last + 1:
            yield f"14-003 {element.kind} follows H{last}"
        last = level


def tables(papers: Papers) -> Iterator[str]:
    names = [element.node["/ID"] for element in papers.elements if "/ID" in element.node]
    listed = papers.root["/StructTreeRoot"].get("/IDTree", {}).get("/Names", [])
    if sorted(names) != sorted(listed[::2]) or len(set(names)) != len(names):
        yield "14.7.2 of ISO 32000-1: names of elements clash or are not in the tree of names"
    for element in papers.of_kind("/TH"):
        if element.node["/A"].get("/Scope") not in {"/Row", "/Column"}:
            yield "15-003 a header without scope"
    for element in papers.of_kind("/TD"):
        if not set(element.node["/A"].get("/Headers", [])) <= set(names):
            yield "15-003 a cell with a header that is not there"
    for element in papers.of_kind("/Table"):
        if "/THead" in element.below and "/TBody" not in element.below:
            yield "15-002 a table of headers alone"


def contents(papers: Papers) -> Iterator[str]:
    """All that is painted is an artifact or tagged, and the tree names exactly what is tagged."""
    drawn: set[tuple[int, int]] = set()
    for number, page in enumerate(papers.pages):
        found, wrong = marked(page, papers.reader)
        drawn |= {(number, each) for each in found}
        yield from (f"{fault} on page {number + 1}" for fault in wrong)
    if loose := drawn - papers.said:
        yield f"01-005 tagged and in no tree: {sorted(loose)[:3]}"
    if gone := papers.said - drawn:
        yield f"ISO 32000-1, 14.7.4: in the tree and nowhere drawn: {sorted(gone)[:3]}"
    yield from looked_up(papers, drawn)


def marked(page: Any, reader: PdfReader) -> tuple[list[int], list[str]]:
    """Numbers of marked content of a page, and what is wrong with it."""
    stack: list[int | str] = []
    found = []
    wrong = []
    for operands, operator in ContentStream(page["/Contents"], reader).operations:
        if operator in {b"BDC", b"BMC"}:
            number = operands[1].get("/MCID") if len(operands) > 1 else None
            stack.append(
                "artifact" if operands[0] == "/Artifact" else -1 if number is None else int(number)
            )
            found += [number] if number is not None else []
            if "artifact" in stack and {*stack} - {"artifact", -1}:
                wrong.append("01-003/004 an artifact in tagged content, or the other way round")
        elif operator == b"EMC":
            stack.pop()
        elif operator in PAINTS and not any(
            each == "artifact" or (isinstance(each, int) and each >= 0) for each in stack
        ):
            wrong.append(f"01-005 {operator.decode()} is neither an artifact nor tagged")
    return found, wrong


def looked_up(papers: Papers, drawn: set[tuple[int, int]]) -> Iterator[str]:
    """The parent tree leads from what is drawn to the element that holds it (ISO 32000-1,
    14.7.4.4)."""
    rows = papers.root["/StructTreeRoot"]["/ParentTree"]["/Nums"]
    parents = {int(key): row.get_object() for key, row in zip(rows[::2], rows[1::2], strict=True)}
    if len(parents) * 2 != len(rows):
        yield "ISO 32000-1, 7.9.7: a number stands twice in the parent tree"
    for number, content in sorted(drawn):
        row = parents.get(papers.pages[number].get("/StructParents", -1), [])
        element = row[content].get_object() if content < len(row) else None
        if not isinstance(element, DictionaryObject) or content not in as_list(element.get("/K")):
            yield f"ISO 32000-1, 14.7.4.4: page {number + 1} leads to another element"
            return


def annotations(papers: Papers) -> Iterator[str]:
    for number, page in enumerate(papers.pages, 1):
        notes = page.get("/Annots", [])
        if notes and page.get("/Tabs") != "/S":
            yield f"28-008/009 no tab order by structure on page {number}"
        for note in notes:
            held_by = papers.annotations.get(note.idnum)
            if note["/Subtype"] == "/Link" and held_by != "/Link":
                yield f"28-011 a link outside the tag of a link on page {number}"
            if not note.get_object().get("/Contents"):
                yield f"28-004/012 a link without words on page {number}"


def fonts(papers: Papers) -> Iterator[str]:
    for number, page in enumerate(papers.pages, 1):
        for font in page.get("/Resources", {}).get("/Font", {}).values():
            inner = font.get_object().get("/DescendantFonts", [font])[0].get_object()
            if not {"/FontFile", "/FontFile2", "/FontFile3"} & set(
                inner.get("/FontDescriptor", {})
            ):
                yield f"31-009 {font['/BaseFont']} is not embedded on page {number}"
            if "/ToUnicode" not in font:
                yield f"31-027 {font['/BaseFont']} cannot be read back on page {number}"
