"""Vector files that others wrote, read by GDAL: shapefile and GeoPackage, layer by layer.

The file is copied into a folder of its own first, so that nothing beside it is opened, and must
begin as its kind does: a catalogue that points elsewhere is not given to the library.
"""

from __future__ import annotations

import warnings
from pathlib import Path, PurePosixPath
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

from trialkit.errors import LogError
from trialkit.incoming.file_set import FileSet

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

#: How a file begins, by the ending it is read under.
BEGINS = {".shp": b"\x00\x00\x27\x0a", ".gpkg": b"SQLite format 3\x00"}

#: Files that belong to a shapefile.
SHAPEFILE_PARTS = (".shp", ".shx", ".dbf", ".prj", ".cpg")

#: A drawing of fields holds no more layers, and no more shapes in each.
_MOST_LAYERS = 100
_MOST_SHAPES = 100_000


def read_layers(files: FileSet, path: str, ending: str) -> dict[str, GeoDataFrame]:
    """Return the layers of a vector file that hold lines or polygons.

    Parameters
    ----------
    files
        The set it is in.
    path
        Its path in the set; the other parts of a shapefile lie beside it.
    ending
        `.shp` or `.gpkg`: what it is, whatever it is called.

    Returns
    -------
    dict
        Frames by the name of the layer, each in its own coordinate system; layers of points are
        passed over.

    Raises
    ------
    LogError
        If it is damaged, or holds more than a drawing does.
    """
    own = PurePosixPath(path)
    with TemporaryDirectory() as folder:
        copy = Path(folder, f"{own.stem or 'drawing'}{ending}")
        copy.write_bytes(files.read(path))
        if ending == ".shp":
            _copy_parts(files, own, copy)
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")  # what is damaged shows below
                return _layers(copy, own.name)
        except LogError:
            raise
        except Exception as error:  # the libraries below raise errors of many families
            reason = str(error).replace(str(copy), own.name).replace(folder, "").splitlines()
            parts = (
                " A shapefile has at least three files with one name (.shp, .shx, .dbf): copy all."
                if ending == ".shp"
                else ""
            )
            raise LogError(
                f"{own.name}: it cannot be read ({reason[0][:80] if reason else 'damaged'}).{parts}"
                " Export it again."
            ) from error


def _copy_parts(files: FileSet, own: PurePosixPath, copy: Path) -> None:
    for other in files.members:
        beside = PurePosixPath(other)
        ending = beside.suffix.lower()
        same = beside.parent == own.parent and beside.stem.lower() == own.stem.lower()
        if same and ending in SHAPEFILE_PARTS[1:]:
            copy.with_suffix(ending).write_bytes(files.read(other))


def _layers(path: Path, name: str) -> dict[str, GeoDataFrame]:
    import geopandas as gpd
    import pyogrio

    listed = [(str(layer), kind) for layer, kind in pyogrio.list_layers(path)]
    drawn = [layer for layer, kind in listed if kind is not None and "Point" not in str(kind)]
    if len(drawn) > _MOST_LAYERS:
        raise LogError(f"{name}: {len(drawn)} layers are more than a drawing of fields has.")
    found = {}
    for layer in drawn:
        shapes = pyogrio.read_info(path, layer=layer, force_feature_count=True)["features"]
        if shapes > _MOST_SHAPES:
            raise LogError(
                f"{name}: {shapes:,} shapes in {layer} are more than a drawing of fields has. "
                "Export the outline and the lines alone."
            )
        frame = gpd.read_file(path, layer=layer, engine="pyogrio")
        if isinstance(frame, gpd.GeoDataFrame):
            found[layer] = frame
    return found
