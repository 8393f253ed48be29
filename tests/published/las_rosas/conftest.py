"""A trial folder from a real strip trial: maize and nitrogen at Las Rosas, Argentina.

Bongiovanni and Lowenberg-DeBoer (2000), Proc. 5th Int. Conf. Precision Agriculture; Anselin,
Bongiovanni and Lowenberg-DeBoer (2004), Am. J. Agric. Econ. 86:675-687. The data are read where
they lie beside the project and are not copied into it.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

DATA = Path(__file__).parents[4] / "shared" / "data" / "lasrosas" / "lasrosas.txt"

#: Prices of Anselin et al. (2004): maize 6.85 $ a quintal of 100 kg, nitrogen 0.4348 $/kg.
MAIZE_PER_T = 68.5
NITROGEN_PER_KG = 0.4348

#: Machine widths are not published. They, the edges and the screening are set so that the
#: publisher's averaged points, 6.6 to 7.1 m between lines, are kept: with 7 m and the usual limits
#: 15 of the 1,738 points of 1999 were left out, and the verdicts were the same.
_TOML = """\
[trial]
name = "Nitrogen on maize, Las Rosas"
season = {year}
crop = "maize"

{treatments}
[machines]
seeder_m = 6.5
harvester_m = 6.5

[harvest]
delay_s = 0
edge_m = 0
[harvest.columns]
longitude = "long"
latitude = "lat"
yield_t_ha = "yield"
[harvest.units]
yield_t_ha = "q/ha"
[harvest.screening]
pass_start_s = 0
pass_end_s = 0
least_pass_m = 0
swath_least_share = 0  # the publisher put the points on a grid; their lines are no cuts
outlier_sd = 100  # means of several records each, screened by the publisher already
local_outlier_sd = 100

[money]
currency = "USD"
price_per_t = {price}
"""


@pytest.fixture(scope="session")
def las_rosas(tmp_path_factory: pytest.TempPathFactory) -> Callable[[int], Path]:
    """Return a function that writes the trial folder of a year."""
    if not DATA.exists():
        pytest.skip("the Las Rosas data do not lie beside the project (../shared/data/lasrosas)")
    everything = pd.read_csv(DATA, sep="\t")

    def write(year: int) -> Path:
        folder = tmp_path_factory.mktemp(f"las-rosas-{year}")
        points = everything[everything["year"] == year]
        (folder / "harvest").mkdir()
        points.to_csv(folder / "harvest" / "monitor.csv", index=False)
        rates = points.groupby("nf")["nitro"].first().sort_index()
        treatments = "".join(
            f'[[treatments]]\nname = "{name}"\ncontrol = {str(name == "N0").lower()}\n'
            f"cost_per_ha = {rate * NITROGEN_PER_KG:.4f}\n\n"
            for name, rate in rates.items()
        )
        toml = _TOML.format(year=year, treatments=treatments, price=MAIZE_PER_T)
        (folder / "trial.toml").write_text(toml)
        strips = [
            {
                "type": "Feature",
                "properties": {"strip": f"{rep}-{name}", "block": rep, "treatment": name},
                "geometry": {"type": "Polygon", "coordinates": [_outline(strip)]},
            }
            for (rep, name), strip in points.groupby(["rep", "nf"])
        ]
        layout = {"type": "FeatureCollection", "features": strips}
        (folder / "layout.geojson").write_text(json.dumps(layout))
        return folder

    return write


def _outline(points: pd.DataFrame, half_width_m: float = 2.8) -> list[list[float]]:
    """Draw a rectangle about the straight line that the points of a strip lie on."""
    metres = np.array([np.cos(np.radians(points["lat"].mean())), 1.0]) * 111_194.9
    places = points[["long", "lat"]].to_numpy() * metres
    middle = places.mean(axis=0)
    _, _, axes = np.linalg.svd(places - middle, full_matrices=False)
    along = (places - middle) @ axes[0]
    ends = middle + np.outer([along.min() - 4, along.max() + 4], axes[0])
    side = half_width_m * axes[1]
    corners = [ends[0] - side, ends[1] - side, ends[1] + side, ends[0] + side, ends[0] - side]
    return [list(corner / metres) for corner in corners]
