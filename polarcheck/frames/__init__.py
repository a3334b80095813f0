"""Solved frames: files -> `Frame`, with place on the sky, mid-exposure and site.

The way of a file::

    finding        what was typed -> files
    companions     which files belong together
    headers        file -> headers, without touching the data; is it whole?
    cards          header -> values, every card distrusted
    loading        image + solution -> one frame's headers
    exposure_time  headers -> mid-exposure, UTC
    header_site    headers -> site
    systems        RADESYS, EQUINOX -> rotation to ICRS
    solution       headers -> pixels to sky and back
    sensor         the points of the sensor that stand for its stars
    reading        one file -> Frame
    frame_set      all files -> FrameSet
    pixels         one file -> its pixels

Only this room reads frames.
"""

from polarcheck.frames.finding import find_frames
from polarcheck.frames.frame import Frame, FrameSet, Problem
from polarcheck.frames.frame_set import read_frames
from polarcheck.frames.pixels import Image, read_image, read_pixels
from polarcheck.frames.reading import read_frame, read_solution
from polarcheck.frames.sensor import SENSOR_NODES, SENSOR_WEIGHTS
from polarcheck.frames.solution import Solution

__all__ = [
    "SENSOR_NODES",
    "SENSOR_WEIGHTS",
    "Frame",
    "FrameSet",
    "Image",
    "Problem",
    "Solution",
    "find_frames",
    "read_frame",
    "read_frames",
    "read_image",
    "read_pixels",
    "read_solution",
]
