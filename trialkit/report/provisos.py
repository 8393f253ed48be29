"""What the report cannot say, and what can hurt someone who acts on it."""

from __future__ import annotations

from trialkit.language import marked

#: What a trial cannot say, however well it was done.
LIMITS = (
    marked(
        "One trial is one paddock in one season. By itself it says nothing about other soils, "
        "seasons, varieties, rates or products."
    ),
    marked(
        "A yield monitor senses flow, not the crop. Errors of delay, calibration and moisture are "
        "reduced here, not removed; a weighbridge or a weigh cart is the better judge."
    ),
    marked(
        "The interval and the chance count only the error between strips. They do not count a "
        "mix-up of seed, a wrong label on a strip, or spray and fertiliser that were not alike."
    ),
    marked(
        "Prices and costs are those of trial.toml. Statistics and budgets are no financial advice."
    ),
)

#: What can hurt someone. All of it defers to the label, local rules and licensed practice.
CAUTIONS = (
    marked(
        "Label and safety data sheet first. They, local rules and licensed practice stand above "
        "anything written here."
    ),
    marked(
        "Dressed seed is never food or feed. Keep it and its spillage from stock, birds and water, "
        "and clean bins and augers before they carry grain again."
    ),
    marked("With powders wear a dust mask, gloves and eye protection."),
    marked(
        "Keep guards on augers and power shafts; stop and lock out before clearing a blockage. "
        "Nobody goes into a bin or hopper of grain: damp dressed seed bridges and gives way."
    ),
    marked(
        "Store and dispose of left-over seed and products as the label says, and check that a "
        "product is registered where you farm."
    ),
)
