"""Zones, rasters and earlier harvests joined to the records."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import rasterio
from pyproj import Transformer
from shapely.geometry import box

from trialkit.errors import LogError, LogWarning
from trialkit.harvest import join_points, join_raster, join_zones

WEST, NORTH = 500_000.0, 5_738_000.0  # UTM zone 45 south, at sea


@pytest.fixture(scope="module")
def log():
    """Records on a grid 10 m apart, 200 m by 200 m, and where they are in metres."""
    x, y = (axis.ravel() for axis in np.meshgrid(np.arange(5.0, 200, 10), np.arange(5.0, 200, 10)))
    longitude, latitude = Transformer.from_crs("EPSG:32745", 4326, always_xy=True).transform(
        WEST + x, NORTH - y
    )
    return pd.DataFrame({"longitude": longitude, "latitude": latitude, "x": x, "y": y})


def zones(crs="EPSG:32745"):
    edges = [(0, 100), (100, 200)]
    areas = [box(WEST + a, NORTH - 200, WEST + b, NORTH) for a, b in edges]
    return gpd.GeoDataFrame({"soil": ["sand", "clay"]}, geometry=areas, crs=crs)


@pytest.fixture
def raster(tmp_path):
    """A GeoTIFF of 20 m cells that count up row by row, the last one without data."""

    def make(crs="EPSG:32745", west=WEST, name="map.tif"):
        values = np.arange(100, dtype=np.float32).reshape(10, 10)
        values[-1, -1] = -9999
        path = tmp_path / name
        with rasterio.open(
            path, "w", driver="GTiff", width=10, height=10, count=1, dtype="float32", crs=crs,
            nodata=-9999, transform=rasterio.Affine(20, 0, west, 0, -20, NORTH),
        ) as out:  # fmt: skip
            out.write(values, 1)
        return path

    return make


def test_zones_in_another_coordinate_system(log):
    found = join_zones(log, zones(), "soil")
    assert (found["soil"] == np.where(log["x"] < 100, "sand", "clay")).all()


def test_zones_that_overlap_and_records_outside(log):
    areas = zones()
    areas.geometry = [areas.geometry[0], box(WEST, NORTH - 200, WEST + 150, NORTH)]
    found = join_zones(log, areas, "soil")["soil"]
    assert found[log["x"] < 100].unique().tolist() == ["sand"]
    assert found[log["x"].between(100, 150)].unique().tolist() == ["clay"]
    assert found[log["x"] > 150].isna().all()


def test_faults_of_zones(log):
    with pytest.raises(LogError, match=r"no column 'clay'\. They have: soil"):
        join_zones(log, zones(), "clay")
    with pytest.raises(LogError, match="state no coordinate system"):
        join_zones(log, zones(crs=None), "soil")
    with pytest.raises(LogError, match="the zones and the harvest log do not touch"):
        join_zones(log, zones("EPSG:32744"), "soil")
    with pytest.warns(LogWarning, match="'soil': 75% of the records get no value"):
        join_zones(log, zones().set_geometry(zones().geometry.translate(-150)), "soil")


def test_a_raster_cell_by_cell(log, raster):
    found = join_raster(log, raster(), "conductivity_ms_m")["conductivity_ms_m"].to_numpy()
    expected = (log["y"] // 20 * 10 + log["x"] // 20).to_numpy()
    expected[expected == 99] = np.nan
    np.testing.assert_array_equal(found, expected)


def test_a_raster_is_what_rasterio_samples(log, raster):
    path = raster()
    with rasterio.open(path) as source:
        sampled = [v[0] for v in source.sample(zip(WEST + log["x"], NORTH - log["y"], strict=True))]
    found = join_raster(log, path, "value")["value"]
    assert np.nan_to_num(found, nan=-9999).tolist() == sampled


def test_faults_of_rasters(log, raster, tmp_path):
    with pytest.raises(LogError, match=r"no.tif: there is no such file"):
        join_raster(log, tmp_path / "no.tif", "value")
    with pytest.raises(LogError, match="do not touch"):
        join_raster(log, raster(west=WEST + 5000), "value")
    with pytest.raises(LogError, match="there is no band 3; it has 1"):
        join_raster(log, raster(), "value", band=3)
    with pytest.raises(LogError, match="states no coordinate system"):
        join_raster(log, raster(crs=None), "value")
    junk = tmp_path / "junk.tif"
    junk.write_bytes(b"<VRTDataset/>")
    with pytest.raises(LogError, match="this is no raster, or it is damaged"):
        join_raster(log, junk, "value")
    with pytest.warns(LogWarning, match="get no value from map.tif"):
        join_raster(log, raster(west=WEST + 120), "value")


def test_an_earlier_harvest_is_averaged_around_each_record(log):
    past = pd.DataFrame(log[["longitude", "latitude"]]).assign(yield_t_ha=3 + log["x"] / 100)
    found = join_points(log, past, "yield_t_ha", "past_t_ha", within_m=11.0)["past_t_ha"]
    inside = log["x"].between(10, 190)
    # The four neighbours and itself: a plane's mean is its value in the middle.
    assert found[inside].to_numpy() == pytest.approx((3 + log["x"] / 100)[inside].to_numpy())
    lost = past.assign(kept=log["x"] < 100)
    found = join_points(log, lost, "yield_t_ha", "past_t_ha", within_m=3.0)["past_t_ha"]
    assert found.isna().tolist() == (log["x"] >= 100).tolist()


def test_faults_of_an_earlier_harvest(log):
    past = log[["longitude", "latitude"]].assign(yield_t_ha=3.0)
    with pytest.raises(LogError, match="The other map has no column 'yeild'"):
        join_points(log, past, "yeild", "past_t_ha")
    with pytest.raises(LogError, match="do not touch"):
        join_points(log, past.assign(longitude=10.0), "yield_t_ha", "past_t_ha")
