"""From a gain and its error to money: what it cost, whether it paid, how sure, and what next."""

from trialkit.money.break_even import break_even_curve, likely_prices, payoff_grid
from trialkit.money.budget import budget_sensitivity, partial_budget
from trialkit.money.costs import Costs, CostSheet, Rates, cost_sheet, extra_cost
from trialkit.money.decision import NextStep, TrialCost, next_step
from trialkit.money.grades import (
    Grade,
    check_grades,
    expected_price,
    grade_chances,
    limited_measures,
    price_by_grade,
    price_gain_between,
)
from trialkit.money.grain_price import Deductions, net_price
from trialkit.money.loss_integrals import normal_loss, t_loss
from trialkit.money.money_checks import check_cost
from trialkit.money.outlook import Farm, Outlook, look_ahead
from trialkit.money.payoff import Payoff, PriceGain, payoff
from trialkit.money.ranking import Ranking, covariance_of_gains, rank_treatments
from trialkit.money.risk import Risk, season_risk
from trialkit.money.trial_value import value_of_knowing, value_of_trial

__all__ = [
    "CostSheet",
    "Costs",
    "Deductions",
    "Farm",
    "Grade",
    "NextStep",
    "Outlook",
    "Payoff",
    "PriceGain",
    "Ranking",
    "Rates",
    "Risk",
    "TrialCost",
    "break_even_curve",
    "budget_sensitivity",
    "check_cost",
    "check_grades",
    "cost_sheet",
    "covariance_of_gains",
    "expected_price",
    "extra_cost",
    "grade_chances",
    "likely_prices",
    "limited_measures",
    "look_ahead",
    "net_price",
    "next_step",
    "normal_loss",
    "partial_budget",
    "payoff",
    "payoff_grid",
    "price_by_grade",
    "price_gain_between",
    "rank_treatments",
    "season_risk",
    "t_loss",
    "value_of_knowing",
    "value_of_trial",
]
