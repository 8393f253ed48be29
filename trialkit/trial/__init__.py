"""The trial folder: what it holds, how it is checked, how it is written."""

from trialkit.trial.config import TrialConfig
from trialkit.trial.folder import Trial, check_folder, check_harvest, open_trial

__all__ = ["Trial", "TrialConfig", "check_folder", "check_harvest", "open_trial"]
