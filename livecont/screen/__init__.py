"""What is seen of a sitting: rich renderables of an immutable snapshot; no ports, no clocks."""

from livecont.screen.lines import plain_lines
from livecont.screen.notes import ScreenNotes
from livecont.screen.page import render
from livecont.screen.picture import picture
from livecont.screen.stage import Stage

__all__ = ["ScreenNotes", "Stage", "picture", "plain_lines", "render"]
