from __future__ import annotations

import re

import pytest

from trialkit.report import pieces


def test_words_and_bullets_are_escaped():
    assert pieces.words("a < b", "", "c").html() == '<p class="tk-words">a &lt; b c</p>'
    assert "<li>&lt;b&gt;</li>" in pieces.bullets(["<b>"]).html()


def test_nothing_to_say_is_nothing():
    assert pieces.words("", "").html() == ""
    assert pieces.bullets([]).html() == ""


def test_parts_side_by_side_keep_their_markup():
    parts = [pieces.words("a"), pieces.words("b")]
    assert pieces.side_by_side(*parts).html().count("<p ") == 2


def test_a_notebook_shows_a_piece_as_it_is():
    piece = pieces.words("a")
    assert piece._repr_html_() == piece.html()
    assert pieces.style().html().startswith("<style>")


@pytest.mark.parametrize("name", ["pieces.css", "page.css", "page.html", "front.html"])
def test_the_page_asks_for_nothing_from_outside(name):
    text = pieces.page_file(name)
    assert not re.search(r"https?:|url\(|@import|@font-face|<script|<link|//\w", text)


def test_the_page_escapes_what_is_no_piece():
    page = pieces.fill("page.html", title="<b>", style=pieces.Piece("a > b"), body="<i>")
    assert "<title>&lt;b&gt;</title>" in page
    assert "a > b" in page
    assert "&lt;i&gt;" in page
    assert "default-src 'none'" in page
