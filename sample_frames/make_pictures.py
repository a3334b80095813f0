"""Make the sample frames that are not solved FITS images: the northern sweep as a camera's JPEG files, and unsolved.

What
    ``jpeg_sweep``: the pixels of ``north_sweep`` through a tone curve into colours of 8 bits, as a camera's JPEG has
    them, with EXIF whose clock shows the time of the zone +01:00 without naming it. Beside each lies the header-only
    solution that the solver gives for the luminance of that JPEG.
    ``unsolved_sweep``: four frames of ``north_sweep`` without their solution.
Sources
    As for ``make_sample_frames.py``, which must have made ``north_sweep``. Tone curve: a power of 1/2.2 (common
    practice, no source). EXIF: CIPA DC-008, Exif 2.32, by Pillow.
How to run
    As ``make_sample_frames.py``; it takes half a minute::

        python sample_frames/make_pictures.py --index /usr/share/astrometry
"""

from __future__ import annotations

import argparse
import datetime
import json
import shutil
from pathlib import Path
from typing import Any

import numpy as np
from astropy.io import fits
from make_sample_frames import (
    ALL_SERIES,
    EXPOSURE_S,
    FOCAL_LENGTH_MM,
    PIXEL_SIZE_UM,
    TWEAK_ORDER,
    exposures,
    judge,
    report,
    solve,
)
from PIL import ExifTags, Image
from PIL.TiffImagePlugin import IFDRational
from rendering import BIAS_ADU, View

from polarcheck.frames import read_pixels
from polarcheck.simulate import Camera, mount_axis
from polarcheck.sky import Sky
from polarcheck.vectors import Array

CLOCK_AHEAD = datetime.timedelta(hours=1)
FULL_ADU = 4000.0  # above the bias; what is brighter is white
TINT = (1.06, 1.0, 0.88)  # of the lights of a village
UNSOLVED = (1, 3, 6, 8)
SERIES = ALL_SERIES[0]


def main() -> None:
    """Make both folders and print the errors of the solutions."""
    parser = argparse.ArgumentParser(description="Make the sample pictures.")
    parser.add_argument("--index", type=Path, required=True, help="folder of the solver's index files")
    parser.add_argument("--out", type=Path, default=Path(__file__).parent)
    options = parser.parse_args()
    made = Path(__file__).parent / SERIES.folder
    make_unsolved(made, fresh(options.out / "unsolved_sweep"))
    make_jpegs(made, fresh(options.out / "jpeg_sweep"), options.index)


def fresh(folder: Path) -> Path:
    if folder.exists():
        shutil.rmtree(folder)
    folder.mkdir(parents=True)
    return folder


def make_unsolved(made: Path, folder: Path) -> None:
    """Write some frames without the cards of their solution."""
    for number in UNSOLVED:
        with fits.open(made / f"{SERIES.folder}_{number:02d}.fits.fz") as content:
            image, header = content[1].data, content[1].header
        end = list(header).index("WCSAXES")  # the solver's cards came last
        cards = [card for card in header.cards[:end] if card.keyword not in {"XTENSION", "PCOUNT", "GCOUNT"}]
        compressed = fits.CompImageHDU(image, fits.Header(cards), compression_type="RICE_1")
        path = folder / f"unsolved_sweep_{number:02d}.fits.fz"
        fits.HDUList([fits.PrimaryHDU(), compressed]).writeto(path)


def make_jpegs(made: Path, folder: Path, index: Path) -> None:
    """Write the sweep as JPEG files, solve and judge them."""
    scale = 206.265 * PIXEL_SIZE_UM / FOCAL_LENGTH_MM
    camera = Camera(pixel_scale_arcsec=scale, camera_angle_deg=SERIES.camera_angle_deg)
    sky = Sky.over(SERIES.site)
    axis = mount_axis(SERIES.error_arcmin, sky.refracted_pole)
    truth = json.loads((made / "truth.json").read_text(encoding="utf-8"))
    about = []
    for known, (attitude, middle) in zip(truth["frames"], exposures(SERIES, axis), strict=True):
        path = folder / known["file"].replace(SERIES.folder, "jpeg_sweep").replace(".fits.fz", ".jpg")
        with fits.open(made / known["file"]) as content:
            image, begin = content[1].data, content[1].header["DATE-OBS"]
        write_jpeg(path, image, exif(datetime.datetime.fromisoformat(begin)))
        solution = solve(read_pixels(path), index, scale, TWEAK_ORDER)
        fits.PrimaryHDU(None, solution).writeto(path.with_suffix(".wcs"))
        frame = {key: known[key] for key in ("axis_angle_deg", "stars")}
        about.append({"file": path.name} | frame | judge(solution, View(attitude, middle, sky, camera)))
    text = json.dumps(truth | {"frames": about}, indent=2)
    (folder / "truth.json").write_text(text + "\n", encoding="utf-8")
    report("jpeg_sweep", about)


def write_jpeg(path: Path, image: Array, tags: Image.Exif) -> None:
    """Develop a frame as a camera would: a tone curve, colours, 8 bits."""
    light = np.clip((image - BIAS_ADU) / FULL_ADU, 0, 1)[..., None] * np.array(TINT)
    developed = np.rint(255 * np.clip(light, 0, 1) ** (1 / 2.2)).astype(np.uint8)
    Image.fromarray(developed).save(path, quality=92, exif=tags)


def exif(begin: datetime.datetime) -> Image.Exif:
    """What a camera of nobody's make writes: local time without its zone, exposure, lens, place."""
    tags = Image.Exif()
    tags.get_ifd(ExifTags.IFD.Exif).update(
        {
            ExifTags.Base.DateTimeOriginal: f"{begin + CLOCK_AHEAD:%Y:%m:%d %H:%M:%S}",
            ExifTags.Base.ExposureTime: IFDRational(round(EXPOSURE_S * 10), 10),
            ExifTags.Base.FocalLength: IFDRational(round(FOCAL_LENGTH_MM), 1),
        }
    )
    site = SERIES.site
    tags.get_ifd(ExifTags.IFD.GPSInfo).update(
        {
            ExifTags.GPS.GPSLatitudeRef: "N",
            ExifTags.GPS.GPSLatitude: sexagesimal(site.latitude_deg),
            ExifTags.GPS.GPSLongitudeRef: "E",
            ExifTags.GPS.GPSLongitude: sexagesimal(site.longitude_deg),
            ExifTags.GPS.GPSAltitudeRef: b"\0",
            ExifTags.GPS.GPSAltitude: IFDRational(round(site.height_m), 1),
        }
    )
    return tags


def sexagesimal(angle_deg: float) -> tuple[Any, ...]:
    minutes, seconds = divmod(round(angle_deg * 3600), 60)
    return tuple(IFDRational(part, 1) for part in (*divmod(minutes, 60), seconds))


if __name__ == "__main__":
    main()
