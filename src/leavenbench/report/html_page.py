"""A page that needs nothing beside it, as an element tree, which escapes whatever a table may hold."""

from __future__ import annotations

from xml.etree.ElementTree import Element, SubElement, tostring


def new_page(title: str, look: str) -> tuple[Element, Element]:
    """Return a page in a look (CSS), and its body."""
    page = Element("html", {"lang": "en"})
    head, body = SubElement(page, "head"), SubElement(page, "body")
    SubElement(head, "meta", {"charset": "utf-8"})
    SubElement(head, "meta", {"name": "viewport", "content": "width=device-width"})
    add(head, "title", title)
    add(head, "style", look)
    return page, body


def add(parent: Element, kind: str, text: object = "", **attributes: str) -> Element:
    """Add an element with a text; ``class_`` stands for class, ``aria_label`` for aria-label."""
    written = {name.rstrip("_").replace("_", "-"): value for name, value in attributes.items()}
    made = SubElement(parent, kind, written)
    made.text = str(text)
    return made


def page_bytes(page: Element) -> bytes:
    """Return a page as it is written to a file."""
    return b"<!DOCTYPE html>\n" + tostring(page, encoding="utf-8", method="html") + b"\n"
