"""The trial folder: what it holds, how it is checked, how it is written."""

from trialkit.trial.config import TrialConfig
from trialkit.trial.folder import Trial, check_folder, check_harvest, open_trial
from trialkit.trial.scouting_files import Scouted, check_scouting, read_scouting

__all__ = [
    "Scouted",
    "Trial",
    "TrialConfig",
    "check_folder",
    "check_harvest",
    "check_scouting",
    "open_trial",
    "read_scouting",
]
