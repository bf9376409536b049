"""Triangle meshes of an opened fitting, built as lofts (rings of points joined by bands). Units: mm."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

F = NDArray[np.float64]


@dataclass(frozen=True)
class Mesh:
    """Vertices (N, 3), faces (M, 3), texture coordinates (N, 2), unit normals (N, 3)."""

    v: F
    f: NDArray[np.int64]
    uv: F
    n: F

    def moved(self, matrix: F, shift: Sequence[float] | F = (0.0, 0.0, 0.0)) -> Mesh:
        """Turned by ``matrix`` (3, 3), a rotation, then shifted."""
        return Mesh(self.v @ matrix.T + np.asarray(shift), self.f, self.uv, self.n @ matrix.T)


def joined(meshes: Sequence[Mesh]) -> Mesh:
    """One mesh out of several."""
    offsets = np.cumsum([0] + [len(m.v) for m in meshes[:-1]])
    return Mesh(
        np.vstack([m.v for m in meshes]),
        np.vstack([m.f + o for m, o in zip(meshes, offsets, strict=True)]),
        np.vstack([m.uv for m in meshes]),
        np.vstack([m.n for m in meshes]),
    )


def loft(
    rings: F,
    cap_start: bool = False,
    cap_end: bool = False,
    uv: F | None = None,
    uv_scale: float = 0.01,
) -> Mesh:
    """Closed rings (R, N, 3) joined by bands, with fans over the first or last ring if asked.

    Normals are weighted by face area, so that narrow bevels read as rounded edges and wide faces
    stay flat. ``uv`` (R, N + 1, 2) overrides the texture coordinates, which are otherwise lengths
    (mm) along and across the bands times ``uv_scale``.
    """
    r, n, _ = rings.shape
    grid = np.concatenate([rings, rings[:, :1]], axis=1)
    idx = np.arange(r * (n + 1)).reshape(r, n + 1)
    a, b, c, d = idx[:-1, :-1], idx[:-1, 1:], idx[1:, 1:], idx[1:, :-1]
    faces = [np.stack([a, b, c], -1).reshape(-1, 3), np.stack([a, c, d], -1).reshape(-1, 3)]
    verts = [grid.reshape(-1, 3)]
    if uv is None:
        along = np.cumsum(
            np.linalg.norm(np.diff(grid, axis=1, prepend=grid[:, :1]), axis=2), axis=1
        )
        across = np.cumsum(np.linalg.norm(np.diff(grid, axis=0, prepend=grid[:1]), axis=2), axis=0)
        uv = np.stack([along, across], -1) * uv_scale
    uvs = [uv.reshape(-1, 2)]
    count = r * (n + 1)
    for use, k in ((cap_start, 0), (cap_end, r - 1)):
        if not use:
            continue
        verts.append(rings[k])
        spread = (rings[k] - rings[k].mean(0)) @ _plane_axes(rings[k])
        uvs.append(spread * uv_scale)
        faces.append(_zigzag(n, count, k == 0))
        count += n
    v, f = np.vstack(verts), np.vstack(faces)
    return Mesh(v, f, np.vstack(uvs), _normals(v, f, idx, n))


def _zigzag(n: int, first: int, turned: bool) -> NDArray[np.int64]:
    """Triangles (n - 2, 3) over a convex ring, as a strip between its two halves.

    A fan about the middle would be hundreds of long triangles in one another's boxes: slow to trace.
    """
    i = np.arange(n // 2)
    left, right = i, (n - 1 - i)
    a = np.stack([left[:-1], left[1:], right[:-1]], -1)
    b = np.stack([left[1:], right[1:], right[:-1]], -1)
    f = np.vstack([a, b])
    if n % 2:
        f = np.vstack([f, [[n // 2 - 1, n // 2, n // 2 + 1]]])
    f = f[np.array([len(set(t)) == 3 for t in f.tolist()])] + first
    return f[:, ::-1] if turned else f


def _plane_axes(ring: F) -> F:
    """Two unit axes (3, 2) spanning the plane of a ring."""
    centred = ring - ring.mean(0)
    _, _, vt = np.linalg.svd(centred, full_matrices=False)
    return vt[:2].T


def _normals(v: F, f: NDArray[np.int64], idx: NDArray[np.int64], n: int) -> F:
    cross = np.cross(v[f[:, 1]] - v[f[:, 0]], v[f[:, 2]] - v[f[:, 0]])
    out = np.zeros_like(v)
    for k in range(3):
        np.add.at(out, f[:, k], cross)
    seam = out[idx[:, 0]] + out[idx[:, n]]
    out[idx[:, 0]] = seam
    out[idx[:, n]] = seam
    length = np.linalg.norm(out, axis=1, keepdims=True)
    flat = length[:, 0] < 1e-12
    out[flat] = (0.0, 0.0, 1.0)
    return out / np.where(length < 1e-12, 1.0, length)


def rounded_rect(w: float, h: float, radius: float, step: float = 1.0) -> F:
    """Outline (N, 2) of a rounded rectangle about the origin, anticlockwise, points ``step`` apart."""
    radius = min(radius, w / 2 - 1e-3, h / 2 - 1e-3)
    pts: list[F] = []
    corners = [
        (w / 2, h / 2, 0.0),
        (-w / 2, h / 2, 90.0),
        (-w / 2, -h / 2, 180.0),
        (w / 2, -h / 2, 270.0),
    ]
    for x, y, start in corners:
        cx, cy = x - np.sign(x) * radius, y - np.sign(y) * radius
        a = np.radians(np.linspace(start, start + 90, 9))
        pts.append(np.stack([cx + radius * np.cos(a), cy + radius * np.sin(a)], -1))
    loop = np.vstack(pts)
    # The loop runs anticlockwise from the right side's upper part: start it at (w / 2, 0).
    return resample_loop(np.vstack([[[w / 2, 0.0]], loop]), step)


def circle(radius: float, n: int = 48) -> F:
    """Outline (n, 2) of a circle about the origin, anticlockwise from +x."""
    a = np.linspace(0, 2 * np.pi, n, endpoint=False)
    return np.stack([radius * np.cos(a), radius * np.sin(a)], -1)


def resample_loop(loop: F, step: float) -> F:
    """A closed outline (N, 2) with points evenly ``step`` apart."""
    closed = np.vstack([loop, loop[:1]])
    s = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(closed, axis=0), axis=1))])
    t = np.linspace(0, s[-1], max(16, int(s[-1] / step)), endpoint=False)
    return np.stack([np.interp(t, s, closed[:, k]) for k in range(2)], -1)


def inset(outline: F, by: float) -> F:
    """An outline (N, 2), anticlockwise, moved inwards along its normals."""
    t = np.roll(outline, -1, 0) - np.roll(outline, 1, 0)
    t /= np.linalg.norm(t, axis=1, keepdims=True) + 1e-12
    return outline + by * np.stack([-t[:, 1], t[:, 0]], -1)


def flat_ring(outline: F, z: float | F) -> F:
    """An outline (N, 2) at height z (scalar or (N,)) as a ring (N, 3)."""
    return np.column_stack([outline, np.broadcast_to(z, len(outline))])


def slab(outline: F, z0: float, z1: float, bevel: float = 0.5) -> Mesh:
    """A plate with the given outline between two heights, its upper edge bevelled in two steps."""
    rings = [
        flat_ring(outline, z0),
        flat_ring(outline, z1 - bevel),
        flat_ring(inset(outline, bevel * 0.3), z1 - bevel * 0.3),
        flat_ring(inset(outline, bevel), z1),
    ]
    return loft(np.stack(rings), True, True)


def box_mesh(w: float, d: float, h: float, bevel: float = 0.5, radius: float = 1.0) -> Mesh:
    """A box w x d x h standing on z = 0 about the origin with softened edges."""
    return slab(rounded_rect(w, d, radius, 0.8), 0.0, h, min(bevel, h / 3))


def tube_ring_stack(profile: Sequence[tuple[float, float]], n: int = 40) -> Mesh:
    """A body of revolution about z from (radius, z) pairs, capped at both ends."""
    rings = np.stack([flat_ring(circle(max(r, 1e-4), n), z) for r, z in profile])
    return loft(rings, True, True)


def sweep(
    path: F,
    side: F,
    up: F,
    section: F,
    caps: tuple[bool, bool] = (True, True),
    uv_len: float = 10.0,
    twist: float = 0.0,
    shape: Callable[[F, F], F] | None = None,
) -> Mesh:
    """A section (N, 2) carried along a path (M, 3) with its side and up vectors (M, 3).

    u runs once round the section, v along the path once every ``uv_len`` mm, with ``twist`` turns of
    u for every ``uv_len``. ``shape`` scales the section: (arc length (M,), angle (N,)) -> (M, N).
    """
    s = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1))])
    n = len(section)
    scale = np.ones((len(path), n))
    if shape is not None:
        scale = shape(s, np.linspace(0, 2 * np.pi, n, endpoint=False))
    x, y = scale * section[None, :, 0], scale * section[None, :, 1]
    rings = path[:, None] + x[..., None] * side[:, None] + y[..., None] * up[:, None]
    v = np.broadcast_to((s / uv_len)[:, None], (len(path), n + 1))
    u = np.linspace(0, 1, n + 1)[None] + twist * v
    return loft(rings, caps[0], caps[1], np.stack([u, v], -1))


def rot_z(angle: float) -> F:
    """Rotation (3, 3) about z by an angle in radians."""
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]])


def rot_axes(x: F, y: F, z: F) -> F:
    """Matrix (3, 3) that carries the unit axes to the given vectors."""
    return np.stack([x, y, z], axis=1)


def heightfield(size: float, z: F, uv_scale: float) -> Mesh:
    """A square of side ``size`` (mm) about the origin with heights z (K, K)."""
    k = len(z)
    g = np.linspace(-size / 2, size / 2, k)
    x, y = np.meshgrid(g, g)
    v = np.stack([x, y, z], -1).reshape(-1, 3)
    i = np.arange(k * k).reshape(k, k)
    a, b, c, d = i[:-1, :-1].ravel(), i[:-1, 1:].ravel(), i[1:, 1:].ravel(), i[1:, :-1].ravel()
    f = np.vstack([np.stack([a, b, c], -1), np.stack([a, c, d], -1)])
    gy, gx = np.gradient(z, g, g)
    n = np.stack([-gx, -gy, np.ones_like(z)], -1).reshape(-1, 3)
    n /= np.linalg.norm(n, axis=1, keepdims=True)
    uv = np.stack([x, y], -1).reshape(-1, 2) * uv_scale
    return Mesh(v, f, uv, n)
