"""From longitude and latitude to metres about the field's middle, and back."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from pyproj import CRS


def local_grid(field: GeoDataFrame) -> CRS:
    """Return a metre grid centred on a field: transverse Mercator, WGS 84.

    Distances are true to a few parts in a hundred million over a farm, and north is up at
    the middle of the field.

    Parameters
    ----------
    field
        Boundary or strips, in any coordinate system.
    """
    from pyproj import CRS

    west, south, east, north = field.to_crs("EPSG:4326").total_bounds
    longitude, latitude = (west + east) / 2, (south + north) / 2
    return CRS.from_proj4(
        f"+proj=tmerc +lat_0={latitude:.6f} +lon_0={longitude:.6f} +k=1 +x_0=0 +y_0=0 "
        "+datum=WGS84 +units=m +no_defs"
    )
