"""Body identities: a parametric body baked once into a file, posed afterwards by plain linear-blend skinning.

Baking needs the parametric body ``anny`` (code Apache-2.0, data CC0)::

    python -m calibration.body.bodies --count 400 --out ~/.cache/posturewatch/bodies.npz

The file is all that posing and rendering need (numpy only). Coordinates of a body at rest, in metres: x to
the player's own left, y up, z to the front, origin at the root between the hips. A pose is a world rotation
per bone, relative to the rest pose; bone heads follow from their parents.
"""

from __future__ import annotations

import argparse
import os
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from posturewatch.model.arrays import FloatArray

UV_STEPS = 65535.0  # a skin picture's width and height in the steps of the stored places
UNIT_M = 5e-5  # resolution of the stored vertices: int16 then reaches 1.6 m
WEIGHTS_KEPT = 6
IDENTITY_COUNT = 400
BAKE_SEED = 20240
SPLITS = ("train", "cal", "test")
PHENOTYPES = ("gender", "age", "muscle", "weight", "height", "proportions")
# Local shape changes worth varying: what is seen of a player at a webcam.
LOCAL_PREFIXES = (
    "lowerarm", "upperarm", "hand", "measure-wrist", "measure-upperarm", "measure-lowerarm", "head-", "nose-",
    "chin-", "mouth-", "cheek", "ear-", "eye", "forehead", "neck-", "torso-", "hip-scale", "stomach-tone",
    "measure-shoulder",
)  # fmt: skip


@dataclass(frozen=True)
class Bodies:
    """All baked identities, sharing one mesh topology and one skeleton.

    vertices: (N, V, 3) int16 in units of ``UNIT_M``; heads, tails: (N, B, 3) metres; faces: (F, 3) outward;
    weight_index, weights: (V, K) skinning; arm_coordinate: (V,) 0 at the shoulder, 1 elbow, 2 wrist, 3 middle
    knuckle, -1 off the arms; side: (V,) +1 left half, -1 right half; phenotypes: (N, 6) in ``PHENOTYPES`` order;
    uv: (T, 2) places in a skin picture, v downwards; uv_faces: (F, 3) their indices by face corner; both None in
    files baked before there were any.
    """

    vertices: NDArray[np.int16]
    heads: FloatArray
    tails: FloatArray
    faces: NDArray[np.int32]
    weight_index: NDArray[np.uint8]
    weights: FloatArray
    arm_coordinate: FloatArray
    bone_labels: tuple[str, ...]
    bone_parents: NDArray[np.int16]
    phenotypes: FloatArray
    uv: FloatArray | None = None
    uv_faces: NDArray[np.int32] | None = None

    @property
    def count(self) -> int:
        return len(self.vertices)

    @cached_property
    def dominant(self) -> NDArray[np.uint8]:
        """(V,) the bone that moves each vertex most."""
        return self.weight_index[:, 0]

    @cached_property
    def trunk_vertices(self) -> NDArray[np.int64]:
        """Some vertices of belly, chest and back."""
        bones = [
            k for k, label in enumerate(self.bone_labels) if label.startswith(("spine", "pelvis", "root"))
        ]
        return np.flatnonzero(np.isin(self.dominant, bones))[::2]

    def body(self, identity: int) -> Body:
        """One identity as float arrays."""
        return Body(
            identity=identity,
            shared=self,
            vertices_m=self.vertices[identity].astype(np.float32) * np.float32(UNIT_M),
            heads_m=self._straight(self.heads[identity].astype(np.float64)),
            tails_m=self.tails[identity].astype(np.float64),
        )

    def _straight(self, heads: FloatArray) -> FloatArray:
        """Twist joints moved onto the line of their segment, so that segments keep length and direction."""
        heads = heads.copy()
        for side in "LR":
            for start, middle, end in (
                ("upperarm01", "upperarm02", "lowerarm01"),
                ("lowerarm01", "lowerarm02", "wrist"),
            ):
                a, m, e = (self.bone_labels.index(f"{name}.{side}") for name in (start, middle, end))
                axis = heads[e] - heads[a]
                heads[m] = heads[a] + axis * ((heads[m] - heads[a]) @ axis / (axis @ axis))
        return heads

    def of_split(self, split: str) -> NDArray[np.int64]:
        """Identities of one split; the three splits are disjoint: 70 % train, 15 % cal, 15 % test."""
        if split not in SPLITS:
            raise ValueError(f"split must be one of {SPLITS}, not {split!r}")
        slot = np.arange(self.count) % 20
        share = {"train": slot < 14, "cal": (slot >= 14) & (slot < 17), "test": slot >= 17}
        return np.flatnonzero(share[split])


@dataclass(frozen=True)
class Body:
    """One identity at rest."""

    identity: int
    shared: Bodies
    vertices_m: FloatArray
    heads_m: FloatArray
    tails_m: FloatArray

    def bone(self, label: str) -> int:
        return self.shared.bone_labels.index(label)

    def head(self, label: str) -> FloatArray:
        return np.asarray(self.heads_m[self.bone(label)])

    def tail(self, label: str) -> FloatArray:
        return np.asarray(self.tails_m[self.bone(label)])

    def skeleton(self, turns: FloatArray, root_m: FloatArray) -> FloatArray:
        """Posed bone heads (B, 3) from world turns (B, 3, 3) relative to rest and the posed root."""
        heads = np.empty_like(self.heads_m)
        for bone, parent in enumerate(self.shared.bone_parents):
            if parent < 0:
                heads[bone] = root_m
            else:
                heads[bone] = heads[parent] + turns[parent] @ (self.heads_m[bone] - self.heads_m[parent])
        return heads

    def tails(self, turns: FloatArray, heads: FloatArray) -> FloatArray:
        """Posed bone tails (B, 3)."""
        return np.asarray(heads + np.einsum("bij,bj->bi", turns, self.tails_m - self.heads_m))

    def transforms(self, turns: FloatArray, heads: FloatArray) -> FloatArray:
        """Bone matrices (B, 3, 4) taking a rest point to its posed place."""
        shift = heads - np.einsum("bij,bj->bi", turns, self.heads_m)
        return np.concatenate([turns, shift[:, :, None]], axis=2)

    def skin(
        self, turns: FloatArray, heads: FloatArray, chosen: NDArray[np.int64] | slice = slice(None)
    ) -> FloatArray:
        """Posed vertices (V, 3), or the chosen ones, by linear-blend skinning."""
        matrices = self.transforms(turns, heads).astype(np.float32)
        weights, index = self.shared.weights[chosen], self.shared.weight_index[chosen]
        blended = np.einsum("vk,vkij->vij", weights, matrices[index])
        turned = np.einsum("vij,vj->vi", blended[:, :, :3], self.vertices_m[chosen])
        return np.asarray(turned + blended[:, :, 3])


def vertex_normals(vertices: FloatArray, faces: NDArray[np.int32]) -> FloatArray:
    """Area-weighted unit normals (V, 3)."""
    corner = vertices[faces]
    flat = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    index = faces.ravel()
    spread = np.repeat(flat, 3, axis=0)
    total = np.stack([np.bincount(index, spread[:, k], len(vertices)) for k in range(3)], axis=1)
    length = np.maximum(np.linalg.norm(total, axis=1, keepdims=True), 1e-12)
    return np.asarray(total / length, np.float32)


def load_bodies(path: str | os.PathLike[str]) -> Bodies:
    """Read a baked file. Raises FileNotFoundError naming the baking command."""
    file = Path(path)
    if not file.exists():
        raise FileNotFoundError(
            f"{file} is missing; bake it with: python -m calibration.body.bodies --out {file}"
        )
    with np.load(file) as data:
        base = data["base"].astype(np.int32)
        return Bodies(
            vertices=(base[None] + np.cumsum(data["delta"].astype(np.int16), axis=0)).astype(np.int16),
            heads=data["heads"],
            tails=data["tails"],
            faces=data["faces"].astype(np.int32),
            weight_index=data["weight_index"],
            weights=data["weights"].astype(np.float32),
            arm_coordinate=data["arm_coordinate"].astype(np.float32),
            bone_labels=tuple(str(label) for label in data["bone_labels"]),
            bone_parents=data["bone_parents"],
            phenotypes=data["phenotypes"],
            uv=data["uv"].astype(np.float32) / UV_STEPS if "uv" in data else None,
            uv_faces=data["uv_faces"].astype(np.int32) if "uv_faces" in data else None,
        )


def _to_world(points: FloatArray) -> FloatArray:
    """anny at rest has z up and looks along -y; ours has y up and looks along +z."""
    return np.stack([points[..., 0], points[..., 2], -points[..., 1]], axis=-1)


def _sample_shape(
    rng: np.random.Generator, local_labels: list[str]
) -> tuple[dict[str, float], dict[str, float]]:
    """Adult phenotypes, and symmetric local changes of what a webcam sees."""
    phenotype = {
        "gender": float(np.clip(rng.choice([0.0, 1.0]) + rng.normal(0, 0.2), 0, 1)),
        "age": float(rng.uniform(0.5, 0.95)),
        "muscle": float(rng.uniform(0.2, 0.85)),
        "weight": float(rng.uniform(0.2, 0.85)),
        "height": float(rng.uniform(0.25, 0.8)),
        "proportions": float(rng.uniform(0.2, 0.9)),
    }
    local: dict[str, float] = {}
    for label in local_labels:
        plain = label[2:] if label[:2] in ("l-", "r-") else label
        if not plain.startswith(LOCAL_PREFIXES):
            continue
        spread = 0.4 if plain.startswith(("hand", "lowerarm", "upperarm", "measure")) else 0.3
        if label.startswith("r-") and "l-" + plain in local:
            local[label] = local["l-" + plain]
        else:
            local[label] = float(np.clip(rng.normal(0, spread), -0.9, 0.9))
    if "hand-trans-out" in " ".join(local):
        local = {label: value for label, value in local.items() if "trans-out" not in label}
    return phenotype, local


def _arm_coordinate(vertices: FloatArray, heads: dict[str, FloatArray], dominant: list[str]) -> FloatArray:
    """Position along the arm, from the rest pose (see ``Bodies``)."""
    out = np.full(len(vertices), -1.0)
    for side in "LR":
        chain = [heads[f"{name}.{side}"] for name in ("upperarm01", "lowerarm01", "wrist", "finger3-1")]
        on_arm = np.array(
            [
                label.endswith("." + side)
                and label.startswith(("upperarm", "lowerarm", "wrist", "metacarpal", "finger"))
                for label in dominant
            ]
        )
        points = vertices[on_arm]
        along = np.zeros(len(points))
        for k, (start, end) in enumerate(pairwise(chain)):
            axis = end - start
            share = (points - start) @ axis / (axis @ axis)
            along = np.where(share > 0, np.maximum(along, k + np.minimum(share, 1 if k < 2 else 3)), along)
        out[on_arm] = along
    return out


def _sample_bodies(model: Any, count: int, seed: int) -> tuple[list[FloatArray], ...]:
    """Vertices, bone heads and tails at rest, and phenotypes, of random adults."""
    import torch

    rng = np.random.default_rng(seed)
    identity_pose = torch.eye(4)[None, None].repeat(1, model.bone_count, 1, 1)
    vertices, heads, tails, shapes = [], [], [], []
    for _ in range(count):
        phenotype, local = _sample_shape(rng, list(model.local_change_labels))
        with torch.no_grad():
            out = model(
                pose_parameters=identity_pose,
                phenotype_kwargs=phenotype,
                local_changes_kwargs=local,
                pose_parameterization="local-ref",
                return_bone_ends=True,
            )
        root = out["rest_bone_heads"][0, 0].numpy()
        vertices.append(_to_world(out["rest_vertices"][0].numpy() - root))
        heads.append(_to_world(out["rest_bone_heads"][0].numpy() - root))
        tails.append(_to_world(out["rest_bone_tails"][0].numpy() - root))
        shapes.append(np.array([phenotype[name] for name in PHENOTYPES], np.float32))
    return vertices, heads, tails, shapes


def bake(count: int, path: Path, seed: int = BAKE_SEED) -> None:
    """Make ``count`` random adults and write them to ``path``. Needs anny and torch."""
    import anny
    import torch

    model = anny.Anny(rig="anny-blender", pose_parameterization="world-orient", local_changes="all")
    model = model.to(dtype=torch.float32)
    labels = list(model.bone_labels)
    vertices, heads, tails, shapes = _sample_bodies(model, count, seed)

    weights = model.vertex_bone_weights.numpy()
    index = model.vertex_bone_indices.numpy()
    order = np.argsort(-weights, axis=1)[:, :WEIGHTS_KEPT]
    weights, index = np.take_along_axis(weights, order, 1), np.take_along_axis(index, order, 1)
    weights = weights / weights.sum(1, keepdims=True)
    dominant = [labels[k] for k in index[:, 0]]
    kept = np.array([not label.startswith(("foot", "toe")) for label in dominant])
    renumber = np.cumsum(kept) - 1
    faces, uv_faces = model.faces.numpy(), model.face_texture_coordinate_indices.numpy()
    drawn = kept[faces].all(1)
    faces, uv_faces = renumber[faces[drawn]], uv_faces[drawn]
    uv = model.texture_coordinates.numpy() * [1.0, -1.0] + [0.0, 1.0]
    mean = np.mean(vertices, axis=0)
    mean_heads = dict(zip(labels, np.mean(heads, axis=0), strict=True))
    arm = _arm_coordinate(mean[kept], mean_heads, [d for d, keep in zip(dominant, kept, strict=True) if keep])

    stored = np.round(np.stack(vertices)[:, kept] / UNIT_M).astype(np.int16)
    corner = mean[kept][faces]
    if np.einsum("fi,fi->", np.cross(corner[:, 0], corner[:, 1]), corner[:, 2]) < 0:
        faces, uv_faces = faces[:, ::-1], uv_faces[:, ::-1]  # outward
    path.parent.mkdir(parents=True, exist_ok=True)
    np.savez_compressed(
        path,
        base=stored[0],
        delta=np.concatenate([np.zeros_like(stored[:1]), np.diff(stored, axis=0)]),
        heads=np.stack(heads).astype(np.float32),
        tails=np.stack(tails).astype(np.float32),
        faces=faces.astype(np.uint16),
        weight_index=index[kept].astype(np.uint8),
        weights=weights[kept].astype(np.float32),
        arm_coordinate=arm.astype(np.float16),
        bone_labels=np.array(labels),
        bone_parents=np.array(list(model.bone_parents), np.int16),
        phenotypes=np.stack(shapes),
        uv=np.round(np.clip(uv, 0, 1) * UV_STEPS).astype(np.uint16),
        uv_faces=uv_faces.astype(np.uint16),
    )


def default_path() -> Path:
    """Where the baked bodies are looked for: ``POSTUREWATCH_BODIES`` or the user's cache folder."""
    named = os.environ.get("POSTUREWATCH_BODIES")
    return Path(named) if named else Path.home() / ".cache" / "posturewatch" / "bodies.npz"


def main() -> None:
    parser = argparse.ArgumentParser(description="Bake random body identities into one file.")
    parser.add_argument("--count", type=int, default=IDENTITY_COUNT)
    parser.add_argument("--seed", type=int, default=BAKE_SEED)
    parser.add_argument("--out", type=Path, default=default_path())
    options = parser.parse_args()
    bake(options.count, options.out, options.seed)
    print(f"{options.count} bodies in {options.out}, {options.out.stat().st_size / 1e6:.1f} MB")


if __name__ == "__main__":
    main()
