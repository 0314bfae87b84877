"""A tree of bounding boxes over the shapes of a scene, so that a ray tries only a few of them."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from first_bread.records import NODE, SOFT, Table, World

Boxes = npt.NDArray[np.float64]
Ids = npt.NDArray[np.intp]


def _area(boxes: Boxes) -> Boxes:
    """Half the surface area of boxes (n, 6)."""
    x, y, z = np.maximum(boxes[:, 3:] - boxes[:, :3], 0.0).T
    area: Boxes = x * y + y * z + z * x
    return area


def _sweep(boxes: Boxes) -> Boxes:
    """The box about the first 1, 2, … n boxes."""
    low = np.minimum.accumulate(boxes[:, :3])
    return np.hstack([low, np.maximum.accumulate(boxes[:, 3:])])


def _split(boxes: Boxes, ids: Ids) -> tuple[int, Ids, int]:
    """Axis, order and place of the split that costs least by the surface area heuristic."""
    count = np.arange(1, len(ids))
    best = (np.inf, 0, ids, 1)
    for axis in range(3):
        order = np.argsort(boxes[ids, axis] + boxes[ids, axis + 3], kind="stable")
        sorted_boxes = boxes[ids[order]]
        left = _area(_sweep(sorted_boxes))[:-1] * count
        right = _area(_sweep(sorted_boxes[::-1])[::-1])[1:] * count[::-1]
        cost = left + right
        least = int(np.argmin(cost))
        if cost[least] < best[0]:
            best = (cost[least], axis, ids[order], least + 1)
    return best[1], best[2], best[3]


def build_tree(boxes: Boxes) -> Table:
    """Nodes (NODE records, the root first) over boxes (n, 6): low corner, high corner."""
    nodes: list[tuple[float, ...]] = []

    def grow(ids: Ids) -> int:
        place = len(nodes)
        nodes.append(())
        bounds = (*boxes[ids, :3].min(0), *boxes[ids, 3:].max(0))
        if len(ids) == 1:
            nodes[place] = (*bounds, -1, -1, ids[0], 0)
            return place
        axis, order, cut = _split(boxes, ids)
        left = grow(order[:cut])
        right = grow(order[cut:])
        nodes[place] = (*bounds, left, right, -1, axis)
        return place

    grow(np.arange(len(boxes)))
    return np.array(nodes, NODE)


def joined(host: World, guest: World) -> World:
    """The shapes of two worlds under one tree; lights, reflectances and sky are the host's."""
    shapes = guest.shapes.copy()
    soft = shapes["kind"] == SOFT
    shapes["first"][soft] += len(host.parts)
    root = np.zeros(1, NODE)
    for low, high in (("x0", "x1"), ("y0", "y1"), ("z0", "z1")):
        root[low] = min(host.nodes[low][0], guest.nodes[low][0])
        root[high] = max(host.nodes[high][0], guest.nodes[high][0])
    root["left"], root["right"], root["shape"] = 1, 1 + len(host.nodes), -1
    under_host, under_guest = host.nodes.copy(), guest.nodes.copy()
    for nodes, shift in ((under_host, 1), (under_guest, 1 + len(under_host))):
        nodes["left"] += shift
        nodes["right"] += shift
    under_guest["shape"][under_guest["shape"] >= 0] += len(host.shapes)
    return host._replace(
        shapes=np.concatenate([host.shapes, shapes]),
        parts=np.concatenate([host.parts, guest.parts]),
        nodes=np.concatenate([root, under_host, under_guest]),
    )
