"""What a tile says of itself: laspy's header, checked, with coordinate system and units understood."""

from __future__ import annotations

import math
from collections.abc import Sequence

import laspy

from pipeline.errors import SurveyError
from pipeline.files.las.geotiff_keys import short_keys, wkt_of_keys
from pipeline.files.las.guard import Claims
from pipeline.intake.tile_crs import (
    GEOGRAPHIC_KEY,
    PROJECTED_KEY,
    USER_DEFINED,
    TileCrs,
    crs_from_geotiff_keys,
    crs_from_wkt,
)
from pipeline.intake.tile_header import TileHeader

# Numbers of the records of "LASF_Projection" (LAS 1.4 R15, 3): well-known text, and GeoTIFF keys, doubles and texts.
_WKT, _KEYS, _DOUBLES, _TEXTS = 2112, 34735, 34736, 34737


def describe_header(header: laspy.LasHeader, claims: Claims, /) -> TileHeader:
    """The header of a tile as the intake knows it, once `check_frame` has let it pass."""
    point_format, encoding = claims.point_format, header.global_encoding
    has_time = "gps_time" in header.point_format.dimension_names
    west, south, lowest = (float(edge) for edge in header.mins)
    east, north, highest = (float(edge) for edge in header.maxs)
    records = [*claims.records, *claims.extended]
    return TileHeader(
        path=claims.path,
        version=str(header.version),
        point_format=point_format,
        n_points=claims.n_points,
        n_by_return=claims.n_by_return,
        record_bytes=claims.record_bytes,
        points_offset=claims.points_offset,
        scales=_three(header.scales),
        offsets=_three(header.offsets),
        bounds=(west, south, east, north),
        lowest=lowest,
        highest=highest,
        crs=_crs_of(records, prefers_wkt=encoding.wkt or point_format >= 6),
        time_kind="none" if not has_time else "adjusted" if encoding.gps_time_type else "week",
        has_synthetic_returns=encoding.synthetic_return_numbers,
        is_compressed=claims.is_compressed,
        is_copc=any(record.user_id == "copc" for record in records),
        n_bytes=claims.n_bytes,
        system=_text(header.system_identifier),
        software=_text(header.generating_software),
        written=claims.written,
    )


def check_frame(header: laspy.LasHeader, claims: Claims, /) -> None:
    """Refuse scales, offsets and bounds that are not finite or not in order.

    Raises
    ------
    SurveyError
        If coordinates cannot be worked out, or the extent is impossible.
    """
    (west, south, lowest), (east, north, highest) = _three(header.mins), _three(header.maxs)
    scales, offsets, extent = _three(header.scales), _three(header.offsets), (west, south, lowest, east, north, highest)
    what = ""
    if not all(math.isfinite(scale) and scale > 0 for scale in scales) or not all(map(math.isfinite, offsets)):
        what = f"its coordinates cannot be worked out (scales {scales}, offsets {offsets})"
    elif claims.n_points and not (
        all(map(math.isfinite, extent)) and west <= east and south <= north and lowest <= highest
    ):
        what = f"its extent is impossible (x {west:g} to {east:g}, y {south:g} to {north:g})"
    if what:
        raise SurveyError(f"{claims.path}: {what}. The file is damaged or incomplete; download or copy it again.")


def _three(values: Sequence[float]) -> tuple[float, float, float]:
    x, y, z = (float(value) for value in values)
    return x, y, z


def _text(words: str | bytes) -> str:
    """Words of the header; laspy leaves them in bytes where they are not ASCII."""
    return (words if isinstance(words, str) else words.decode("latin-1")).strip()


def _crs_of(records: Sequence[laspy.VLR], *, prefers_wkt: bool) -> TileCrs:
    """The CRS of the tile, from well-known text or GeoTIFF keys, whichever the header prefers and PROJ can read.

    laspy's own `parse_crs` knows nothing of heights and their unit, nor of keys that spell a projection out.
    """
    found = {
        record.record_id: record.record_data for record in reversed(records) if record.user_id == "LASF_Projection"
    }
    said = []
    if found.get(_WKT, b"").strip(b"\0 "):
        said.append(crs_from_wkt(found[_WKT].decode("utf-8", errors="replace")))
    keys = short_keys(found.get(_KEYS, b""))
    if keys:
        spelt_out = USER_DEFINED in (keys.get(PROJECTED_KEY), keys.get(GEOGRAPHIC_KEY))
        wkt = wkt_of_keys(*(found.get(number, b"") for number in (_KEYS, _DOUBLES, _TEXTS))) if spelt_out else None
        said.append(crs_from_geotiff_keys(keys, user_defined_wkt=wkt))
    if not prefers_wkt:
        said.reverse()
    readable = [crs for crs in said if crs.plan_wkt is not None]
    return readable[0] if readable else said[0] if said else TileCrs()
