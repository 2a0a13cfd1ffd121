"""What stands in a piece of HTML, its elements, attributes and words; and on the pages of a PDF."""

import io
import re
from html import unescape
from html.parser import HTMLParser

import pypdf
import pypdfium2

VOID = ("br", "col", "meta", "img", "input")


class Page(HTMLParser):
    """Reads a piece of HTML whole; an element that is not closed where it should be is an AssertionError."""

    def __init__(self, text):
        super().__init__()
        self.open, self.tags, self.attributes, self.data = [], [], [], []
        self.feed(text)
        assert not self.open, self.open

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += attrs
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += attrs

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if "style" not in self.open:
            self.data.append(data)

    @property
    def words(self):
        return "".join(self.data)

    def all(self, *names):
        """The values of attributes of these names."""
        return [value for name, value in self.attributes if name in names]


def words(shown):
    """The words of a piece of HTML, or of a widget that shows one, a blank in place of each mark."""
    return unescape(re.sub(r"<[^>]+>", " ", getattr(shown, "value", shown)))


def pages_of(data):
    """The pages of a PDF."""
    return pypdf.PdfReader(io.BytesIO(data)).pages


def pdf_texts(data):
    """The text of each page of a PDF, line by line: PDFium takes a tenth of the time of pypdf."""
    # A hyphen at the end of a line is for PDFium no letter.
    pages = pypdfium2.PdfDocument(data)
    return [page.get_textpage().get_text_range().replace("\ufffe", "-") for page in pages]


def page_texts(data):
    """The text of each page of a PDF, one blank between words."""
    return [" ".join(text.split()) for text in pdf_texts(data)]
