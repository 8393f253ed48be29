"""From a gain and its error to money: whether it paid, and how sure that is."""

from trialkit.money.budget import partial_budget
from trialkit.money.payoff import Payoff, payoff

__all__ = ["Payoff", "partial_budget", "payoff"]
