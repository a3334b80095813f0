"""Unsolved frames to plate solutions: star lists handed to a general plate solver on this machine.

This room recognises no star pattern itself. It lists the stars of a frame, lets a solver match them, and keeps the
solution beside the frame. From the top: folder_solver, folder, keeping, refit, camera, one_frame,
reasons, solver, template_engine, packaged_engine, field_engine, engine, index_files, children, wanted.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
