"""Zips and folders that come by mail: nothing leaves them, nothing is unpacked without bound."""

from __future__ import annotations

import zipfile

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from trialkit.errors import LogError, TrialkitError
from trialkit.harvest import read_log
from trialkit.incoming import file_set
from trialkit.incoming.file_set import open_beside, open_folder, open_zip

LOG = "longitude,latitude,yield_t_ha\n85.0,-38.5,3.1\n85.0,-38.4999,2.9\n"


def packed(path, files, compression=zipfile.ZIP_DEFLATED):
    with zipfile.ZipFile(path, "w", compression) as archive:
        for name, content in files.items():
            archive.writestr(name, content)
    return path


def test_every_text_in_a_zip_is_read(tmp_path):
    path = packed(tmp_path / "a.zip", {"one.csv": LOG, "two/three.TXT": LOG, "readme.md": "hello"})
    assert len(read_log(path)) == 4


def test_names_that_lead_out_of_the_zip_write_nothing(tmp_path):
    names = ["../../log.csv", "/etc/log.csv", "../../x.geojson", "/etc/y.geojson"]
    path = packed(tmp_path / "a.zip", dict.fromkeys(names, LOG))
    before = sorted(tmp_path.rglob("*"))
    assert sorted(open_zip(path).members) == ["/etc/log.csv", "/etc/y.geojson"]
    with pytest.raises(LogError, match=r"y\.geojson: the file does not begin as a \.geojson"):
        read_log(path)
    assert sorted(tmp_path.rglob("*")) == before


def test_a_zip_that_would_fill_the_disk(tmp_path):
    path = packed(tmp_path / "a.zip", {"log.csv": b"0" * 60_000_000})
    assert path.stat().st_size < 100_000
    with pytest.raises(
        LogError, match=r"would unpack to 1 files and 60 MB, more than the files of"
    ):
        read_log(path)


def test_a_zip_of_more_files_than_a_log_has(tmp_path, monkeypatch):
    monkeypatch.setattr(file_set, "_MOST_FILES", 3)
    path = packed(tmp_path / "a.zip", {f"{n}.csv": LOG for n in range(4)})
    with pytest.raises(LogError, match="would unpack to 4 files"):
        read_log(path)
    for n in range(4):
        (tmp_path / f"{n}.csv").write_text(LOG)
    with pytest.raises(LogError, match="more than 3 files"):
        open_folder(tmp_path)


@pytest.mark.parametrize("content", [b"", b"PK\x03\x04", b"no zip"])
def test_no_zip(tmp_path, content):
    path = tmp_path / "a.zip"
    path.write_bytes(content)
    with pytest.raises(LogError, match="this is not a whole zip file"):
        read_log(path)


def test_a_member_whose_name_is_gone(tmp_path):
    path = packed(tmp_path / "a.zip", {"one.csv": LOG})
    raw = path.read_bytes()
    path.write_bytes(raw.replace(b"one.csv", b"\0ne.csv"))
    with pytest.raises(LogError, match="this is not a whole zip file"):
        read_log(path)


def test_a_damaged_member(tmp_path):
    path = packed(tmp_path / "a.zip", {"log.csv": LOG * 50})
    raw = bytearray(path.read_bytes())
    raw[60:90] = b"\xff" * 30
    path.write_bytes(bytes(raw))
    with pytest.raises(LogError, match=r"log.csv (cannot be read|is damaged)"):
        read_log(path)


def test_nothing_to_read(tmp_path):
    path = packed(tmp_path / "a.zip", {"readme.md": "hello"})
    with pytest.raises(LogError, match=r"no harvest log in it .it holds readme.md"):
        read_log(path)
    empty = tmp_path / "empty"
    empty.mkdir()
    with pytest.raises(LogError, match="it holds nothing"):
        read_log(empty)


def test_links_that_lead_out_of_a_folder_are_not_followed(tmp_path):
    (tmp_path / "secret.csv").write_text(LOG)
    folder = tmp_path / "logs"
    folder.mkdir()
    (folder / "log.csv").write_text(LOG)
    (folder / "link.csv").symlink_to(tmp_path / "secret.csv")
    assert sorted(open_folder(folder).members) == ["log.csv"]


def test_hidden_files_are_passed_over(tmp_path):
    path = packed(
        tmp_path / "a.zip", {"._log.csv": b"\x00", "__MACOSX/log.csv": b"", "b/log.csv": LOG}
    )
    assert sorted(open_zip(path).members) == ["b/log.csv"]
    assert len(read_log(path)) == 2


@settings(
    deadline=None, max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(place=st.integers(0, 400), junk=st.binary(min_size=1, max_size=30))
@pytest.mark.filterwarnings("ignore::trialkit.errors.TrialkitWarning")
@pytest.mark.filterwarnings("ignore::UserWarning:zipfile")
def test_any_damage_ends_in_a_log_or_an_error_of_our_own(tmp_path, place, junk):
    path = packed(tmp_path / "a.zip", {"one.csv": LOG, "two.csv": LOG})
    raw = bytearray(path.read_bytes())
    place %= len(raw)
    raw[place : place + len(junk)] = junk
    path.write_bytes(bytes(raw))
    try:
        log = read_log(path)
    except TrialkitError:
        return
    assert len(log) >= 1


def test_a_file_with_those_that_bear_its_name(tmp_path):
    for name in ("a.shp", "a.dbf", "b.shp", "c.xml", "._a.shx"):
        (tmp_path / name).write_text(name)
    (tmp_path / "folder").mkdir()
    (tmp_path / "folder" / "a.prj").write_text("")
    (tmp_path / "a.prj").symlink_to(tmp_path / "folder" / "a.prj")
    assert sorted(open_beside(tmp_path / "a.shp").members) == ["a.dbf", "a.shp"]
    (tmp_path / "d.XML").write_text("")
    assert sorted(open_beside(tmp_path / "c.xml").members) == ["c.xml", "d.XML"]


def test_more_files_beside_one_than_it_needs(tmp_path, monkeypatch):
    monkeypatch.setattr(file_set, "_MOST_FILES", 3)
    for n in range(4):
        (tmp_path / f"{n}.xml").write_text("")
    with pytest.raises(LogError, match="more than 3 files beside it"):
        open_beside(tmp_path / "0.xml")
