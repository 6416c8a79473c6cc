"""Pictures in templates: marks beside words, and SVG text that `drawings` has made; nothing else is let through."""

from __future__ import annotations

from django import template
from django.templatetags.static import static
from django.utils.safestring import SafeString, mark_safe

from registry.drawings import marks

register = template.Library()


@register.simple_tag
def mark(name: str) -> SafeString:
    """A mark of `drawings.marks` by its name; it never stands without its word."""
    return mark_safe(marks.mark(name, static("registry/marks.svg")))


@register.simple_tag
def drawn(picture: str) -> SafeString:
    """A picture as `drawings` returns it, in which every word is escaped already."""
    return mark_safe(picture)
