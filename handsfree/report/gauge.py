"""A value and its limit in, a small drawing of where the value lies out (SVG, no script, nothing to fetch).

The drawing repeats what the words beside it say, so it is hidden from screen readers.
"""

from __future__ import annotations

from decimal import Decimal, InvalidOperation

from markupsafe import Markup

from handsfree.record.visit import Judgement

WIDTH, HEIGHT = 132.0, 22.0
_EDGE = 6.0


def draw_gauge(judgement: Judgement) -> Markup:
    """The band of the limit with the value's mark on it; empty when the limit or the value is no number."""
    try:
        value = Decimal(judgement.value)
        low = _bound(judgement, "low")
        high = _bound(judgement, "high")
    except InvalidOperation:
        return Markup("")
    span = _span(value, low, high)
    if span is None:
        return Markup("")
    left, right = span
    scale = (WIDTH - 2 * _EDGE) / float(right - left)

    def at(x: Decimal) -> float:
        return _EDGE + float(x - left) * scale

    start = _EDGE if low is None else at(low)
    end = WIDTH - _EDGE if high is None else at(high)
    ticks = "".join(
        f'<line class="tick" x1="{x:.1f}" x2="{x:.1f}" y1="5" y2="17"/>'
        for x in (start if low is not None else None, end if high is not None else None)
        if x is not None
    )
    mark = at(value)
    # A round mark within, a pointed one otherwise: the shape tells without the colour.
    shape = (
        f'<circle class="mark" cx="{mark:.1f}" cy="11" r="5"/>'
        if judgement.result == "within"
        else f'<path class="mark" d="M{mark:.1f} 3l6 14h-12z"/>'
    )
    return Markup(
        f'<svg class="gauge {judgement.result}" viewBox="0 0 {WIDTH:.0f} {HEIGHT:.0f}" width="{WIDTH:.0f}" '
        f'height="{HEIGHT:.0f}" aria-hidden="true" focusable="false">'
        f'<line class="scale" x1="{_EDGE}" x2="{WIDTH - _EDGE}" y1="11" y2="11"/>'
        f'<rect class="band" x="{start:.1f}" y="8" width="{max(end - start, 1):.1f}" height="6"/>{ticks}{shape}</svg>'
    )


def _bound(judgement: Judgement, key: str) -> Decimal | None:
    bound = judgement.limit.get(key)
    return None if bound is None else Decimal(str(bound))


def _span(value: Decimal, low: Decimal | None, high: Decimal | None) -> tuple[Decimal, Decimal] | None:
    """Left and right end of the scale: room on both sides of the band, and the value always on it."""
    if low is not None and high is not None:
        room = (high - low) * Decimal("0.4")
    elif low is not None:
        room = max(abs(value - low), abs(low) / 10)
        high = low + room
    elif high is not None:
        room = max(abs(high) / 4, Decimal(0))
        low = min(Decimal(0), value)
    else:
        return None
    left, right = min(low - room, value), max(high + room, value)
    if low == 0 or (low is not None and left < 0 <= min(low, value)):
        left = min(Decimal(0), value)
    return None if right <= left else (left, right)
