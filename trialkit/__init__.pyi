from .design import (
    lay_out,
    strips_needed,
)
from .errors import (
    TrialkitError,
    TrialkitWarning,
)
from .harvest import (
    read_log,
    screen,
    strip_table,
)
from .models import (
    fit_counts,
    fit_mixed,
    pool,
    shuffle_test,
)
from .money import (
    partial_budget,
    payoff,
)
from .season import (
    analyse,
    harvest_season,
    write_results,
)
from .trial import open_trial

__all__ = [
    "TrialkitError",
    "TrialkitWarning",
    "analyse",
    "fit_counts",
    "fit_mixed",
    "harvest_season",
    "lay_out",
    "open_trial",
    "partial_budget",
    "payoff",
    "pool",
    "read_log",
    "screen",
    "shuffle_test",
    "strip_table",
    "strips_needed",
    "write_results",
]
