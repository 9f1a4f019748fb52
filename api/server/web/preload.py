"""Names the modules of the page in its head, so that the browser asks for all at once and not level by level."""

from __future__ import annotations

import re
from collections.abc import Mapping

_IMPORT = re.compile(r"""^(?:import|export)\s(?:[^"';]*\sfrom\s)?\s*["']\./([^"']+)["']""", re.MULTILINE)
_ENTRY = re.compile(rb'<script type="module" src="/page/([^"]+)"></script>')


def modules_of(entry: str, texts: Mapping[str, str]) -> list[str]:
    """List the modules that a module needs, itself first, then by how far they are from it.

    Args:
        entry: Name of the module that the page starts.
        texts: Text of each module by its name.
    """
    found = [entry]
    for name in found:  # grows meanwhile
        found += [one for one in dict.fromkeys(_IMPORT.findall(texts[name])) if one not in found]
    return found


def with_preloads(page: bytes, texts: Mapping[str, str]) -> bytes:
    """Put a link for each module before the script of a page that starts them; a page without one stays as it is.

    Args:
        page: The HTML.
        texts: Text of each module by its name.
    """
    entry = _ENTRY.search(page)
    if entry is None:
        return page
    names = modules_of(entry[1].decode(), texts)[1:]
    links = "".join(f'<link rel="modulepreload" href="/page/{name}">\n' for name in names)
    return page[: entry.start()] + links.encode() + page[entry.start() :]
