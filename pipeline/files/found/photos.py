"""Photos as spots: where and when they were taken, and the words in their name or description."""

from __future__ import annotations

from pathlib import Path

from PIL import Image, UnidentifiedImageError
from PIL.ExifTags import GPS, IFD, Base

from pipeline.errors import InputError

ENDINGS = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp")


def read_photo(path: Path, /) -> tuple[tuple[float, float] | None, str, tuple[str, ...]]:
    """Longitude and latitude (degrees, WGS 84) or None, time (ISO 8601 or ""), and texts of a photo (Exif 2.32).

    Raises
    ------
    InputError
        If the file is no picture.
    """
    try:
        with Image.open(path) as picture:
            exif = picture.getexif()
    except (OSError, UnidentifiedImageError, ValueError) as error:
        raise InputError(f"{path}: cannot be read as a photo ({error})") from error
    taken = str(exif.get_ifd(IFD.Exif).get(Base.DateTimeOriginal) or exif.get(Base.DateTime) or "")
    said = str(exif.get(Base.ImageDescription) or "").strip("\0 ")
    day, _, hour = taken.strip("\0 ").partition(" ")
    at = f"{day.replace(':', '-')}T{hour}" if len(day) == 10 and hour else ""
    return _place(exif.get_ifd(IFD.GPSInfo)), at, tuple(text for text in (path.stem, said) if text)


def _place(gps: dict[int, object]) -> tuple[float, float] | None:
    try:
        lat = _degrees(gps[GPS.GPSLatitude]) * (-1 if str(gps.get(GPS.GPSLatitudeRef, "N"))[:1] in "Ss" else 1)
        lon = _degrees(gps[GPS.GPSLongitude]) * (-1 if str(gps.get(GPS.GPSLongitudeRef, "E"))[:1] in "Ww" else 1)
    except (KeyError, TypeError, ValueError, ZeroDivisionError):
        return None
    is_place = -90 <= lat <= 90 and -180 <= lon <= 180 and (lat, lon) != (0, 0)
    return (lon, lat) if is_place else None


def _degrees(parts: object) -> float:
    """Degrees of three numbers: degrees, minutes, seconds."""
    degrees, minutes, seconds = (float(part) for part in parts)  # type: ignore[attr-defined]
    return degrees + minutes / 60 + seconds / 3600
