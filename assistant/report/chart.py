"""The readings against the bands on a logarithmic axis, as SVG: black, white and hatching only, so that any printer will do."""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from html import escape
from math import ceil, floor, log10

from assistant.language.verdict_wording import ohms
from assistant.report.lanes import Lane, Look, Panel


@dataclass(frozen=True, slots=True)
class Shape:
    """How wide a chart is, where its plot lies between the lanes' names and the edge, and how dense its ticks may stand.

    Up to `dense_decades` powers of ten an axis has ticks at 1, 2 and 5; beyond, at powers of ten alone.
    """

    width: int
    left: int
    right: int
    dense_decades: float


WIDE = Shape(760, 190, 740, 3)
NARROW = Shape(470, 105, 450, 1.5)
"""For a column of half a sheet: drawn as large there as the wide one is across the whole."""

_LANE = 21
_HEAD = 20
_AXIS = 22
_CHARACTER = 6.4  # width of a character of the texts beside marks, on average


def chart(panels: tuple[Panel, ...], name: str = "chart", shape: Shape = WIDE) -> str:
    """A whole chart. Its title and its text alternative are the elements NAME-title and NAME-words of the page."""
    parts, top = [], 0
    for panel in panels:
        parts.append(
            f'<g transform="translate(0 {top})">{"".join(_panel(panel, Axis(panel, f"{name}-hatch", shape)))}</g>'
        )
        top += _height(panel)
    return (
        f'<svg role="img" aria-labelledby="{name}-title" aria-describedby="{name}-words" viewBox="0 0 {shape.width} {top}">'
        f"{_HATCH.format(id=f'{name}-hatch')}{''.join(parts)}</svg>"
    )


_HATCH = (
    '<defs><pattern id="{id}" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<rect width="6" height="6" fill="#fff"/><path d="M0 0V6" stroke="#777" stroke-width="2.4"/></pattern></defs>'
)


def _height(panel: Panel) -> int:
    return _HEAD + _LANE * len(panel.lanes) + _AXIS


class Axis:
    """Ohms to horizontal places, logarithmic, from a tick to a tick. `hatch` is the element that fills bands of its chart."""

    def __init__(self, panel: Panel, hatch: str = "", shape: Shape = WIDE) -> None:
        self.hatch, self.left, self.right, self._dense_decades = hatch, shape.left, shape.right, shape.dense_decades
        edges = [panel.least_ohm, panel.most_ohm, *(ohm for lane in panel.lanes for ohm in lane.edges_ohm)]
        # a doubt that reaches down to nothing would stretch the axis for ever: it is cut off at a tenth of what the panel shows
        low = max(float(min(edges)), float(panel.least_ohm) / 10)
        self.low_ohm, self.high_ohm = _tick_below(low), _tick_above(float(max(edges)))

    def x(self, ohm: Decimal | None, otherwise: float) -> float:
        """Where a value lies; at the edge when it lies beyond, `otherwise` when there is none."""
        if ohm is None:
            return otherwise
        if ohm <= 0:
            return self.left
        part = log10(float(ohm) / self.low_ohm) / log10(self.high_ohm / self.low_ohm)
        return round(self.left + (self.right - self.left) * min(max(part, 0.0), 1.0), 1)

    def ticks(self) -> Iterator[Decimal]:
        """The values that get a mark and a number, from the left."""
        decades = log10(self.high_ohm / self.low_ohm)
        steps = (1, 2, 5) if decades <= self._dense_decades else (1,)
        for power in range(floor(log10(self.low_ohm) - 1e-9), ceil(log10(self.high_ohm)) + 1):
            for step in steps:
                tick = Decimal(step).scaleb(power)
                if self.low_ohm * (1 - 1e-9) <= float(tick) <= self.high_ohm * (1 + 1e-9):
                    yield tick


def _tick_below(ohm: float) -> float:
    power = float(10 ** floor(log10(ohm)))
    return max((step * power for step in (1, 2, 5) if step * power <= ohm), default=power)


def _tick_above(ohm: float) -> float:
    power = float(10 ** floor(log10(ohm)))
    return next(step * power for step in (1, 2, 5, 10) if step * power >= ohm)


def _panel(panel: Panel, axis: Axis) -> Iterator[str]:
    bottom = _HEAD + _LANE * len(panel.lanes)
    yield f'<text x="0" y="14" font-weight="bold">{escape(panel.title)}</text>'
    for tick in axis.ticks():
        x = axis.x(tick, axis.left)
        yield f'<path d="M{x} {_HEAD}V{bottom + 4}" stroke="#bbb" stroke-width=".7"/>'
        yield f'<text x="{x}" y="{bottom + 16}" text-anchor="middle" font-size="11">{ohms(tick)}</text>'
    yield f'<path d="M{axis.left} {bottom}H{axis.right}" stroke="#000"/>'
    for number, lane in enumerate(panel.lanes):
        middle = _HEAD + _LANE * number + _LANE / 2
        yield f'<text x="0" y="{middle + 4}">{escape(lane.name)}</text>'
        yield _DRAW[lane.look](axis, lane, middle)


def _text(axis: Axis, x_from: float, x_to: float, y: float, text: str) -> str:
    """Beside a mark: to its right, or to its left where the right has no room. The white edge keeps it readable over lines."""
    room = axis.right - x_to - 8 >= _CHARACTER * len(text)
    x, anchor = (x_to + 8, "start") if room else (x_from - 8, "end")
    return (
        f'<text x="{x:g}" y="{y + 4}" text-anchor="{anchor}" font-size="11.5" paint-order="stroke" stroke="#fff" '
        f'stroke-width="4">{escape(text)}</text>'
    )


def _bar(x_from: float, x_to: float, y: float, half: float, how: str) -> str:
    return f'<rect x="{x_from}" y="{y - half}" width="{max(1.5, round(x_to - x_from, 1))}" height="{2 * half}" {how}/>'


def _published(axis: Axis, lane: Lane, y: float) -> str:
    x_from, x_to = axis.x(lane.low_ohm, axis.left), axis.x(lane.high_ohm, axis.right)
    ends = f"M{x_from} {y - 5}V{y + 5}M{x_from} {y}H{x_to}M{x_to} {y - 5}V{y + 5}"
    return f'<path d="{ends}" stroke="#000" fill="none"/>' + _text(axis, x_from, x_to, y, lane.text)


def _usual(axis: Axis, lane: Lane, y: float) -> str:
    x_from, x_to = axis.x(lane.low_ohm, axis.left), axis.x(lane.high_ohm, axis.right)
    return _bar(x_from, x_to, y, 6, f'fill="url(#{axis.hatch})" stroke="#555"') + _text(
        axis, x_from, x_to, y, lane.text
    )


def _limits(axis: Axis, lane: Lane, y: float) -> str:
    x_from, x_to = axis.x(lane.low_ohm, axis.left), axis.x(lane.high_ohm, axis.right)
    return _bar(x_from, x_to, y, 6, 'fill="#fff" stroke="#000" stroke-width="2.4"') + _text(
        axis, x_from, x_to, y, lane.text
    )


def _earlier(axis: Axis, lane: Lane, y: float) -> str:
    x_from, x_to = axis.x(lane.low_ohm, axis.left), axis.x(lane.high_ohm, axis.right)
    median = axis.x(lane.middle_ohm, axis.left)
    bar = _bar(x_from, x_to, y, 5, 'fill="#fff" stroke="#000" stroke-dasharray="3 2"')
    return f'{bar}<path d="M{median} {y - 8}V{y + 8}" stroke="#000" stroke-width="2"/>' + _text(
        axis, x_from, x_to, y, lane.text
    )


def _reading(axis: Axis, lane: Lane, y: float) -> str:
    x_from, x, x_to = (axis.x(ohm, axis.left) for ohm in (lane.low_ohm, lane.middle_ohm, lane.high_ohm))
    whiskers = f"M{x_from} {y - 5}V{y + 5}M{x_from} {y}H{x_to}M{x_to} {y - 5}V{y + 5}"
    return (
        f'<path d="M{x} {_HEAD}V{y}" stroke="#000" stroke-width=".9" stroke-dasharray="2 3"/>'
        f'<path d="{whiskers}" stroke="#000" stroke-width="1.6" fill="none"/>'
        f'<path d="M{x} {y - 6}l6 6l-6 6l-6 -6z"/>'
    ) + _text(axis, min(x_from, x - 6), max(x_to, x + 6), y, lane.text)


def _above(axis: Axis, lane: Lane, y: float) -> str:
    x = min(axis.x(lane.low_ohm, axis.right - 40), axis.right - 40)
    arrow = f"M{x} {y}H{axis.right}M{axis.right - 9} {y - 5}L{axis.right} {y}L{axis.right - 9} {y + 5}"
    return f'<path d="{arrow}" stroke="#000" stroke-width="2" fill="none"/>' + _text(axis, x, axis.right, y, lane.text)


def _unsteady(axis: Axis, lane: Lane, y: float) -> str:
    x_from, x_to = axis.x(lane.low_ohm, axis.left + 60), axis.x(lane.high_ohm, axis.right - 60)
    x_to = max(x_to, x_from + 24)
    steps = max(2, round((x_to - x_from) / 24) * 2)
    width = round((x_to - x_from) / steps, 2)
    zigzag = f"M{x_from} {y + 4}" + "".join(f"l{width} {-8 if step % 2 == 0 else 8}" for step in range(steps))
    return f'<path d="{zigzag}" stroke="#000" stroke-width="1.6" fill="none"/>' + _text(
        axis, x_from, x_to, y, lane.text
    )


_DRAW = {
    Look.PUBLISHED: _published,
    Look.USUAL: _usual,
    Look.LIMITS: _limits,
    Look.EARLIER: _earlier,
    Look.READING: _reading,
    Look.ABOVE: _above,
    Look.UNSTEADY: _unsteady,
}
"""One way of drawing for each look."""
