"""Vector files: shapefile, GeoPackage, GeoJSON and GeoParquet, one point a record."""

from __future__ import annotations

from pathlib import Path, PurePosixPath
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

import numpy as np
import shapely

from trialkit.errors import LogError
from trialkit.harvest.readers.table import ExportedTable
from trialkit.incoming.file_set import LARGEST_BYTES, FileSet

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

#: Endings read as vector files, and how such a file begins: what claims to be one and is
#: something else (a catalogue that points to other places, say) is not given to the library.
_BEGINS = {
    ".shp": (b"\x00\x00\x27\x0a",),
    ".gpkg": (b"SQLite format 3\x00",),
    ".geojson": (b"{",),
    ".json": (b"{",),
    ".parquet": (b"PAR1",),
    ".geoparquet": (b"PAR1",),
}
VECTOR_ENDINGS = tuple(_BEGINS)
_PARQUET = (".parquet", ".geoparquet")
#: Files that belong to a shapefile.
SHAPEFILE_PARTS = (".shp", ".shx", ".dbf", ".prj", ".cpg")


def open_vector(path: Path) -> ExportedTable:
    """Read a vector file.

    Parameters
    ----------
    path
        The file; the other parts of a shapefile lie beside it.

    Returns
    -------
    ExportedTable
        Its attributes, and the positions as `longitude` and `latitude` in the file's own
        coordinate system. Areas stand for their middle.

    Raises
    ------
    LogError
        If the file is missing, damaged, has several layers, or holds no places.
    """
    frame = read_shapes(path)
    points = frame.geometry
    if points.isna().all() or points.is_empty.all():
        raise LogError(f"{path.name}: no record has a place. Export the log with positions.")
    middle = shapely.centroid(points.to_numpy())  # a point is its own
    cells = frame.drop(columns=[frame.geometry.name])
    cells = cells.drop(columns=[name for name in ("longitude", "latitude") if name in cells])
    headings = (*(" ".join(str(name).split()) for name in cells), "longitude", "latitude")
    cells = cells.assign(longitude=shapely.get_x(middle), latitude=shapely.get_y(middle))
    return ExportedTable(
        path.name,
        headings,
        cells.set_axis(range(len(headings)), axis=1).reset_index(drop=True),
        np.arange(1, len(cells) + 1, dtype=np.int64),
        made=frozenset({"longitude", "latitude"}),
        crs="" if frame.crs is None else frame.crs.to_wkt(),
    )


def read_shapes(path: Path) -> GeoDataFrame:
    """Read a vector file as it is: points, lines or areas, with their attributes.

    Parameters
    ----------
    path
        The file; the other parts of a shapefile lie beside it.

    Raises
    ------
    LogError
        If the file is missing, damaged, has several layers, or holds no places.
    """
    if not path.is_file():
        raise LogError(f"{path}: there is no such file. Check the name, or export the log again.")
    _check(path)
    frame = _read(path)
    if frame.empty:
        raise LogError(f"{path.name}: there are no records. Export the log again, for this field.")
    return frame


def open_packed_vector(files: FileSet, path: str) -> ExportedTable:
    """Read a vector file out of a set, by way of a folder that is removed afterwards."""
    own = PurePosixPath(path)
    with TemporaryDirectory() as folder:
        for other in files.members:
            beside = PurePosixPath(other)
            part = beside.suffix.lower() in SHAPEFILE_PARTS and beside.stem == own.stem
            if other == path or (part and beside.parent == own.parent):
                Path(folder, beside.name).write_bytes(files.read(other))
        return open_vector(Path(folder, own.name))


def _check(path: Path) -> None:
    size = path.stat().st_size
    if size > LARGEST_BYTES:
        raise LogError(
            f"{path.name}: {size / 1e6:,.0f} MB is more than a harvest log of one field holds. "
            "Export this field alone."
        )
    with path.open("rb") as file:
        head = file.read(64).lstrip(b"\xef\xbb\xbf \t\r\n")
    if not head.startswith(_BEGINS[path.suffix.lower()]):
        raise LogError(
            f"{path.name}: the file does not begin as a {path.suffix.lower()} file does. It is "
            "damaged, or something else under that name. Export the log again."
        )


def _read(path: Path) -> GeoDataFrame:
    import geopandas as gpd

    unreadable = f"{path.name}: the file cannot be read"
    try:
        if path.suffix.lower() in _PARQUET:
            frame = gpd.read_parquet(path)
        else:
            import pyogrio

            layers = pyogrio.list_layers(path)
            if len(layers) != 1:
                names = ", ".join(str(name)[:40] for name in layers[:, 0])
                raise LogError(
                    f"{path.name}: it holds {len(layers)} layers ({names}). Export the log's layer "
                    "by itself."
                )
            frame = gpd.read_file(path, engine="pyogrio")
    except LogError:
        raise
    except ImportError as error:
        raise LogError(
            f"{unreadable}: reading it needs the package pyarrow. Install it with `pip install "
            "pyarrow`, or export the log as GeoPackage or CSV."
        ) from error
    except Exception as error:  # the libraries below raise errors of many families
        parts = (
            " A shapefile has at least three files with one name (.shp, .shx, .dbf); copy them all."
            if path.suffix.lower() == ".shp"
            else ""
        )
        raise LogError(
            f"{unreadable} ({str(error).splitlines()[0][:80] if str(error) else 'damaged'})."
            f"{parts} Export the log again."
        ) from error
    if not isinstance(frame, gpd.GeoDataFrame):
        raise LogError(f"{unreadable}: it holds a table and no places. Export it as CSV.")
    return frame
