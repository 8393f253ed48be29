"""Vector files in any coordinate system, by themselves, zipped and in folders."""

from __future__ import annotations

import zipfile

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from trialkit.errors import LogError, TrialkitError
from trialkit.harvest import propose_columns, read_log

COLUMNS = {"yield_t_ha": "Yield", "time": "Time"}
UNITS = {"yield_t_ha": "t/ha"}
#: Degrees: a tenth of a millimetre.
PLACE = 1e-9


@pytest.fixture(scope="module")
def points():
    """Forty records of an invented log, UTM zone 45 south, as points with attributes."""
    along = np.arange(40.0)
    frame = pd.DataFrame(
        {
            "Time": [f"2025-11-24 10:00:{second:02.0f}" for second in along],
            "Yield": 3 + along / 100,
            "Remark": "",
        }
    )
    geometry = gpd.points_from_xy(500_000 + 2 * along, 5_738_000 + along)
    return gpd.GeoDataFrame(frame, geometry=geometry, crs="EPSG:32745")


def save(points, path):
    if path.suffix == ".parquet":
        points.to_parquet(path)
    else:
        points.to_file(path)
    return path


@pytest.mark.parametrize("ending", ["shp", "gpkg", "geojson", "parquet"])
def test_every_kind_gives_the_same_log(points, tmp_path, ending):
    path = save(points if ending != "geojson" else points.to_crs(4326), tmp_path / f"log.{ending}")
    log = read_log(path, columns=COLUMNS, units=UNITS)
    truth = points.to_crs(4326).geometry
    assert log["longitude"].to_numpy() == pytest.approx(truth.x.to_numpy(), abs=PLACE)
    assert log["latitude"].to_numpy() == pytest.approx(truth.y.to_numpy(), abs=PLACE)
    assert log["yield_t_ha"].to_numpy() == pytest.approx(points["Yield"].to_numpy(), rel=1e-12)
    assert log["time"].iloc[-1] == pd.Timestamp("2025-11-24 10:00:39")
    assert log["row"].tolist() == list(range(1, 41))
    assert log["file"].unique().tolist() == [f"log.{ending}"]


def test_the_files_own_coordinate_system_goes_before_the_one_given(points, tmp_path):
    path = save(points, tmp_path / "log.gpkg")
    log = read_log(path, columns=COLUMNS, units=UNITS, crs="EPSG:28355")
    assert log["longitude"].iloc[0] == pytest.approx(87.0, abs=1e-6)


def test_a_shapefile_without_its_prj_needs_to_be_told(points, tmp_path):
    path = save(points, tmp_path / "log.shp")
    (tmp_path / "log.prj").unlink()
    with pytest.raises(LogError, match=r"is no place on the globe.*name their coordinate system"):
        read_log(path, columns=COLUMNS, units=UNITS)
    log = read_log(path, columns=COLUMNS, units=UNITS, crs="EPSG:32745")
    assert log["longitude"].iloc[0] == pytest.approx(87.0, abs=1e-6)


@pytest.mark.parametrize("folder", ["", "a b/", "x/y/"])
def test_a_zipped_shapefile(points, tmp_path, folder):
    save(points, tmp_path / "log.shp")
    packed = tmp_path / "export.zip"
    with zipfile.ZipFile(packed, "w") as archive:
        for path in tmp_path.glob("log.*"):
            archive.write(path, folder + path.name)
    assert len(read_log(packed, columns=COLUMNS, units=UNITS)) == 40


def test_areas_stand_for_their_middle(points, tmp_path):
    squares = points.set_geometry(points.buffer(3.0, cap_style="square"))
    log = read_log(save(squares, tmp_path / "log.gpkg"), columns=COLUMNS, units=UNITS)
    assert log["longitude"].iloc[0] == pytest.approx(87.0, abs=1e-6)


def test_several_logs_in_a_folder_and_in_a_zip(points, tmp_path):
    folder = tmp_path / "logs"
    folder.mkdir()
    save(points.iloc[:20], folder / "b.gpkg")
    save(points.iloc[20:], folder / "a.gpkg")
    log = read_log(folder, columns=COLUMNS, units=UNITS)
    assert log["yield_t_ha"].tolist() == points["Yield"].tolist()  # in the order of time


def test_positions_need_no_confirmation_and_the_rest_does(points, tmp_path):
    path = save(points, tmp_path / "log.gpkg")
    with pytest.raises(LogError, match='yield_t_ha = "Yield"') as caught:
        read_log(path)
    assert "longitude" not in str(caught.value)
    assert propose_columns(path)["name"].tolist() == ["time", "yield_t_ha"]


@pytest.mark.parametrize(
    ("name", "content", "message"),
    [
        ("log.shp", b"<OGRVRTDataSource/>", "does not begin as a .shp file does"),
        ("log.gpkg", b"not a database", "does not begin as a .gpkg file does"),
        ("log.geojson", b"[1, 2]", "does not begin as a .geojson file does"),
        ("log.geojson", b'{"type": "FeatureCollection", "features": []}', "there are no records"),
        ("log.geojson", b'{"a": 1}', "cannot be read"),
        ("log.parquet", b"PAR1junk", "cannot be read"),
        ("log.shp", b"\x00\x00\x27\x0a" + bytes(96), "three files with one name"),
    ],
)
def test_what_is_no_vector_file(tmp_path, name, content, message):
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(LogError, match=message):
        read_log(path, columns=COLUMNS, units=UNITS)


def test_a_file_that_is_not_there(tmp_path):
    with pytest.raises(LogError, match=r"log.gpkg: there is no such file"):
        read_log(tmp_path / "log.gpkg", columns=COLUMNS)


def test_two_layers(points, tmp_path):
    path = tmp_path / "log.gpkg"
    points.to_file(path, layer="one")
    points.to_file(path, layer="two")
    with pytest.raises(LogError, match=r"holds 2 layers .one, two"):
        read_log(path, columns=COLUMNS, units=UNITS)


def test_a_table_without_places(points, tmp_path):
    path = tmp_path / "log.parquet"
    pd.DataFrame(points.drop(columns="geometry")).to_parquet(path)
    with pytest.raises(LogError, match=r"cannot be read"):
        read_log(path, columns=COLUMNS, units=UNITS)


@settings(
    deadline=None, max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    name=st.sampled_from(["log.geojson", "log.gpkg", "log.shp", "log.parquet"]),
    place=st.integers(0, 4000),
    junk=st.binary(min_size=1, max_size=40),
)
@pytest.mark.filterwarnings("ignore::trialkit.errors.TrialkitWarning")
@pytest.mark.filterwarnings("ignore::RuntimeWarning")
def test_any_damage_ends_in_a_log_or_an_error_of_our_own(points, tmp_path, name, place, junk):
    path = save(points.to_crs(4326), tmp_path / name)
    raw = bytearray(path.read_bytes())
    place %= len(raw)
    raw[place : place + len(junk)] = junk
    path.write_bytes(bytes(raw))
    try:
        log = read_log(path, columns=COLUMNS, units=UNITS)
    except TrialkitError:
        return
    finally:
        path.unlink()
    assert {"longitude", "latitude", "yield_t_ha"} <= set(log)
