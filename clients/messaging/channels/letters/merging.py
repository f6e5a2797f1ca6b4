"""Pages of another PDF put between those of the batch, with their tags and in their own size.

The tags of the other PDF are hung behind the letter that it goes with: elements, parent tree, names
of table headers and roles (ISO 32000-1, 14.7). What has no tags is taken as it is, and the batch
then no longer says that it is PDF/UA.
"""

import re
from collections.abc import Iterator
from io import BytesIO
from typing import Any

from pypdf import PdfReader, PdfWriter
from pypdf.generic import (
    ArrayObject,
    ByteStringObject,
    DictionaryObject,
    NameObject,
    NullObject,
    NumberObject,
    TextStringObject,
)

UA_MARK = re.compile(rb"""pdfuaid:part(=["']1["']|>\s*1\s*<)""")
OUR_UA_MARK = b'pdfuaid:part="1"'
PARENT_KEYS = {"/StructParent", "/StructParents"}
MAX_TREE_DEPTH = 200  # levels of a tree


class TaggedPdfMerger:
    """A PDF of our own that others are put into."""

    def __init__(self, pdf: bytes) -> None:
        self.writer = PdfWriter(clone_from=PdfReader(BytesIO(pdf)))
        root = self.root
        self.parents: Any = root["/ParentTree"]["/Nums"]
        self.next_parent = int(self.parents[-2]) + 1
        names = list(root.get("/IDTree", {}).get("/Names", []))
        self.headers = list(zip(names[::2], names[1::2], strict=True))
        self.top_elements = child_elements(child_elements(root)[0])
        pages: Any = self.writer.pages
        self.page_of = {page.indirect_reference.idnum: number for number, page in enumerate(pages)}
        self.sources: list[
            PdfReader
        ] = []  # pypdf knows them by their place in memory: they must stay there
        self.empty: dict[bytes, PdfReader] = {}
        self.is_all_tagged = True

    @property
    def root(self) -> Any:
        return self.writer.root_object["/StructTreeRoot"]

    def insert_pdf(self, source: PdfReader, at: int, *, behind: Any) -> Any:
        """All its pages from page `at` on (from 0), its tags behind this element of the tree.
        The last element now."""
        self.sources.append(source)
        pairs = [
            (page, self.writer.insert_page(page, at + place))
            for place, page in enumerate(source.pages)
        ]
        root = source.root_object.get("/StructTreeRoot")
        if root is None or not source.root_object.get("/MarkInfo", {}).get("/Marked"):
            self.is_all_tagged = False
            remove_parent_keys(pairs)
            return behind
        self.is_all_tagged = self.is_all_tagged and claims_pdf_ua(source)
        language = str(source.root_object.get("/Lang", ""))
        return self.graft(root.get_object(), pairs, behind, language)

    def insert_empty_side(self, pdf: bytes, at: int) -> None:
        """An empty side; what is printed on it is an artifact and has no tags."""
        if pdf not in self.empty:
            self.empty[pdf] = PdfReader(BytesIO(pdf))
        self.writer.insert_page(self.empty[pdf].pages[0], at)

    def last_element_on(self, pages: range) -> Any:
        """The last element that begins on one of these pages of the batch as it was before anything
        was put in."""
        tops = [
            each for each in self.top_elements if self.page_of[each.raw_get("/Pg").idnum] in pages
        ]
        return tops[-1]

    def graft(self, root: Any, pairs: list[Any], behind: Any, language: str) -> Any:
        theirs = root.clone(self.writer, ignore_fields=["/IDTree"])
        start = self.next_parent
        for number, row in sorted(
            number_tree_leaves(theirs.get("/ParentTree", DictionaryObject()))
        ):
            self.parents.extend([NumberObject(start + number), row])
            self.next_parent = max(self.next_parent, start + number + 1)
        shift_parent_keys(pairs, start)
        roles = self.root.setdefault(NameObject("/RoleMap"), DictionaryObject())
        roles.update(
            {key: each for key, each in theirs.get("/RoleMap", {}).items() if key not in roles}
        )
        elements = child_elements(theirs)
        self.attach_elements(elements, behind, language)
        return elements[-1] if elements else behind

    def attach_elements(self, elements: list[Any], behind: Any, language: str) -> None:
        """Next to `behind`, in its parent, in their order."""
        parent = behind["/P"]
        siblings = parent["/K"]
        place = siblings.index(behind.indirect_reference) + 1
        for number, element in enumerate(elements):
            element[NameObject("/P")] = parent.indirect_reference
            if language and "/Lang" not in element:
                element[NameObject("/Lang")] = TextStringObject(language)
            siblings.insert(place + number, element.indirect_reference)
            self.rename_headers(element)

    def rename_headers(self, element: Any, depth: int = 0) -> None:
        """Names of table headers are told apart by the number of the PDF they came with."""
        if depth > MAX_TREE_DEPTH:
            raise ValueError("Its tags are too deep.")
        if "/ID" in element:
            element[NameObject("/ID")] = self.unique_name(element["/ID"])
            self.headers.append((element["/ID"], element.indirect_reference))
        for each in attribute_dicts(element):
            if "/Headers" in each:
                each[NameObject("/Headers")] = ArrayObject(
                    self.unique_name(name) for name in each["/Headers"]
                )
        for kid in child_elements(element):
            self.rename_headers(kid, depth + 1)

    def unique_name(self, name: Any) -> ByteStringObject:
        return ByteStringObject(f"{len(self.sources)}/".encode() + name_bytes(name))

    def to_bytes(self) -> bytes:
        names = [
            part
            for pair in sorted(self.headers, key=lambda pair: name_bytes(pair[0]))
            for part in pair
        ]
        self.root[NameObject("/IDTree")] = DictionaryObject(
            {NameObject("/Names"): ArrayObject(names)}
        )
        self.root[NameObject("/ParentTreeNextKey")] = NumberObject(self.next_parent)
        if not self.is_all_tagged:
            metadata: Any = self.writer.root_object["/Metadata"].get_object()
            metadata.set_data(metadata.get_data().replace(OUR_UA_MARK, b""))
        target = BytesIO()
        self.writer.write(target)
        return target.getvalue()


def claims_pdf_ua(source: PdfReader) -> bool:
    metadata: Any = source.root_object.get("/Metadata")
    return metadata is not None and bool(UA_MARK.search(metadata.get_object().get_data()))


def number_tree_leaves(tree: Any, depth: int = 0) -> Iterator[tuple[int, Any]]:
    """The leaves of a number tree (ISO 32000-1, 7.9.7)."""
    if depth > MAX_TREE_DEPTH:
        raise ValueError("Its tree of numbers is too deep.")
    tree = tree.get_object()
    rows = tree.get("/Nums", ArrayObject()).get_object()
    yield from ((int(number), row) for number, row in zip(rows[::2], rows[1::2], strict=True))
    for kid in tree.get("/Kids", ArrayObject()).get_object():
        yield from number_tree_leaves(kid, depth + 1)


def child_elements(element: Any) -> list[Any]:
    """The elements right below; content and annotations are left out."""
    below = element.get("/K", NullObject()).get_object()
    rows = [each.get_object() for each in (below if isinstance(below, list) else [below])]
    return [each for each in rows if isinstance(each, DictionaryObject) and "/S" in each]


def attribute_dicts(element: Any) -> list[Any]:
    found = element.get("/A", NullObject()).get_object()
    rows = [each.get_object() for each in (found if isinstance(found, list) else [found])]
    return [each for each in rows if isinstance(each, DictionaryObject)]


def shift_parent_keys(pairs: list[Any], start: int) -> None:
    """Pages, annotations, pictures and forms look their elements up under new numbers."""
    for old, new in pairs:
        if "/StructParents" in old:
            new[NameObject("/StructParents")] = NumberObject(start + int(old["/StructParents"]))
    for each in parent_keyed_objects(pairs):
        for key in PARENT_KEYS & set(each):
            each[NameObject(key)] = NumberObject(start + int(each[key]))


def remove_parent_keys(pairs: list[Any]) -> None:
    """Without tags of its own nothing may look into the tree of the batch."""
    for each in parent_keyed_objects(pairs):
        for key in PARENT_KEYS:
            each.pop(key, None)


def parent_keyed_objects(pairs: list[Any]) -> list[Any]:
    """Annotations and what is drawn from resources, each once: pages share them."""
    found: dict[int, Any] = {}
    for _, page in pairs:
        notes = page.get("/Annots", ArrayObject()).get_object()
        drawn = (
            page.get("/Resources", DictionaryObject())
            .get_object()
            .get("/XObject", DictionaryObject())
            .get_object()
        )
        found |= {id(each.get_object()): each.get_object() for each in [*notes, *drawn.values()]}
    return list(found.values())


def name_bytes(name: Any) -> bytes:
    return name if isinstance(name, bytes) else name.original_bytes
