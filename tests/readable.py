"""A figure whose words are all on the page, none upon another."""

from __future__ import annotations

import itertools

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.text import Text


def texts(figure):
    """All words that are drawn, with the boxes that they fill. [px]"""
    figure.set_dpi(100)
    renderer = FigureCanvasAgg(figure).get_renderer()
    figure.draw(renderer)
    unseen = {id(label) for ax in figure.axes for label in _labels_out_of_view(ax)}
    shown = [t for t in figure.findobj(Text) if t.get_text().strip() and t.get_visible() and _axis_shown(t)]
    return [(t.get_text(), t.get_window_extent(renderer)) for t in shown if id(t) not in unseen]


def _axis_shown(text):
    return text.axes is None or text.axes.axison or text in text.axes.texts


def _labels_out_of_view(ax):
    """Labels of ticks that exist but lie beyond the ends of the axis, where nothing is drawn."""
    for axis in (ax.xaxis, ax.yaxis):
        low, high = sorted(axis.get_view_interval())
        slack = 1e-6 * (high - low)
        for tick in axis.get_major_ticks():
            if not low - slack <= tick.get_loc() <= high + slack:
                yield from (tick.label1, tick.label2)


def assert_readable(figure):
    boxes = texts(figure)
    width, height = figure.get_size_inches() * 100
    for words, box in boxes:
        inside = box.x0 > -1 and box.y0 > -1 and box.x1 < width + 1 and box.y1 < height + 1
        assert inside, f"{words!r} is cut off: {box}"
    for (one, a), (other, b) in itertools.combinations(boxes, 2):
        across, up = min(a.x1, b.x1) - max(a.x0, b.x0), min(a.y1, b.y1) - max(a.y0, b.y0)
        assert not (across > 2 and up > 2.5), f"{one!r} lies on {other!r}"
