"""Texts that no page could show. What is a title, a name or a word over the staff is measured,
broken into lines and engraved in many places, none of which is made for megabytes: such texts are
cut where the tree is read, once, and that is said. The file's own bytes stay as they are."""

from __future__ import annotations

from lxml import etree

MOST = 2_000  # letters of one text: half a page of print; judgement
_PIECES = (b"<!--", b"<?", b"<![")  # what may divide a long text in the bytes
_MANY = 100


def cut_long_texts(root: etree._Element, data: bytes) -> str:
    """Cut every text and value of the tree over `data` that is too long. What is to be said of it;
    "" where none was."""
    if not _may_have(data):
        return ""
    cut: list[str] = []

    def shortened(element: etree._Element, text: str) -> str:
        cut.append(f"<{etree.QName(element).localname}> of {len(text):,}")
        return f"{text[: MOST - 1]}\u2026"

    for element in root.iter("*"):
        if element.text is not None and _is_long(element.text):
            element.text = shortened(element, element.text)
        if element.tail is not None and _is_long(element.tail):
            element.tail = shortened(element, element.tail)
        for key, value in element.items():
            if _is_long(str(value)):
                element.set(key, shortened(element, str(value)))
    if not cut:
        return ""
    more = f" and {len(cut) - 1} more" if len(cut) > 1 else ""
    return f"a text in {cut[0]} letters{more}: read as the first {MOST:,} letters"


def _may_have(data: bytes) -> bool:
    """False where surely no text is so long: a tag begins in any so many bytes."""
    at = 0
    while at + MOST < len(data):
        tag = data.rfind(b"<", at, at + MOST)
        if tag < at:
            return True
        at = tag + 1
    return sum(map(data.count, _PIECES)) > _MANY


def _is_long(text: str) -> bool:
    """Blanks and figures apart: what a number may be is said where numbers are read."""
    return len(text) > MOST and not text.isspace() and not text.isdigit()
