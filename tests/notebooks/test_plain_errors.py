"""Faults of the input in a notebook: one message, the traceback on request."""

from __future__ import annotations

import nbformat
import pytest
from nbclient import NotebookClient
from nbclient.exceptions import CellExecutionError

from trialkit.notebooks import plain_errors


def ran(*sources, stop=False):
    notebook = nbformat.v4.new_notebook(
        cells=[nbformat.v4.new_code_cell(source) for source in sources]
    )
    NotebookClient(notebook, kernel_name="python3", allow_errors=not stop).execute()
    return [cell.outputs for cell in notebook.cells]


ON = "import trialkit\nfrom trialkit.notebooks import plain_errors\nplain_errors()"
FAULT = "# the folder is not there\ntrial = trialkit.open_trial('no-such-trial')"


def test_a_fault_of_the_input_is_one_message_and_the_traceback_waits():
    _, (fault,), (asked,), (other,) = ran(ON, FAULT, "%tb", "1 / 0")
    (shown,) = fault["traceback"]
    assert "There is no such folder. Make one with `trialkit new FOLDER`." in shown
    assert "Line 2 of this cell: trial = trialkit.open_trial('no-such-trial')" in shown
    assert "run %tb in a cell" in shown
    assert "Traceback" not in shown
    assert ".py" not in shown
    assert "folder.py" in "".join(asked["traceback"])
    assert "Traceback" in "".join(other["traceback"])


def test_the_kind_and_the_message_stay_for_who_runs_the_notebook():
    with pytest.raises(CellExecutionError, match="no-such-trial") as stop:
        ran(ON, FAULT, stop=True)
    assert stop.value.ename == "TrialFolderError"
    assert stop.value.evalue.startswith("no-such-trial: the trial folder has a fault.")


def test_outside_a_notebook_nothing_happens():
    assert plain_errors() is None
