"""What templates draw: marks beside words, SVG text that `drawings` has made, and codes that no line may break."""

from __future__ import annotations

import re

from django import template
from django.templatetags.static import static
from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe

from registry.drawings import marks

register = template.Library()

_CODE = re.compile(r"(?<![\w-])\w{1,12}(?:-\w{1,12})*-\w*\d\w*", re.ASCII)
"""A code with a hyphen and a number, such as `p-101`, at which a line would break."""


@register.simple_tag
def mark(name: str) -> SafeString:
    """A mark of `drawings.marks` by its name; it never stands without its word."""
    return mark_safe(marks.mark(name, static("registry/marks.svg")))


@register.simple_tag
def drawn(picture: str) -> SafeString:
    """A picture as `drawings` returns it, in which every word is escaped already."""
    return mark_safe(picture)


@register.filter
def unbroken(text: object) -> SafeString:
    """The text, escaped, its codes of staff and devices each kept in one line."""
    return mark_safe(_CODE.sub(r'<span class="kept-whole">\g<0></span>', str(escape(text))))
