"""How the numbers of the page come about, and where the method stands: short, for people who want to check."""

from __future__ import annotations

__all__ = ["METHODS"]

METHODS: tuple[tuple[str, str, str], ...] = (
    (
        "Axis",
        "Each frame's plate solution gives the camera's attitude against the observed sky; between attitudes the camera "
        "turned about the axis, which is fitted by least squares with a free turn for every frame.",
        "Attitudes from weighted directions: G. Wahba, SIAM Review 7 (1965) 409; W. Kabsch, Acta Cryst. A32 (1976) 922.",
    ),
    (
        "Where stars are seen",
        "ICRS places brought to the site and moment: precession, nutation, aberration, Earth rotation, polar motion, "
        "refraction.",
        "IAU 2006/2000A as in the ERFA library; UT1−UTC and polar motion from IERS Bulletin A.",
    ),
    (
        "Refraction",
        "A tan z + B tan³ z with the constants for pressure, temperature, humidity and 0.55 µm; where no pressure is said, a "
        "standard atmosphere at the site's height.",
        "ERFA, eraRefco; ISO 2533 standard atmosphere.",
    ),
    (
        "Error",
        "Axis minus the refracted pole (unless said otherwise): azimuth about the vertical, altitude, and the great-circle "
        "angle between both.",
        "Definition.",
    ),
    (
        "± by noise",
        "Half-width of the 68.27 % interval, by Student's t where few residuals gave the scale. Outlines hold the axis with 68 "
        "and 95 %.",
        "JCGM 100:2008 (GUM), annex G; H. Hotelling, Ann. Math. Stat. 2 (1931) 360.",
    ),
    (
        "Sag and creep",
        "What a turn of the camera against the mount, of the size allowed for, does to the axis in this sweep. A bound, no "
        "standard error.",
        "Worked out for these frames; the size is the rig file's or 5 arcsec, common practice.",
    ),
    (
        "Knob turns",
        "Minus the error through the knobs' gains: as stated in the rig file, and as this night's turns taught.",
        "Thread pitch over lever, or as measured.",
    ),
    (
        "Drift and rotation",
        "The star moves by the real sky, the camera turns about the measured axis at the sidereal rate; the difference in the "
        "camera, without small-angle formulas.",
        "Spherical geometry; the sidereal rate from IERS Conventions (2010), 5.15.",
    ),
    (
        "Longest exposure",
        "The first moment at which a star anywhere on the sensor has moved by the tolerance, in the focal plane in units of "
        "the central pixel scale. Guided: the guide star is held by turns about both axes. The 95 % value holds for 95 of 100 "
        "axes drawn from the covariance.",
        "Gnomonic projection: M. R. Calabretta, E. W. Greisen, A&A 395 (2002) 1077.",
    ),
    (
        "The sliders",
        "They read between the rows of a table of motion against exposure that was computed with this page; the browser "
        "computes nothing of the sky.",
        "Between two rows the motion goes as a power of the length; within 0.5 % of the value found without a table.",
    ),
    (
        "Stars",
        "Second moments of the pixels above the sky; medians over the frame. Pictures are shrunk and stretched to show stars, "
        "not to be measured.",
        "Common practice, no source.",
    ),
    (
        "Places of named targets",
        "Looked up in the catalogue that comes along.",
        "OpenNGC (CC BY-SA 4.0).",
    ),
)
"""Number, how it is computed, source."""
