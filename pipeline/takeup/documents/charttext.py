"""A text of a chart that is written where it stands, unmeasured.

matplotlib lays a text out glyph by glyph to know its width and height before it draws it, and that was half
the time of a chart. An SVG file needs neither: whoever shows it sets the text at its anchor.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from matplotlib.text import Text

if TYPE_CHECKING:
    from matplotlib.backend_bases import RendererBase


class Unmeasured(Text):
    """One line of plain text that stands on its baseline at its place, left, right or in the middle of it."""

    def draw(self, renderer: RendererBase, *_: Any, **__: Any) -> None:
        """Hand the text to the renderer as it is."""
        x, y = self.get_transform().transform(self.get_position())
        height = float(renderer.get_canvas_width_height()[1])
        strokes = renderer.new_gc()
        strokes.set_foreground(self.get_color())
        renderer.open_group("text", self.get_gid())
        renderer.draw_text(
            strokes,
            x,
            height - y,
            self.get_text(),
            self.get_fontproperties(),
            self.get_rotation(),
            mtext=self,
        )
        renderer.close_group("text")
        strokes.restore()
