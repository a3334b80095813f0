from .agreement import rig_notices
from .file import Rig, as_rig, check_rig_text, read_rig
from .finding import RIG_FILE, FoundRig, RigPlace, configuration_folder, find_rig
from .limits import LimitsTable
from .mechanics import arcmin_per_turn, smallest_turn
from .schema import RigSchema
from .solver_table import SolverTable
from .summary import KnobSummary, RigSummary, summarise_rig
from .tables import Knob

__all__ = [
    "RIG_FILE",
    "FoundRig",
    "Knob",
    "KnobSummary",
    "LimitsTable",
    "Rig",
    "RigPlace",
    "RigSchema",
    "RigSummary",
    "SolverTable",
    "arcmin_per_turn",
    "as_rig",
    "check_rig_text",
    "configuration_folder",
    "find_rig",
    "read_rig",
    "rig_notices",
    "smallest_turn",
    "summarise_rig",
]
