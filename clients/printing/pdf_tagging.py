"""The tags of our PDFs, put in order just before WeasyPrint writes them:
what it leaves open of ISO 14289-1 (PDF/UA-1).

Checkpoints are those of the Matterhorn Protocol 1.1 (numbers from memory); docs/server.md says
what stays open.
"""

from collections.abc import Iterator, Mapping
from typing import Any

import pydyf

POINTS_PER_PIXEL = 0.75  # of a CSS pixel


def finish_tags(document: Any, pdf: Any) -> None:
    """WeasyPrint's `finisher`; the document itself is not needed."""
    objects = {each.reference: each for each in pdf.objects}
    root = objects[pdf.catalog["StructTreeRoot"]]
    elements = list(walk_structure(objects, objects[root["K"][0]]))
    mark_artifacts(objects, pdf, root, {element.reference for element, _ in elements})
    for element, above in elements:
        repair_element(element, above)
        if element["S"] == "/Figure":
            convert_figure_box(element, objects[element["Pg"]]["MediaBox"][3])
    build_id_tree(root, [element for element, _ in elements])


# What `render` and `write_pdf` are given.
TAGGED: dict[str, Any] = {"pdf_variant": "pdf/ua-1", "custom_metadata": False}
PDF_OPTIONS: dict[str, Any] = {**TAGGED, "finisher": finish_tags}


def walk_structure(
    objects: Mapping[bytes, Any], element: Any, above: tuple[str, ...] = ()
) -> Iterator[tuple[Any, tuple[str, ...]]]:
    """Each element below with the kinds above it, in reading order."""
    kind = element.get("S")
    if kind is None:
        return
    yield element, above
    for kid in element["K"]:
        if not isinstance(kid, int):
            yield from walk_structure(objects, objects[kid], (*above, kind))


def repair_element(element: Any, above: tuple[str, ...]) -> None:
    if element["S"] == "/TH":  # 15-003: a header says whose it is
        element["A"]["Scope"] = "/Column" if "/THead" in above else "/Row"
    if element["S"] == "/P" and "/P" in above:  # a line of a paragraph is no paragraph in it
        element["S"] = "/Span"


def convert_figure_box(figure: Any, page_height: float) -> None:
    """WeasyPrint gives its corners in CSS pixels from the top;
    the standard wants points from the bottom."""
    left, top, right, bottom = (side * POINTS_PER_PIXEL for side in figure["A"]["BBox"])
    figure["A"]["BBox"] = pydyf.Array([left, page_height - bottom, right, page_height - top])


def mark_artifacts(objects: Mapping[bytes, Any], pdf: Any, root: Any, linked: set[bytes]) -> None:
    """Page numbers and marks in the margin are tagged, and belong to no tree:
    they become artifacts (01-005)."""
    parents = objects[root["ParentTree"]]["Nums"]
    for page, kids in zip(
        pdf.page_references, parents[1::2], strict=False
    ):  # behind the pages come annotations
        loose = {number for number, reference in enumerate(kids) if reference not in linked}
        for number in loose:
            kids[number] = "null"
        content = objects[objects[page]["Contents"]].stream
        for place, each in enumerate(content):
            if isinstance(each, dict) and each.get("MCID") in loose:
                content[place - 1 : place + 1] = [
                    "/Artifact",
                    pydyf.Dictionary({"Type": "/Pagination"}),
                ]


def build_id_tree(root: Any, elements: list[Any]) -> None:
    """The tree that finds a header by its name (ISO 32000-1, 14.7.2)."""
    named = sorted((each["ID"].string, each) for each in elements if "ID" in each)
    if named:
        pairs = [part for _, each in named for part in (each["ID"], each.reference)]
        root["IDTree"] = pydyf.Dictionary({"Names": pydyf.Array(pairs)})
