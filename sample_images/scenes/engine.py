"""Mitsuba 3: parts, camera and light to linear radiance and to what is seen at each pixel.

The only module that imports ``mitsuba`` (extra ``[render]``). ``llvm_ad_rgb`` is used where an LLVM
of 16 or newer is found (``DRJIT_LIBLLVM_PATH`` says which; 19 was quickest), else ``scalar_rgb``.
"""

from __future__ import annotations

import os
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .camera import Camera
from .mesh import Mesh, joined
from .parts import IDS, Look, Part, srgb_to_linear

F = NDArray[np.float64]
CELL = 512
METALS = {"brass": (0.90, 0.72, 0.36), "zinc": (0.66, 0.67, 0.69)}


def load_mitsuba() -> Any:
    """The module with a variant set."""
    if "DRJIT_LIBLLVM_PATH" not in os.environ:
        found = [
            p
            for v in (19, 20, 21, 18, 17, 22, 16)
            for p in sorted(Path("/usr/lib").glob(f"*/libLLVM-{v}.so*"))
        ]
        if found:
            os.environ["DRJIT_LIBLLVM_PATH"] = str(found[0])
    import mitsuba as mi

    if mi.variant() is None:
        try:
            mi.set_variant("llvm_ad_rgb")
        except ImportError:
            mi.set_variant("scalar_rgb")
    return mi


@dataclass(frozen=True)
class Group:
    """Parts that share a surface model: one mesh, one atlas. ``owner`` (faces,) is the part of each face."""

    key: tuple[Any, ...]
    mesh: Mesh
    owner: NDArray[np.int32]
    texture: NDArray[np.float32]
    rough: float
    clear: float


def _key(look: Look) -> tuple[Any, ...]:
    """Few surface models a scene keep the kernel small: parts differ by atlas, not by model."""
    if look.texture is not None and max(look.texture.shape[:2]) > CELL:
        return (look.kind, "own", id(look))
    if look.kind == "plastic":
        return ("plastic", "clear" if look.clear < 1 else round(min(look.rough, 0.45) / 0.12))
    return (look.kind,)


def _atlas(
    looks: list[Look],
) -> tuple[NDArray[np.float32], list[tuple[float, float, float, float]]]:
    """One texture (linear) of all looks, and the place (u0, v0, width, height) of each in it."""
    side = int(np.ceil(np.sqrt(len(looks))))
    out = np.zeros((side * CELL, side * CELL, 3), np.float32)
    places = []
    for n, look in enumerate(looks):
        y, x = (n // side) * CELL, (n % side) * CELL
        if look.texture is None:
            tex = np.full((4, 4, 3), np.asarray(look.colour, np.float32) / 255)
        else:
            tex = look.texture
        h, w = tex.shape[:2]
        tint = METALS.get(look.kind)
        linear = srgb_to_linear(tex) * (1.0 if tint is None else np.asarray(tint))
        out[y : y + h, x : x + w] = linear
        full = side * CELL
        places.append(((x + 0.5) / full, 1 - (y + h - 0.5) / full, (w - 1) / full, (h - 1) / full))
    return out, places


def _placed(part: Part, place: tuple[float, float, float, float]) -> Mesh:
    """A mesh whose texture coordinates point into the atlas; what lies beyond 0..1 is mirrored."""
    u, v = part.mesh.uv[:, 0], part.mesh.uv[:, 1]
    u = np.clip((u + 1) / 3, 0, 1) if part.look.thrice else 1 - np.abs(np.mod(u, 2) - 1)
    v = 1 - np.abs(np.mod(v, 2) - 1)
    uv = np.stack([place[0] + u * place[2], place[1] + v * place[3]], -1)
    return replace(part.mesh, uv=uv)


def grouped(parts: list[Part]) -> list[Group]:
    """Parts gathered by surface model."""
    keys: dict[tuple[Any, ...], list[int]] = {}
    for i, p in enumerate(parts):
        keys.setdefault(_key(p.look), []).append(i)
    out = []
    for key, members in keys.items():
        first = parts[members[0]].look
        owner = np.concatenate([np.full(len(parts[i].mesh.f), i, np.int32) for i in members])
        if "own" in key:
            texture = srgb_to_linear(first.texture).astype(np.float32)
            mesh = joined([parts[i].mesh for i in members])
        else:
            looks = list({id(parts[i].look): parts[i].look for i in members}.values())
            at = {id(look): n for n, look in enumerate(looks)}
            texture, places = _atlas(looks)
            mesh = joined([_placed(parts[i], places[at[id(parts[i].look)]]) for i in members])
        rough = float(np.mean([parts[i].look.rough for i in members]))
        out.append(
            Group(key, mesh, owner, texture, rough, min(parts[i].look.clear for i in members))
        )
    return out


def _bsdf(mi: Any, group: Group) -> dict[str, Any]:
    kind = group.key[0]
    texture = {
        "type": "bitmap",
        "data": mi.TensorXf(np.ascontiguousarray(group.texture[::-1])),
        "raw": True,
        "wrap_mode": "mirror",
    }
    if kind in ("copper", "metal", *METALS):
        # Copper has measured constants; brass and zinc plating are tinted by reflectances in the visible, rounded.
        material = "Cu" if kind == "copper" else "none"
        out = {
            "type": "roughconductor",
            "alpha": group.rough,
            "distribution": "ggx",
            "material": material,
            "specular_reflectance": texture,
        }
        return {"type": "twosided", "bsdf": out}
    if kind == "matt":
        return {"type": "twosided", "bsdf": {"type": "diffuse", "reflectance": texture}}
    plastic: dict[str, Any] = {
        "type": "roughplastic",
        "diffuse_reflectance": texture,
        "alpha": group.rough,
        "nonlinear": True,
    }
    plastic = {"type": "twosided", "bsdf": plastic}
    if group.clear < 1:
        return {"type": "mask", "opacity": {"type": "rgb", "value": group.clear}, "bsdf": plastic}
    return plastic


def _shape(mi: Any, group: Group, name: str) -> Any:
    props = mi.Properties()
    props["mesh_bsdf"] = mi.load_dict(_bsdf(mi, group))
    m = group.mesh
    mesh = mi.Mesh(
        name, len(m.v), len(m.f), has_vertex_normals=True, has_vertex_texcoords=True, props=props
    )
    params = mi.traverse(mesh)
    params["vertex_positions"] = m.v.astype(np.float32).ravel()
    params["faces"] = m.f.astype(np.uint32).ravel()
    params["vertex_normals"] = m.n.astype(np.float32).ravel()
    params["vertex_texcoords"] = m.uv.astype(np.float32).ravel()
    params.update()
    return mesh


def _transform(mi: Any, cam: Camera) -> Any:
    return mi.ScalarTransform4f().look_at(
        origin=cam.origin.tolist(), target=cam.target.tolist(), up=cam.axes()[1].tolist()
    )


class Scene:
    """A scene loaded once, for its picture and for what is seen."""

    def __init__(self, parts: list[Part], cam: Camera, lights: dict[str, dict[str, Any]]) -> None:
        self.mi = mi = load_mitsuba()
        self.cam, self.parts = cam, parts
        self.clear = any(p.look.clear < 1 for p in parts)
        scene: dict[str, Any] = {"type": "scene"}
        self.groups = grouped(parts)
        for i, group in enumerate(self.groups):
            scene[f"s{i}"] = _shape(mi, group, f"s{i}")
        for name, light in lights.items():
            scene[name] = _light(mi, light)
        self.scene = mi.load_dict(scene)

    def radiance(self, spp: int, seed: int, denoise: bool = True) -> NDArray[np.float32]:
        """Linear radiance (H, W, 3), sRGB primaries, with the lens's depth of field."""
        mi, cam = self.mi, self.cam
        sensor = {
            "type": "thinlens", "aperture_radius": max(cam.lens, 1e-3), "focus_distance": cam.focus,
            "fov": cam.fov, "fov_axis": "x", "to_world": _transform(mi, cam), "near_clip": 1.0, "far_clip": 1e5,
            "film": {"type": "hdrfilm", "width": cam.width, "height": cam.height, "rfilter": {"type": "box"}, "component_format": "float32", "pixel_format": "rgb"},
            "sampler": {"type": "independent", "sample_count": spp},
        }  # fmt: skip
        path = {"type": "path", "max_depth": 4, "rr_depth": 3}

        def shot(integrator: dict[str, Any], count: int) -> NDArray[np.float32]:
            out = mi.render(
                self.scene,
                sensor=mi.load_dict(sensor),
                integrator=mi.load_dict(integrator),
                spp=count,
                seed=seed,
            )
            return np.ascontiguousarray(
                np.nan_to_num(np.array(out), posinf=100.0), dtype=np.float32
            )

        rgb = shot(path, spp)[..., :3]
        if not denoise:
            return rgb
        import pyoidn

        # Asked for apart: in one go with the path it costs twice as much.
        aux = shot({"type": "aov", "aovs": "al:albedo,nn:sh_normal"}, max(4, spp // 2))
        albedo = np.ascontiguousarray(np.clip(aux[..., -6:-3], 0, 1))
        normal = np.ascontiguousarray(aux[..., -3:])
        clean = pyoidn.denoise(np.ascontiguousarray(rgb), albedo, normal, hdr=True, quality="fast")
        return np.asarray(clean, np.float32)

    def seen(self) -> tuple[NDArray[np.int32], F]:
        """Index into ``parts`` (H, W; -1 nothing) and distance (H, W) through each pixel's centre, no lens."""
        mi, cam = self.mi, self.cam
        o, d = cam.rays()
        if mi.variant().startswith("scalar"):
            return self._seen_scalar(o, d)
        import drjit as dr

        ray = mi.Ray3f(mi.Point3f(o.T.astype(np.float32)), mi.Vector3f(d.T.astype(np.float32)))
        hit = self.scene.ray_intersect_preliminary(ray, coherent=True)
        handle, prim, t = (
            np.array(dr.reinterpret_array(mi.UInt32, hit.shape)),
            np.array(hit.prim_index),
            np.array(hit.t),
        )
        index = np.full(len(t), -1, np.int32)
        for shape in self.scene.shapes():
            if shape.id().startswith("s"):
                mine = (
                    handle == int(np.array(dr.reinterpret_array(mi.UInt32, mi.ShapePtr(shape)))[0])
                ) & np.isfinite(t)
                index[mine] = self.groups[int(shape.id()[1:])].owner[prim[mine]]
        return index.reshape(cam.height, cam.width), t.reshape(cam.height, cam.width)

    def _seen_scalar(self, o: F, d: F) -> tuple[NDArray[np.int32], F]:
        mi, cam = self.mi, self.cam
        index, depth = np.full(len(d), -1, np.int32), np.full(len(d), np.inf)
        for i in range(len(d)):
            si = self.scene.ray_intersect(mi.Ray3f(o[i].tolist(), d[i].tolist()))
            if si.is_valid() and si.shape.id().startswith("s"):
                index[i], depth[i] = self.groups[int(si.shape.id()[1:])].owner[si.prim_index], si.t
        return index.reshape(cam.height, cam.width), depth.reshape(cam.height, cam.width)

    def ids(self, index: NDArray[np.int32]) -> NDArray[np.uint8]:
        """Ids map (H, W) of contract 4.1."""
        table = np.array([IDS[p.what] for p in self.parts] + [0], np.uint8)
        return table[index]


def _light(mi: Any, light: dict[str, Any]) -> dict[str, Any]:
    out = dict(light)
    if "look_at" in out:
        origin, target, up = out.pop("look_at")
        t = mi.ScalarTransform4f().look_at(origin=list(origin), target=list(target), up=list(up))
        scale = out.pop("scale", None)
        out["to_world"] = t @ mi.ScalarTransform4f().scale(scale) if scale else t
    return out
