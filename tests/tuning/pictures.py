"""What a reader needs of any picture: letters large enough, on the page, none on another."""

import itertools

import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.text import Text

SMALLEST = 9.0  # [points], common practice for print


def words(figure):
    """Every piece of text that is drawn, with its box in pixels."""
    drawn = {}
    draw = Text.draw

    def recorded(self, renderer):
        if self.get_visible() and self.get_text().strip():
            drawn[id(self)] = self
        return draw(self, renderer)

    canvas = FigureCanvasAgg(figure)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Text, "draw", recorded)
        canvas.draw()
    renderer = canvas.get_renderer()
    return [(text, Text.get_window_extent(text, renderer)) for text in drawn.values()]


def check_readable(figure):
    """Check all text of a figure; return what it says."""
    drawn = words(figure)
    width, height = figure.canvas.get_width_height()
    assert drawn
    for text, box in drawn:
        assert text.get_fontsize() >= SMALLEST, text.get_text()
        assert box.x0 >= -1 and box.x1 <= width + 1, text.get_text()
        assert box.y0 >= -1 and box.y1 <= height + 1, text.get_text()
    for (one, a), (other, b) in itertools.combinations(drawn, 2):
        across = min(a.x1, b.x1) - max(a.x0, b.x0)
        up = min(a.y1, b.y1) - max(a.y0, b.y0)
        assert across < 1.5 or up < 1.5, (one.get_text(), other.get_text())
    return " | ".join(text.get_text() for text, _ in drawn)
