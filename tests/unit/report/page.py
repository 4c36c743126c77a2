"""A page read back as a browser would: its tags, attributes, texts, tables."""

from html.parser import HTMLParser

VOID = {"meta", "img", "br", "link", "hr", "input"}


class Page(HTMLParser):
    """The tags of a page in order, and what stands in them."""

    def __init__(self, text: str) -> None:
        """Read the page."""
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.texts: list[tuple[str, str]] = []
        self.open: list[str] = []
        self.unbalanced: list[str] = []
        self.declared = ""
        self.feed(text)
        self.close()

    def handle_decl(self, decl):
        """Keep the document type."""
        self.declared = decl

    def handle_starttag(self, tag, attrs):
        """Keep a tag with its attributes."""
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        """Close a tag; note what is closed in the wrong order."""
        if not self.open or self.open.pop() != tag:
            self.unbalanced.append(tag)

    def handle_data(self, data):
        """Keep a text with the tag it stands in."""
        if data.strip():
            self.texts.append((self.open[-1] if self.open else "", data))

    def all(self, tag):
        """The attributes of every tag of that name."""
        return [attributes for name, attributes in self.tags if name == tag]

    def text(self, *within):
        """The texts, of some tags only when they are named, one after the other."""
        return " ".join(" ".join(data for tag, data in self.texts if not within or tag in within).split())

    @property
    def shape(self):
        """The tags in order with the names of their attributes: what must not depend on what people write."""
        return [(tag, tuple(sorted(attributes))) for tag, attributes in self.tags]
