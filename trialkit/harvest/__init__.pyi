from .column_guess import (
    proposal_text,
    propose_columns,
)
from .delay import (
    Delay,
    estimate_delay,
    find_delay,
    given_delay,
)
from .grain import (
    at_standard_moisture,
    yield_from_flow,
    yield_from_mass,
)
from .joins import (
    join_points,
    join_raster,
    join_zones,
)
from .log import read_log
from .machines import (
    by_machine,
    level_machines,
)
from .moisture_delay import find_moisture_delay
from .passes import split_passes
from .relief import add_relief
from .screening import (
    screen,
    screening_account,
    settled_ends,
)
from .settings import (
    Screening,
    screening_levels,
)
from .shift import shift_flow
from .strips import (
    assign_strips,
    strip_table,
)
from .transients import (
    PassEnds,
    find_pass_ends,
)
from .weights import (
    against_scales,
    calibrate,
    weigh_strips,
)

__all__ = [
    "Delay",
    "PassEnds",
    "Screening",
    "add_relief",
    "against_scales",
    "assign_strips",
    "at_standard_moisture",
    "by_machine",
    "calibrate",
    "estimate_delay",
    "find_delay",
    "find_moisture_delay",
    "find_pass_ends",
    "given_delay",
    "join_points",
    "join_raster",
    "join_zones",
    "level_machines",
    "proposal_text",
    "propose_columns",
    "read_log",
    "screen",
    "screening_account",
    "screening_levels",
    "settled_ends",
    "shift_flow",
    "split_passes",
    "strip_table",
    "weigh_strips",
    "yield_from_flow",
    "yield_from_mass",
]
