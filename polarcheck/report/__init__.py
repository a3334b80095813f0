"""Results to text, JSON and pictures. Shows, never computes."""

from polarcheck.report.json_text import json_text, measurement_object
from polarcheck.report.picture import save_measurement_picture
from polarcheck.report.text import measurement_text, notice_text

__all__ = ["json_text", "measurement_object", "measurement_text", "notice_text", "save_measurement_picture"]
