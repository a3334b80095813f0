from .objects import (
    correction_object,
    drift_check_object,
    drift_object,
    exposure_list_object,
    exposure_object,
    followed_object,
    json_text,
    map_object,
    measurement_object,
    night_object,
    plan_object,
    report_object,
    rig_object,
    rough_object,
    solve_object,
    stars_object,
    timeline_object,
    tracked_plan_object,
)
from .page.night_page import night_page
from .pictures.axis import save_measurement_picture
from .pictures.drift import save_drift_picture
from .pictures.drift_check import save_drift_check_picture
from .pictures.mark import save_mark_picture
from .pictures.night import save_night_picture
from .pictures.pole_field import save_pole_picture
from .pictures.sky_map import save_map_picture
from .pictures.star_look import save_look_picture
from .pictures.stars import save_stars_picture
from .pictures.timeline import save_timeline_picture
from .presenter import NotebookPresenter
from .text.checklist import checklist_steps, checklist_text
from .text.correction import correction_text
from .text.drift import drift_text
from .text.drift_check import drift_check_text
from .text.evening import event_line, standing_line
from .text.evening_screen import Paper, screen_lines
from .text.exposure import exposure_text
from .text.exposure_list import exposure_list_text
from .text.followup import followed_text
from .text.lines import line_width, notice_text, wrapped
from .text.measurement import measurement_text
from .text.night import night_text, taken_text, turned_words
from .text.plan import plan_text, tracked_plan_text
from .text.report import report_text
from .text.rig import rig_text
from .text.rig_file import rig_template
from .text.rough import rough_text
from .text.sky_map import map_text
from .text.solving import solved_text, unsolved_text
from .text.stars import stars_text
from .text.target_axis import aim_notices
from .text.timeline import timeline_text

__all__ = [
    "NotebookPresenter",
    "Paper",
    "aim_notices",
    "checklist_steps",
    "checklist_text",
    "correction_object",
    "correction_text",
    "drift_check_object",
    "drift_check_text",
    "drift_object",
    "drift_text",
    "event_line",
    "exposure_list_object",
    "exposure_list_text",
    "exposure_object",
    "exposure_text",
    "followed_object",
    "followed_text",
    "json_text",
    "line_width",
    "map_object",
    "map_text",
    "measurement_object",
    "measurement_text",
    "night_object",
    "night_page",
    "night_text",
    "notice_text",
    "plan_object",
    "plan_text",
    "report_object",
    "report_text",
    "rig_object",
    "rig_template",
    "rig_text",
    "rough_object",
    "rough_text",
    "save_drift_check_picture",
    "save_drift_picture",
    "save_look_picture",
    "save_map_picture",
    "save_mark_picture",
    "save_measurement_picture",
    "save_night_picture",
    "save_pole_picture",
    "save_stars_picture",
    "save_timeline_picture",
    "screen_lines",
    "solve_object",
    "solved_text",
    "standing_line",
    "stars_object",
    "stars_text",
    "taken_text",
    "timeline_object",
    "timeline_text",
    "tracked_plan_object",
    "tracked_plan_text",
    "turned_words",
    "unsolved_text",
    "wrapped",
]
