"""Page one as a fragment for notebooks, under the name other rooms know it by."""

from qc.show.pages_html import page_one_html

__all__ = ["page_one_html"]
