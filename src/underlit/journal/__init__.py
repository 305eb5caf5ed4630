"""The build journal: a tank and its light on one page to show, and the same as Markdown."""

from underlit.journal.markdown import save_markdown
from underlit.journal.page import journal_page, save_page

__all__ = ["journal_page", "save_markdown", "save_page"]
