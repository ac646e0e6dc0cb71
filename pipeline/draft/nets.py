"""Parts of areas that change hands: edges are laid into a net, so that areas on both sides get the same vertices."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from pipeline.remembered import Remembered, packed

BESIDE_M = 0.01
"""What lies this near touches, but for the rounding of coordinates."""

Shapes = NDArray[np.object_]
Rows = NDArray[np.int64]
Held = NDArray[np.bool_]


@dataclass(frozen=True)
class Net:
    """Edges of areas and of what changes hands, laid into one net: what shares an edge then has the same vertices.

    Attributes
    ----------
    faces : (m,) polygons of the net
    inside : (m,) a point in each
    held : (m, n) bool, faces of each area
    """

    faces: Shapes
    inside: Shapes
    held: Held

    @classmethod
    def of(cls, areas: Shapes, shapes: Shapes, /) -> Net:
        """The net of (n,) areas and of shapes that change hands."""
        edges = np.concatenate([shapely.boundary(areas), shapely.boundary(shapes)])
        faces = shapely.get_parts(shapely.polygonize([shapely.union_all(edges)]))
        inside = shapely.point_on_surface(faces)
        face, area = shapely.STRtree(areas).query(inside, predicate="intersects")
        held = np.zeros((len(faces), len(areas)), np.bool_)
        held[face, area] = True
        return cls(faces, inside, held)

    def drawn(self, held: Held, /) -> Shapes:
        """(n,) areas of the faces that each holds."""
        return np.array([shapely.union_all(self.faces[own]) for own in held.T], np.object_)


HandOver = Callable[[Net, Shapes, Rows, Held], Held]
"""Given a net, the shapes that change hands, the area that each is of or goes to, and which areas may take what others
lose: the faces that each area holds in the end."""


@dataclass(frozen=True)
class _Cluster:
    """Areas and shapes that have to do with each other, by their numbers, both rising."""

    areas: Rows
    shapes: Rows


def handed_over(
    areas: Shapes, shapes: Shapes, owner: Rows, may_take: Held, /, *, hand_over: HandOver, remembered: Remembered
) -> Shapes:
    """(n,) areas after shapes have changed hands; those that none of them touches are the same objects as before.

    Parameters
    ----------
    shapes, owner : (k,) what changes hands, and number of the area that each is of or goes to
    may_take : (n,) bool, which areas may take what others lose
    hand_over : says who gets what, of a part of the areas
    remembered : what became of the same areas and shapes before
    """
    clusters = _clusters(areas, shapes, owner)
    own = [np.searchsorted(one.areas, owner[one.shapes]) for one in clusters]
    area_bytes, shape_bytes = shapely.to_wkb(areas), shapely.to_wkb(shapes)
    made_from = [
        packed({"owner": place, "may_take": may_take[one.areas]})
        + b"".join((*area_bytes[one.areas], *shape_bytes[one.shapes]))
        for one, place in zip(clusters, own, strict=True)
    ]

    def work_out(numbers: list[int]) -> list[bytes]:
        made = []
        for number in numbers:
            one = clusters[number]
            net = Net.of(areas[one.areas], shapes[one.shapes])
            held = hand_over(net, shapes[one.shapes], own[number], may_take[one.areas])
            made.append(shapely.to_wkb(shapely.GeometryCollection(list(net.drawn(held)))))
        return made

    found = areas.copy()
    for one, made in zip(clusters, remembered(hand_over.__name__, made_from, work_out), strict=True):
        found[one.areas] = shapely.get_parts(shapely.from_wkb(made))
    return found


def _clusters(areas: Shapes, shapes: Shapes, owner: Rows) -> list[_Cluster]:
    """What hangs together: a shape with its owner and with the areas and shapes that it touches."""
    n = len(areas)
    shape, area = shapely.STRtree(areas).query(shapes, predicate="dwithin", distance=BESIDE_M)
    one, other = shapely.STRtree(shapes).query(shapes, predicate="dwithin", distance=BESIDE_M)
    first = np.concatenate([n + shape, n + np.arange(len(shapes)), n + one])
    second = np.concatenate([area, owner, n + other])
    links = coo_array((np.ones(len(first)), (first, second)), shape=(n + len(shapes), n + len(shapes)))
    _, group = connected_components(links, directed=False)
    groups = np.unique(group[n:])
    touched = np.flatnonzero(np.isin(group[:n], groups))
    return [_Cluster(touched[group[touched] == name], np.flatnonzero(group[n:] == name)) for name in groups]
