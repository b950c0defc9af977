"""See that a sheet says the same as HTML and as PDF: check_sheet.py SHEET.html SHEET.pdf PAPER.

Readers: html.parser of the standard library, and pypdf. Words are compared without the spaces between them, in the order
in which they are read. PAPER is a4 or letter.
"""

import re
import sys
from html.parser import HTMLParser

from pypdf import PdfReader

SIZES = {"a4": (595.276, 841.89), "letter": (612.0, 792.0)}
# What only paper needs to say.
LACKING = "Letters that this file has no shapes for are drawn as □; the HTML sheet has them all."


def bare(text):
    return re.sub(r"\s", "", text)


class Words(HTMLParser):
    """All words of the body, and those of the heading rows of its tables."""

    def __init__(self):
        super().__init__()
        self.open, self.words, self.heads = [], [], []

    def handle_starttag(self, tag, _):
        if tag not in ("meta", "br"):
            self.open.append(tag)
        if tag == "thead":
            self.heads.append("")

    def handle_startendtag(self, tag, _):
        pass

    def handle_endtag(self, tag):
        while self.open and self.open.pop() != tag:
            pass

    def handle_data(self, data):
        if "body" not in self.open:
            return
        self.words.append(data)
        if "thead" in self.open:
            self.heads[-1] += bare(data)


def main():
    page, pdf, paper = sys.argv[1:4]
    words = Words()
    words.feed(open(page, encoding="utf-8").read())
    html = bare("".join(words.words))
    reader = PdfReader(pdf)
    count = len(reader.pages)
    printed = ""
    for number, sheet in enumerate(reader.pages, 1):
        size = (float(sheet.mediabox.width), float(sheet.mediabox.height))
        if any(abs(a - b) > 0.1 for a, b in zip(size, SIZES[paper])):
            sys.exit(f"{pdf}: page {number} is {size} points")
        text = bare(sheet.extract_text())
        foot = re.search(rf"(Simulated\.)?Neverpermissiontodig\.Notifyfirst,exposebysafemeans\.page{number}of{count}$", text)
        if not foot:
            sys.exit(f"{pdf}: page {number} has no foot: {text[-120:]!r}")
        text = text[: foot.start()]
        for head in words.heads:
            # Set again where a table goes on.
            if number > 1 and text.startswith(head):
                text = text[len(head):]
        printed += text
    printed = printed.replace(bare(LACKING), "")
    for at, (a, b) in enumerate(zip(html, printed)):
        if a != b and b != "□":
            sys.exit(f"{pdf}: says {printed[at - 40:at + 40]!r} where {page} says {html[at - 40:at + 40]!r}")
    if len(html) != len(printed):
        sys.exit(f"{pdf}: {len(printed)} letters, and {page} has {len(html)}")
    print(f"{pdf}: {count} pages say what the HTML says, {len(html)} letters")


main()
