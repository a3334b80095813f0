"""The text of a new rig file: every key with its unit, an example and how to measure it."""

from __future__ import annotations

import re

__all__ = ["rig_template"]

_TEMPLATE = """\
# Rig file of polarcheck: what your telescope, camera, mount and site are like.
#
# Every key may be missing. A command uses what is here and says what it lacks;
# it never fills in a guess. To state something, put your own value and take
# away the # in front of it, and in front of its [table] if that has one. The
# values shown are those of an invented rig. Then look what follows from them:
#     polarcheck rig show
#
# polarcheck finds this file as rig.toml in the frames' folder, or in your own
# configuration folder (docs/rig.md says where), or by --rig FILE.toml.

[optics]
# Focal length in mm, with reducer or extender as used. The best measure: the
# image scale in arcsec/px from a solved frame gives
# 206.265 x pixel size in um / scale. For: field of view, exposure.
#focal_length_mm = 250.0

[camera]
# Size of one pixel in um, and how many pixels wide and high the frames are (the
# FITS keywords NAXIS1 and NAXIS2). From the camera's data sheet; when binned
# 2x2, twice the size and half the numbers. For: field of view, exposure.
#pixel_size_um = 6.0
#width_px = 1200
#height_px = 900
# Time zone of the camera's clock, for pictures and raw files, which seldom
# name it: hours from UTC such as "+01:00", or a name of the IANA time zone
# database such as "Europe/Vienna". For: measure, follow.
#zone = "+01:00"

[guiding]
# Where the guide star stands, in degrees on the sky from the centre of the
# camera's field: [east, north]. West and south are negative. Solve a guide
# frame and a camera frame taken together and take the difference (right
# ascension times cos declination). For: rotation during guided exposures.
#offset_deg = [0.3, -0.1]

[mount]
# "german" (a counterweight on the declination axis; it changes the side of the
# pier at the meridian), "fork" or "tracker" (a small head for a camera, without
# a counterweight). For: the checklist, the sweep plan.
#kind = "german"
# Periodic error in arcsec, from the lowest to the highest point of the curve
# (peak to peak), and the time of one turn of the worm in s. Track a star
# near the celestial equator, unguided, for two turns of the worm.
# For: unguided exposures.
#periodic_error_arcsec = 20.0
#worm_period_s = 480.0
# How far telescope and camera may sag, or creep during a sweep, in arcsec. To
# measure: sweep, go back to the first position, take one more frame; measure
# says what crept. For: what the answer is good for beside its noise.
#flexure_arcsec = 5.0
# The total error in arcmin that is near enough for you. For: what correct
# advises. Unless stated 0.5, or what a hand can be expected to reach.
#goal_arcmin = 1.0
# How the axis shifts when you tighten the clamps of the base, in arcmin:
# [azimuth about the vertical, altitude], after minus before. Azimuth is
# positive clockwise seen from above, altitude upwards. Measure the axis with
# the clamps loose, tighten, touch no knob, measure again: the difference.
#clamp_shift_arcmin = [1.5, -0.4]

[mount.azimuth]
# The azimuth knob. State either how far one turn moves the axis, in arcmin of
# azimuth (about the vertical, as polarcheck measure states it). To measure:
# turn a little in one direction to take up the backlash, measure the axis,
# turn on by two whole turns in the same direction, measure again: half the
# difference.
#arcmin_per_turn = 61.4
# How sure that is (one sigma); correct --keep-response writes both.
#arcmin_per_turn_sigma = 0.8
# Or the screw: its thread pitch in mm (lay a ruler along ten threads, divide
# by ten; M8 has 1.25), and the lever in mm from the pivot about which the
# base turns to the line of the screw, square to it. Where both are stated,
# arcmin_per_turn holds.
#thread_pitch_mm = 1.25
#lever_mm = 70.0
# "screw": one screw moves the axis. "opposed bolts": two bolts push from both
# sides; one comes out, the other goes in by as much.
#kind = "opposed bolts"
# Which way the end of the axis at the visible pole goes when you face the knob
# and turn it clockwise: "east" or "west". With opposed bolts: when you turn
# the bolt on the east side clockwise (and the other one out). Try it with the
# bare mount. A single screw's sense changes between the hemispheres.
#clockwise_moves = "east"
# Backlash: turns that the knob goes back before the axis follows. Watch a
# star: turn one way until it moves, then back, and count until it moves again.
#backlash_turns = 0.05
# The smallest turn that your hand can make on purpose. 0.01 (4 deg of the
# knob's rim) unless stated.
#smallest_turn = 0.01
# How far the knob can move the axis in all, from end to end, in arcmin.
#travel_arcmin = 600.0

[mount.altitude]
# The altitude knob, the same way. The lever runs from the altitude pivot to the
# screw. clockwise_moves is "up" or "down"; with opposed bolts it is said of
# the bolt on the side of the pole. Hold the axis when you back a bolt off:
# the maker's manual comes first.
#arcmin_per_turn = 71.6
#arcmin_per_turn_sigma = 0.9
#thread_pitch_mm = 1.25
#lever_mm = 60.0
#kind = "screw"
#clockwise_moves = "up"
#backlash_turns = 0.1
#smallest_turn = 0.01
#travel_arcmin = 900.0

[mount.limits]
# Where the mount can point, for the sweep plan and the next frame, in degrees.
# Lowest and highest altitude (near the zenith some tubes meet the tripod).
#lowest_deg = 20.0
#highest_deg = 80.0
# How far past the meridian the tube may go before the mount must change the
# side of the pier. Try it by hand, by day, cables attached.
#past_meridian_deg = 10.0
# Least and greatest turn about the right-ascension axis, 0 with the camera on
# the meridian, west positive; and the longest arc of one sweep.
#axis_angle_deg = [-100.0, 100.0]
#arc_deg = 150.0

# Where the mount stands, for frames whose headers do not say and for planning:
# degrees, north and east positive, and metres. From a map or a satellite
# receiver. Take the # from [site] too.
#[site]
#latitude_deg = 47.3
#longitude_deg = 11.2
#height_m = 900.0
# What hides the sky: pairs of azimuth (north 0, east 90) and altitude, straight
# in between and on around. A phone's level and compass will do.
#horizon = [[0.0, 15.0], [90.0, 25.0], [180.0, 10.0], [270.0, 20.0]]
# Time zone of the clock that you read there, for times of day that you type,
# such as --at 20:30; hours from UTC, or a name as above.
#zone = "+01:00"

[solver]
# The plate solver for frames that are not solved. Whether measure, follow,
# stars and watch solve such frames on the way, as with --solve.
#always = false
# Folders of index files, beside the usual ones, and another solver than the one
# that is found by itself, see docs/solving.md:
#   index_folders = ["/data/index-files"]
#   command = ["some-solver", "{stars}", "--out", "{solution}"]
"""

_HIDDEN = re.compile(r"^#(?=[\[a-z])", re.MULTILINE)


def rig_template(example: bool = False) -> str:
    """Return the text of a new rig file.

    Parameters
    ----------
    example : bool
        Whether the values of the invented demo rig shall stand in it, to try it out. Otherwise each is
        commented out, so that nothing counts that its owner has not stated.

    Returns
    -------
    str
        TOML with comments, without a line break at the end.
    """
    text = _HIDDEN.sub("", _TEMPLATE) if example else _TEMPLATE
    return text.rstrip("\n")
