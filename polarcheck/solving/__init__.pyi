from .engine import Engine, EngineError, Match, Task
from .folder import SolvedSet, solve_frame, solve_frames
from .folder_solver import FolderSolver
from .one_frame import STAR_SOURCES, Shared, SolvedFrame, State
from .schema import SolveSchema
from .solver import LIMIT_S, Solver
from .wanted import Place, parse_scale

__all__ = [
    "LIMIT_S",
    "STAR_SOURCES",
    "Engine",
    "EngineError",
    "FolderSolver",
    "Match",
    "Place",
    "Shared",
    "SolveSchema",
    "SolvedFrame",
    "SolvedSet",
    "Solver",
    "State",
    "Task",
    "parse_scale",
    "solve_frame",
    "solve_frames",
]
