from .file import Knob, Rig, check_rig_text, read_rig
from .finding import RIG_FILE, configuration_folder, find_rig
from .mechanics import arcmin_per_turn, smallest_turn
from .schema import RigSchema
from .summary import KnobSummary, RigSummary, summarise_rig

__all__ = [
    "RIG_FILE",
    "Knob",
    "KnobSummary",
    "Rig",
    "RigSchema",
    "RigSummary",
    "arcmin_per_turn",
    "check_rig_text",
    "configuration_folder",
    "find_rig",
    "read_rig",
    "smallest_turn",
    "summarise_rig",
]
