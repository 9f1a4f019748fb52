"""A report parsed again: what a test asks for is there exactly, or the test fails with the selector."""

from __future__ import annotations

from bs4 import BeautifulSoup, Tag


def parse(page: bytes) -> BeautifulSoup:
    """Give the report as a tree."""
    return BeautifulSoup(page, "html.parser")


def one(tree: Tag, selector: str) -> Tag:
    """Give the first element of a selector."""
    found = tree.select_one(selector)
    assert found is not None, f"nothing matches {selector}"
    return found


def attr(tag: Tag, name: str) -> str:
    """Give an attribute as text."""
    found = tag.get(name)
    assert found is not None, f"<{tag.name}> has no {name}"
    return " ".join(found) if isinstance(found, list) else str(found)


def text(tag: Tag) -> str:
    """Give the text with every run of space as one."""
    return " ".join(tag.get_text(" ").split())


def section(tree: Tag, heading: str) -> Tag:
    """Give the section of a heading, by the heading's id."""
    found = one(tree, f"h2#{heading}").find_parent("section")
    assert isinstance(found, Tag)
    return found


def row_of(tree: Tag, record_id: str) -> Tag:
    """Give the row of a record."""
    return one(tree, f'tr[data-record="{record_id}"]')


def summaries(tree: Tag) -> dict[str, str]:
    """Give the rows of the summary by axis."""
    return {one(row, "th").get_text(): text(row) for row in tree.select("table.summary tbody tr")}


def style(tree: Tag) -> str:
    """Give the style sheet."""
    return str(one(tree, "style").string)
