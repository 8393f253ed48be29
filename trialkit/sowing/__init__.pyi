from .catch_targets import (
    CatchTarget,
    auger_target,
    pump_by_auger,
    pump_target,
)
from .catches import (
    Catches,
    auger_catches,
    pump_catches,
)
from .cautions import (
    CAUTIONS,
    Caution,
    cautions_for,
)
from .dressing import (
    MixPlan,
    mix_plan,
    seed_moisture_after,
)
from .flow_match import (
    FlowMatch,
    match_flows,
)
from .living import (
    MINIMUM_CELLS_PER_SEED,
    cells_per_seed,
)
from .metering import (
    Recalibration,
    recalibrate,
)
from .morning import mix_times
from .order import (
    CleanOut,
    SowingOrder,
    sowing_order,
)
from .product import Product
from .pump_dial import (
    DialSetting,
    PumpLine,
    fit_pump_line,
)
from .seeding import (
    SeedNeed,
    plants_sown,
    seed_needed,
    seeding_rate,
)
from .stand import (
    ArmCheck,
    compare_arms,
)

__all__ = [
    "CAUTIONS",
    "MINIMUM_CELLS_PER_SEED",
    "ArmCheck",
    "CatchTarget",
    "Catches",
    "Caution",
    "CleanOut",
    "DialSetting",
    "FlowMatch",
    "MixPlan",
    "Product",
    "PumpLine",
    "Recalibration",
    "SeedNeed",
    "SowingOrder",
    "auger_catches",
    "auger_target",
    "cautions_for",
    "cells_per_seed",
    "compare_arms",
    "fit_pump_line",
    "match_flows",
    "mix_plan",
    "mix_times",
    "plants_sown",
    "pump_by_auger",
    "pump_catches",
    "pump_target",
    "recalibrate",
    "seed_moisture_after",
    "seed_needed",
    "seeding_rate",
    "sowing_order",
]
