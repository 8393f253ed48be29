"""Dressing the seed and sowing it without spoiling the trial.

Names are loaded when first used, so that the commands start without the heavy libraries.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from trialkit.sowing.catch_targets import (
        CatchTarget,
        auger_target,
        pump_by_auger,
        pump_target,
    )
    from trialkit.sowing.catches import Catches, auger_catches, pump_catches
    from trialkit.sowing.cautions import CAUTIONS, Caution, cautions_for
    from trialkit.sowing.dressing import MixPlan, mix_plan, seed_moisture_after
    from trialkit.sowing.flow_match import FlowMatch, match_flows
    from trialkit.sowing.living import MINIMUM_CELLS_PER_SEED, cells_per_seed
    from trialkit.sowing.metering import Recalibration, recalibrate
    from trialkit.sowing.morning import mix_times
    from trialkit.sowing.order import CleanOut, SowingOrder, sowing_order
    from trialkit.sowing.product import Product
    from trialkit.sowing.pump_dial import DialSetting, PumpLine, fit_pump_line
    from trialkit.sowing.seeding import SeedNeed, plants_sown, seed_needed, seeding_rate
    from trialkit.sowing.stand import ArmCheck, compare_arms

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

_MODULES = {
    "CatchTarget": "catch_targets",
    "auger_target": "catch_targets",
    "pump_by_auger": "catch_targets",
    "pump_target": "catch_targets",
    "Catches": "catches",
    "auger_catches": "catches",
    "pump_catches": "catches",
    "CAUTIONS": "cautions",
    "Caution": "cautions",
    "cautions_for": "cautions",
    "MixPlan": "dressing",
    "mix_plan": "dressing",
    "seed_moisture_after": "dressing",
    "FlowMatch": "flow_match",
    "match_flows": "flow_match",
    "MINIMUM_CELLS_PER_SEED": "living",
    "cells_per_seed": "living",
    "Recalibration": "metering",
    "recalibrate": "metering",
    "mix_times": "morning",
    "CleanOut": "order",
    "SowingOrder": "order",
    "sowing_order": "order",
    "Product": "product",
    "DialSetting": "pump_dial",
    "PumpLine": "pump_dial",
    "fit_pump_line": "pump_dial",
    "SeedNeed": "seeding",
    "plants_sown": "seeding",
    "seed_needed": "seeding",
    "seeding_rate": "seeding",
    "ArmCheck": "stand",
    "compare_arms": "stand",
}


def __getattr__(name: str) -> object:
    if name not in _MODULES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_MODULES[name]}"), name)


def __dir__() -> list[str]:
    return sorted([*globals(), *_MODULES])
