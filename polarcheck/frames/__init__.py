"""Solved frames: FITS, pictures and raw files -> `Frame`, with place on the sky, mid-exposure and site.

The way of a file::

    cards          header -> values, every card distrusted
    headers        FITS file -> headers, without touching the data; is it whole?
    kinds          FITS, picture or raw file?
    exif           what a camera wrote -> header cards
    picture_checks is a picture whole, and not too large?
    wide_colour    colours of 16 bits
    pictures       JPEG, PNG, TIFF -> header cards, pixels
    raw_files      a camera's raw file -> header cards, pixels
    image_files    file of any kind -> headers
    companions     which files belong together
    finding        what was typed -> files
    loading        image + solution -> one frame's headers
    clock          what is stated of the clock
    exposure_time  headers -> mid-exposure, UTC
    header_site    headers -> site
    telescope_cards  headers -> where the telescope pointed
    systems        RADESYS, EQUINOX -> rotation to ICRS
    plain_wcs      the cards that most solvers write -> their WCS, quickly
    solution       headers -> pixels to sky and back
    sensor         the points of the sensor that stand for its stars
    reading        one file -> Frame
    frame_set      all files -> FrameSet
    pixels         one file -> its pixels
    unsolved       headers -> what helps to solve an image
    plate          pixels and their places -> a solution of our own
    solution_file  that solution -> NAME.wcs
    star_lists     tables that go to a plate solver and come from it

Only this room reads frames.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
