"""XML from elsewhere: kept as far as it is whole, entities refused, text only where wanted."""

from __future__ import annotations

import pytest

from trialkit.errors import LogError
from trialkit.incoming.file_set import open_beside, open_folder
from trialkit.incoming.task_xml import attribute, external_elements, parse_xml


def test_text_is_kept_where_it_is_wanted():
    raw = b"<a>one<b>two &amp; <c/>three</b></a>"
    root, whole = parse_xml(raw, "a.xml", keep_text=True)
    assert whole
    assert root.find("b").text == "two & three"
    bare, _ = parse_xml(raw, "a.xml")
    assert bare.find("b").text is None


def test_what_stands_before_a_break_is_kept():
    root, whole = parse_xml(b'<a><b C="1"/><d', "a.xml")
    assert not whole
    assert attribute(root.find("b"), "C") == "1"


@pytest.mark.parametrize(
    ("raw", "message"),
    [
        (b"", r"a\.xml: this is not XML, or it is damaged\. Copy or export it again"),
        (b'<!DOCTYPE x [<!ENTITY a "b">]><x>&a;</x>', "entities or references to other files"),
        (b'<!DOCTYPE x SYSTEM "http://localhost/x.dtd"><x/>', "entities or references"),
    ],
)
def test_refused(raw, message):
    with pytest.raises(LogError, match=message):
        parse_xml(raw, "a.xml")


def test_external_files_are_looked_for_beside_the_set(tmp_path):
    (tmp_path / "ctr00000.XML").write_text('<XFC><CTR A="CTR1"/></XFC>')
    (tmp_path / "FRM00000.xml").write_text("<XFC><FR")
    (tmp_path / "other").mkdir()
    (tmp_path / "other" / "PFD00000.XML").write_text('<XFC><PFD A="PFD1"/></XFC>')
    (tmp_path / "TASKDATA.XML").write_text(
        '<x><XFR A="CTR00000"/><XFR A="FRM00000"/><XFR A="PFD00000"/><XFR A="../secret"/></x>'
    )
    for files in (open_folder(tmp_path), open_beside(tmp_path / "TASKDATA.XML")):
        root, _ = parse_xml(files.read("TASKDATA.XML"), "TASKDATA.XML")
        found = external_elements(root, files, "TASKDATA.XML")
        assert [element.tag for element in found if element.tag != "FR"] == ["CTR"]
