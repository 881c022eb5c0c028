"""Made bodies for tests and benchmarks: a shell of quads on a superellipsoid with parts on it.

`made_body(patches, seed)` cuts the upper shell of |x/a|^q + |y/b|^q + |z/c|^q = 1 into rings and
columns of patches, names doors on both flanks, windows above them and a hatch on the roof as
parts, and prices the lines between patches: a part line costs a standing flashing when both
patches share a section, a pinched one when it is a joint; a line inside one part costs a witness
line when it is a joint, which a visible line forbids here and there.  Everything is drawn from
the seed alone, so a body is the same on every machine.
"""

from __future__ import annotations

import math

import numpy as np

from solver.models.split_problem import SplitEdge, SplitPatch, SplitProblem

AREAL_MASS_KG_MM2 = 18.0e-6
# What the lines cost, money per mm: [practice] of the order of 12 minutes a foot at 60 an hour.
JOINT_PER_MM = 12.0 / 304.8
PINCHED_PER_MM = 6.0 / 304.8
STANDING_PER_MM = 14.0 / 304.8
WITNESS_PER_MM = 6.0 / 304.8
FLANGE_KG_PER_MM = 1.35e-3


def _spread(count: int, rings: int) -> list[int]:
    """Patches in each ring from the sill to the roof, fewer toward the top."""
    weights = np.linspace(1.0, 0.45, rings)
    shares = np.floor(weights / weights.sum() * count).astype(int)
    shares = np.maximum(shares, 3)
    while shares.sum() < count:
        shares[int(np.argmax(weights * count / weights.sum() - shares))] += 1
    while shares.sum() > count:
        shares[int(np.argmax(shares))] -= 1
    return [int(s) for s in shares]


def _surface(
    lon: np.ndarray, lat: np.ndarray, axes: tuple[float, float, float], power: float
) -> tuple[np.ndarray, np.ndarray]:
    """Points and outward normals of the superellipsoid along given directions."""
    d = np.stack([np.cos(lat) * np.cos(lon), np.cos(lat) * np.sin(lon), np.sin(lat)], axis=-1)
    scaled = np.abs(d) / np.array(axes)
    radius = (scaled**power).sum(axis=-1) ** (-1.0 / power)
    points = d * radius[..., None]
    normal = np.sign(points) * (np.abs(points) / np.array(axes)) ** (power - 1.0) / np.array(axes)
    return points, normal / np.linalg.norm(normal, axis=-1, keepdims=True)


def made_body(
    patches: int,
    seed: int,
    *,
    lift_limit_kg: float | None = None,
    draft_deg: float = 2.0,
    tuck_deg: float = 12.0,
) -> SplitProblem:
    """Return a body of about 25 m2 with exactly this many patches.

    ``tuck_deg``: how far the sill tucks in below the widest line, which keeps the whole from
    releasing upward.  The lift limit defaults to a sixth of the body.
    """
    random = np.random.default_rng(seed)
    axes = (2400.0 + 300.0 * random.random(), 1000.0 + 100.0 * random.random(), 1300.0)
    power = 2.6 + 0.8 * random.random()
    rings = max(2, round(math.sqrt(patches / 3.2)))
    counts = _spread(patches, rings)
    lat_cut = np.sort(
        np.radians(np.linspace(-tuck_deg, 88.0, rings + 1))
        + np.r_[0, random.uniform(-0.06, 0.06, rings - 1) / rings * 4, 0]
    )
    made: list[SplitPatch] = []
    spans: list[tuple[int, float, float]] = []
    for ring, count in enumerate(counts):
        turn = random.uniform(0, 2 * math.pi / count) if ring else 0.0
        cuts = turn + 2 * math.pi * (np.arange(count + 1) + 0.0) / count
        cuts[1:-1] += random.uniform(-0.15, 0.15, count - 1) * 2 * math.pi / count
        for k in range(count):
            lon = np.linspace(cuts[k], cuts[k + 1], 5)
            lat = np.linspace(lat_cut[ring], lat_cut[ring + 1], 5)
            points, normals = _surface(*np.meshgrid(lon, lat, indexing="ij"), axes, power)
            steps = np.cross(points[1:, :-1] - points[:-1, :-1], points[:-1, 1:] - points[:-1, :-1])
            area = float(np.linalg.norm(steps, axis=-1).sum())
            corners = normals[[0, 0, -1, -1, 2], [0, -1, 0, -1, 2]]
            flat = points.reshape(-1, 3)
            low, high = flat.min(axis=0), flat.max(axis=0)
            angle = (0.5 * (cuts[k] + cuts[k + 1])) % (2 * math.pi)
            made.append(
                SplitPatch(
                    f"{_part(ring, rings, angle, random)}.{len(made)}",
                    area,
                    area * AREAL_MASS_KG_MM2,
                    tuple(tuple(float(x) for x in n) for n in corners),
                    0.0,
                    (tuple(map(float, low)), tuple(map(float, high))),
                    None,
                )
            )
            spans.append((ring, float(cuts[k]), float(cuts[k + 1])))
    edges = _edges(made, spans, lat_cut, axes, power, random)
    total = sum(patch.mass_kg for patch in made)
    open_mass = tuple(
        FLANGE_KG_PER_MM * 0.4 * math.sqrt(p.area_mm2) if s[0] == 0 else 0.0
        for p, s in zip(made, spans, strict=True)
    )
    return SplitProblem(
        tuple(made),
        tuple(edges),
        draft_deg=draft_deg,
        lift_limit_kg=total / 4.0 if lift_limit_kg is None else lift_limit_kg,
        section_cost=120.0,
        frame_fraction=0.15,
        open_mass_kg=open_mass,
    )


def _part(ring: int, rings: int, angle: float, random: np.random.Generator) -> str:
    flank = abs(math.sin(angle)) > 0.8
    side = "left" if math.sin(angle) > 0 else "right"
    if ring == rings - 1 and abs(math.cos(angle)) < 0.5:
        return "hatch"
    if flank and ring <= rings // 3:
        return f"door-{side}" if math.cos(angle) > -0.25 else f"tub-{side}"
    if flank and ring <= 2 * rings // 3 and random.random() < 0.5:
        return f"window-{side}"
    return "roof" if ring > rings // 2 else ("nose" if math.cos(angle) > 0 else "tail")


def _edges(
    patches: list[SplitPatch],
    spans: list[tuple[int, float, float]],
    lat_cut: np.ndarray,
    axes: tuple[float, float, float],
    power: float,
    random: np.random.Generator,
) -> list[SplitEdge]:
    edges: list[SplitEdge] = []

    def add(a: int, b: int, lon: np.ndarray, lat: np.ndarray, step: np.ndarray) -> None:
        points, normals = _surface(lon, lat, axes, power)
        length = float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())
        if length < 30.0:
            return
        toward = []
        for i in (0, len(lon) // 2, -1):
            nudged, _ = _surface(lon[i : i + 1 or None] + step[0], lat[i : i + 1 or None] + step[1],
                                 axes, power)  # fmt: skip
            along = (
                points[min(i + 1, len(lon) - 1) if i >= 0 else -1]
                - points[max(i - 1, 0) if i >= 0 else -2]
            )
            across = np.cross(normals[i], along)
            across *= math.copysign(1.0, float(across @ (nudged[0] - points[i])))
            toward.append(tuple(float(x) for x in across / np.linalg.norm(across)))
        same = patches[a].id.split(".")[0] == patches[b].id.split(".")[0]
        wobble = 0.8 + 0.4 * random.random()
        split, inside = "allowed", 0.0
        joint = JOINT_PER_MM * length * wobble
        if same:
            joint += WITNESS_PER_MM * length
            if random.random() < 0.06:
                split = "forbidden"
        else:
            joint += PINCHED_PER_MM * length
            inside = STANDING_PER_MM * length * wobble
        edges.append(
            SplitEdge(
                f"{patches[a].id} | {patches[b].id}",
                a,
                b,
                length,
                split,
                tuple(toward),
                inside,
                joint,
                FLANGE_KG_PER_MM * length,
            )
        )

    turn = 2 * math.pi
    for i, (ring, low, high) in enumerate(spans):
        for j in range(i + 1, len(spans)):
            other, start, end = spans[j]
            if other == ring:
                lat = np.linspace(lat_cut[ring], lat_cut[ring + 1], 7)
                for lon, sign in ((high, 1.0), (low, -1.0)):
                    touch = start if sign > 0 else end
                    if abs((lon - touch + math.pi) % turn - math.pi) < 1e-9:
                        add(i, j, np.full(7, lon), lat, np.array([sign * 1e-3, 0.0]))
            elif other == ring + 1:
                for shift in (-turn, 0.0, turn):
                    left, right = max(low, start + shift), min(high, end + shift)
                    if right - left > 1e-6:
                        lon = np.linspace(left, right, 7)
                        add(i, j, lon, np.full(7, lat_cut[other]), np.array([0.0, 1e-3]))
    return edges
