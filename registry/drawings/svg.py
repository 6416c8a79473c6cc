"""Elements of SVG as text, every word and value escaped; knows no drawing."""

from __future__ import annotations

import re
from html import escape

_NOT_IN_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""Control characters and lone surrogates, which no XML text may hold."""


def words(text: object) -> str:
    """Text that may stand between tags or in an attribute."""
    return escape(_NOT_IN_XML.sub("\ufffd", str(text)), quote=True)


def number(value: float) -> str:
    """A coordinate, to a tenth of a unit, without a needless nought."""
    return f"{value:.1f}".removesuffix(".0")


def element(name: str, /, *content: str, **attributes: object) -> str:
    """One element. `content` is markup; attributes are escaped, None leaves one out, `_` stands for `-`.

    A trailing `_` avoids a word of Python (`class_`).
    """
    written = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{number(value) if isinstance(value, float) else words(value)}"'
        for key, value in attributes.items()
        if value is not None
    )
    return f"<{name}{written}>{''.join(content)}</{name}>" if content else f"<{name}{written}/>"


def picture(
    name: str, title: str, description: str, size: tuple[float, float], *content: str, class_: str
) -> str:
    """A whole picture, named and told for those who do not see it; `name` must be its own within the page."""
    width, height = size
    return element(
        "svg",
        element("title", words(title), id=f"{name}-title"),
        element("desc", words(description), id=f"{name}-description"),
        *content,
        xmlns="http://www.w3.org/2000/svg",
        class_=class_,
        role="img",
        aria_labelledby=f"{name}-title {name}-description",
        viewBox=f"0 0 {number(width)} {number(height)}",
        width=width,
        height=height,
    )
