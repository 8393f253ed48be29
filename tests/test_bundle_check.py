"""The other side of a bundle: what was changed is found, and what could harm is not unpacked."""

from __future__ import annotations

import json
import shutil
import tempfile
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

import trialkit
from trialkit.bundle_check import check_bundle
from trialkit.bundles import make_bundle
from trialkit.errors import BundleError, LogError, TrialFolderError
from trialkit.trial.data_package import checksum_text, sha256

Change = Callable[[dict[str, bytes]], None]

#: Strips weighed: the dressed ones (S1, S2, S5, S6) some 250 kg heavier.
WEIGHTS_KG = (2010, 2260, 2300, 2080, 1950, 2210, 2180, 1990)


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the bundle is kept: it is the same for every test."""
    return tmp_path_factory.mktemp("kept") / "sent.zip"


@pytest.fixture
def bundle(trial_folder: Path, kept: Path, tmp_path: Path) -> Path:
    """A bundle of a trial with weights by strip."""
    if not kept.exists():
        rows = [f"S{n},{kg},12.0" for n, kg in enumerate(WEIGHTS_KG)]
        text = "strip,mass_kg,moisture_pct\n" + "\n".join(rows) + "\n"
        (trial_folder / "weights.csv").write_text(text)
        make_bundle(trial_folder, kept)
    return Path(shutil.copyfile(kept, tmp_path / "sent.zip"))


def repack(bundle: Path, change: Change) -> Path:
    """Change what is in a bundle, leaving its checksums as they are."""
    with zipfile.ZipFile(bundle) as archive:
        inside = {entry.filename: archive.read(entry) for entry in archive.infolist()}
    change(inside)
    with zipfile.ZipFile(bundle, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, raw in inside.items():
            archive.writestr(name, raw)
    return bundle


def resign(inside: dict[str, bytes]) -> None:
    """Make all checksums anew, as somebody would who wants to hide a change."""
    description = json.loads(inside["datapackage.json"])
    for entry in description["resources"]:
        raw = inside[entry["path"]]
        entry |= {"bytes": len(raw), "hash": f"sha256:{sha256(raw)}"}
    inside["datapackage.json"] = json.dumps(description).encode()
    del inside["SHA256SUMS"]
    inside["SHA256SUMS"] = checksum_text(inside).encode()


def faults_of(bundle: Path) -> list[str]:
    found = check_bundle(bundle)
    assert not found.right
    assert found.again is None
    assert "Nothing was unpacked" in " ".join(found.sentences())
    return [check.sentence() for check in found.checks if check.outcome == "fault"]


def test_a_bundle_comes_out_the_same(bundle, tmp_path, monkeypatch):
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "scratch"))
    (tmp_path / "scratch").mkdir()
    found = check_bundle(bundle)
    assert found.right
    assert found.again.same_bytes
    assert found.sha256 == sha256(bundle.read_bytes())
    assert found.sentences()[:2] == [
        f"{len(found.checks)} files, every checksum right.",
        "Worked out again: the same to the byte.",
    ]
    assert list((tmp_path / "scratch").iterdir()) == []


@pytest.mark.parametrize("name", ["weights.csv", "trial.toml", "results/result.json"])
def test_a_changed_byte_is_found(bundle, name):
    def change(inside: dict[str, bytes]) -> None:
        inside[name] = inside[name].replace(b"2", b"3", 1)

    (fault,) = faults_of(repack(bundle, change))
    assert fault.startswith(f"{name}: It was changed after the checksums were made.")


def test_a_file_taken_out_or_put_in_is_found(bundle):
    def change(inside: dict[str, bytes]) -> None:
        del inside["weights.csv"]
        inside["harvest/more.csv"] = b"longitude,latitude,yield_t_ha\n"

    added, gone = faults_of(repack(bundle, change))
    assert added.startswith("harvest/more.csv: It was added")
    assert gone.startswith("weights.csv: It is not in the zip.")


def test_a_changed_description_is_found(bundle):
    def change(inside: dict[str, bytes]) -> None:
        inside["datapackage.json"] = inside["datapackage.json"].replace(b"oats", b"rape")

    (fault,) = faults_of(repack(bundle, change))
    assert fault.startswith("datapackage.json: It was changed")


def test_checksums_taken_out_are_missed(bundle):
    faults = faults_of(repack(bundle, lambda inside: inside.pop("SHA256SUMS")))
    assert faults[0].startswith("SHA256SUMS: The file is missing.")


def test_data_changed_with_all_checksums_do_not_give_the_numbers(bundle):
    def change(inside: dict[str, bytes]) -> None:
        inside["weights.csv"] = inside["weights.csv"].replace(b"2260", b"2360")
        resign(inside)

    found = check_bundle(repack(bundle, change))
    assert not found.right
    said = found.sentences()
    assert said[0].endswith("every checksum right.")
    assert "values are not the same" in said[1]
    assert "weights.csv has changed since the answer was worked out." in said
    assert any("gain_t_ha" in sentence and " of it)" in sentence for sentence in said)
    json.dumps(found.as_plain(), allow_nan=False)


def test_an_old_result_with_new_data_is_found(bundle):
    """The files that the answer rests on are not those in the bundle, though its numbers are."""

    def change(inside: dict[str, bytes]) -> None:
        inside["trial.toml"] += b"# a remark\n"
        resign(inside)

    found = check_bundle(repack(bundle, change))
    assert not found.right
    assert found.sentences()[1:3] == [
        "Worked out again: other files, and yet every number is the same.",
        "trial.toml has changed since the answer was worked out.",
    ]


def test_other_software_is_named_and_no_fault(bundle):
    def change(inside: dict[str, bytes]) -> None:
        answer = json.loads(inside["results/result.json"])
        answer["versions"]["numpy"] = "1.0"
        inside["results/result.json"] = json.dumps(answer).encode()
        resign(inside)

    found = check_bundle(repack(bundle, change))
    assert found.right
    assert any("Other software: numpy: 1.0 then" in sentence for sentence in found.sentences())


def test_without_an_answer_there_is_nothing_to_compare(bundle):
    def change(inside: dict[str, bytes]) -> None:
        inside["results/result.json"] = b"{}"
        resign(inside)

    with pytest.raises(TrialFolderError, match=r"sent\.zip: results/result\.json: there is no ans"):
        check_bundle(repack(bundle, change))


def test_a_faulty_trial_is_told_with_the_name_of_the_bundle(bundle):
    def change(inside: dict[str, bytes]) -> None:
        inside["trial.toml"] = inside["trial.toml"].replace(b"season = 2024", b'season = "x"')
        resign(inside)

    with pytest.raises(TrialFolderError, match=r"(?s)sent\.zip: .*season"):
        check_bundle(repack(bundle, change))


# What is no bundle, or could harm ---------------------------------------------------------------


def test_a_file_that_is_no_zip(tmp_path):
    (tmp_path / "letter.zip").write_text("not a zip")
    with pytest.raises(LogError, match="not a whole zip file"):
        check_bundle(tmp_path / "letter.zip")


def test_a_zip_cut_short(bundle):
    bundle.write_bytes(bundle.read_bytes()[:-100])
    with pytest.raises(LogError, match="not a whole zip file"):
        check_bundle(bundle)


def test_another_zip(tmp_path):
    with zipfile.ZipFile(tmp_path / "other.zip", "w") as archive:
        archive.writestr("trial.toml", "x")
    with pytest.raises(BundleError, match=r"no bundle, there is no datapackage\.json"):
        check_bundle(tmp_path / "other.zip")


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"[]",
        b'{"resources": []}',
        b'{"resources": [{"path": "x"}]}',
        b'{"resources": [{"path": "x", "hash": "y", "bytes": "many"}]}',
        b"[" * 100_000,
        b"\xff\xfe\x00",
    ],
)
def test_a_damaged_description(bundle, content):
    def change(inside: dict[str, bytes]) -> None:
        inside["datapackage.json"] = content

    with pytest.raises(BundleError, match=r"its datapackage\.json is damaged"):
        check_bundle(repack(bundle, change))


@pytest.mark.parametrize(
    "name",
    [
        "../evil.csv", "/evil.csv", "harvest/../../evil.csv", "..\\evil.csv", "C:evil.csv",
        "harvest//evil.csv", "results/\x1b[31mevil.csv", "x" * 300,
    ],
)  # fmt: skip
def test_a_path_that_leads_out_is_not_unpacked(bundle, tmp_path, name):
    def change(inside: dict[str, bytes]) -> None:
        inside[name] = b"evil"
        description = json.loads(inside["datapackage.json"])
        description["resources"].append({"path": name})
        inside["datapackage.json"] = json.dumps(description).encode()
        resign(inside)

    before = sorted(tmp_path.rglob("*"))
    with pytest.raises(BundleError, match="unpacking it could harm") as raised:
        check_bundle(repack(bundle, change))
    assert "\x1b" not in str(raised.value)
    assert sorted(tmp_path.rglob("*")) == before


def test_a_bomb_is_not_unpacked(bundle):
    def change(inside: dict[str, bytes]) -> None:
        inside["harvest/zeros.csv"] = bytes(30_000_000)

    with pytest.raises(LogError, match="would unpack to"):
        check_bundle(repack(bundle, change))


def test_a_link_in_a_zip_is_a_file_of_its_text(bundle, tmp_path):
    """A link packed as one comes out as a plain file, so it leads nowhere."""
    (tmp_path / "private.csv").write_text("strip,mass_kg\n")
    with zipfile.ZipFile(bundle) as archive:
        inside = {entry.filename: archive.read(entry) for entry in archive.infolist()}
    inside["weights.csv"] = str(tmp_path / "private.csv").encode()
    resign(inside)
    with zipfile.ZipFile(bundle, "w") as archive:
        for name, raw in inside.items():
            entry = zipfile.ZipInfo(name)
            entry.external_attr = (0o120777 if name == "weights.csv" else 0o100644) << 16
            archive.writestr(entry, raw)
    with pytest.raises(TrialFolderError, match=r"weights\.csv"):
        check_bundle(bundle)


def test_what_another_system_leaves_in_a_zip_is_passed_over(bundle):
    def change(inside: dict[str, bytes]) -> None:
        inside["__MACOSX/._weights.csv"] = b"litter"
        inside["harvest/.log.csv"] = b"hidden"

    assert check_bundle(repack(bundle, change)).right


def test_the_answer_is_that_of_the_notebook(bundle, tmp_path):
    with zipfile.ZipFile(bundle) as archive:
        archive.extractall(tmp_path / "out")
    trial = trialkit.open_trial(tmp_path / "out")
    assert trialkit.analyse(trial).to_json() == (trial.results / "result.json").read_text()
