"""The marks: verdict, decision, gate, record strip; each an inline SVG that never stands without its word."""

from collections.abc import Iterable

from django import template
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe

register = template.Library()

WORDS = {
    "met": "met",
    "not_met": "not met",
    "not_shown": "not shown",
    "waived": "waived",
    "refused": "refused",
    "release": "release",
    "release_with_waiver": "release with waiver",
    "release_with_refusal": "release with refusal",
    "hold": "hold",
    "left_against_hold": "left against hold",
    "none": "not judged yet",
}
# Drawn on 28 x 24 units: a tall plate and a lower one beside it, with a joint between.
_OUTLINE = 'fill="none" stroke="currentColor"'
_DASHED = f'{_OUTLINE} stroke-width="2.6" stroke-dashoffset="1"'
_SOLID = 'fill="currentColor"'
_MARKS = {
    "met": f'<path d="M2 1.5h10v21H2zM15.5 6h10.5v12.5H15.5z" {_OUTLINE} stroke-width="2"/>'
    '<path d="M-.5 15.2 28.5 9" stroke="currentColor" stroke-width="4.8"/>',
    "not_met": f'<path d="M.5 0h12v22H.5zM15 10.5h13V24H15z" {_SOLID}/>'
    '<path d="M-.5 10.2 12.8 7.3M14.8 19.4 28.5 16.4" stroke="var(--k)" stroke-width="3.2"/>',
    "not_shown": f'<path d="M2 1.5h10v21H2z" {_DASHED} stroke-dasharray="3.8 2.5"/>'
    f'<path d="M15.5 6h10.5v12.5H15.5z" {_DASHED} stroke-dasharray="3.6 2.3"/>',
    "waived": f'<path d="M3 22V6h22v16" {_OUTLINE} stroke-width="3.4"/>',
    "refused": f'<path d="M0 6h12a6 6 0 0 1 0 12H4M24.5 1v22" {_OUTLINE} stroke-width="3.4"/>',
}
_POSTS = f'<path d="M7 2v20M37 2v20" {_OUTLINE} stroke-width="4"/>'
# Drawn on 44 x 24 units: two posts at 7 and 37, and what the line does between them.
_GATES = {
    "release": f'{_POSTS}<path d="M-1 14.4 45 9.6" {_OUTLINE} stroke-width="4.8"/>',
    "release_with_waiver": f'{_POSTS}<path d="M-1 13H15M29 13H45" {_OUTLINE} stroke-width="4.4"/>'
    f'<path d="M15 17V5h14v12" {_OUTLINE} stroke-width="3"/>',
    "release_with_refusal": f'{_POSTS}<path d="M-1 8h19a4.5 4.5 0 0 1 0 9h-5M29 13H45" {_OUTLINE} '
    'stroke-width="4"/>',
    "hold": f'{_POSTS}<path d="M11 5h22v14H11z" {_SOLID}/><path d="M-1 12H7" {_OUTLINE} stroke-width="4.4"/>',
    "left_against_hold": f'<path d="M7 0v15M37 0v15" {_OUTLINE} stroke-width="4"/>'
    f'<path d="M11 2h22v10H11z" {_SOLID}/>'
    f'<path d="M-1 19.5H38" {_OUTLINE} stroke-width="3.6"/><path d="M36 14.5 45 19.5 36 24.5z" {_SOLID}/>',
    "none": f'<path d="M7 2v20M37 2v20" {_OUTLINE} stroke-width="4" stroke-dasharray="3.8 2.5"/>',
}


def _svg(css: str, box: str, drawing: str) -> SafeString:
    # The drawings are constants of this module; nothing that a user typed reaches them.
    safe = mark_safe(drawing)  # noqa: S308
    return format_html('<svg class="{}" viewBox="{}" aria-hidden="true">{}</svg>', css, box, safe)


@register.simple_tag
def mark(verdict: str, size: str = "") -> SafeString:
    """The drawing alone, in the colour of its surroundings; the word must stand beside it."""
    return _svg(f"mark {size}".strip(), "0 0 28 24", _MARKS[verdict])


@register.simple_tag
def verdict(value: str, style: str = "") -> SafeString:
    """Mark and word together; ``style`` chip adds the box."""
    return format_html('<span class="verdict {} {}">{}{}</span>', value, style, mark(value), WORDS[value])


@register.simple_tag
def gate_mark(disposition: str) -> SafeString:
    return _svg("gate-mark", "-1 0 46 24", _GATES[disposition])


@register.simple_tag
def gate(disposition: str) -> SafeString:
    """Gate mark and its word."""
    return format_html(
        '<span class="verdict {}">{}{}</span>', disposition, gate_mark(disposition), WORDS[disposition]
    )


@register.filter
def word(code: str) -> str:
    """The word a person reads for a verdict or gate code."""
    return WORDS[code]


@register.simple_tag
def strip(verdicts: Iterable[str]) -> SafeString:
    """The record strip: one cell per requirement, the line running on where it is met; counts in words."""
    cells = list(verdicts)
    counted = [(words, cells.count(code)) for code, words in _STRIP_WORDS if code in cells]
    words = ", ".join(f"{count} {name}" for name, count in counted) or "nothing judged"
    drawn = format_html_join("", "{}", ((_cell(place, value),) for place, value in enumerate(cells)))
    return format_html(
        '<svg class="strip" role="img" aria-label="{}" width="{}" height="22" viewBox="0 0 {} 22">{}</svg>',
        words,
        max(13, 13 * len(cells)),
        max(13, 13 * len(cells)),
        drawn,
    )


_STRIP_WORDS = (
    ("met", "met"),
    ("not_met", "not met"),
    ("not_shown", "not shown"),
    ("waived", "open and waived"),
    ("refused", "not met and refused"),
)


def _cell(place: int, value: str) -> SafeString:
    x = place * 13
    drawings = {
        "met": f'<g class="met"><path d="M{x + 1} 2h10v18h-10z" {_OUTLINE} stroke-opacity=".55"/>'
        f'<path d="M{x - 0.5} 11h13.5" {_OUTLINE} stroke-width="3.4"/></g>',
        "not_met": f'<g class="not_met"><path d="M{x + 0.5} 0h11v22h-11z" {_SOLID}/>'
        f'<path d="M{x} 8h6M{x + 6} 14h6" stroke="var(--surface)" stroke-width="2.4"/></g>',
        "not_shown": f'<g class="not_shown"><path d="M{x + 1} 2h10v18h-10z" {_OUTLINE} stroke-width="1.6" '
        'stroke-dasharray="3 2"/></g>',
        "waived": f'<g class="not_shown"><path d="M{x + 1} 2h10v18h-10z" {_OUTLINE} stroke-width="1.6" '
        f'stroke-dasharray="3 2"/></g><g class="waived"><path d="M{x + 3} 18V6h6v12" {_OUTLINE} '
        'stroke-width="2.4"/></g>',
        "refused": f'<g class="not_met"><path d="M{x + 1} 2h10v18h-10z" {_OUTLINE} stroke-width="1.6"/></g>'
        f'<g class="refused"><path d="M{x} 8h5a3 3 0 0 1 0 6h-3M{x + 10} 5v12" {_OUTLINE} '
        'stroke-width="2.2"/></g>',
    }
    return mark_safe(drawings[value])  # noqa: S308
