"""Bodies drawn at random from all that a builder may write, each fair by itself."""

from __future__ import annotations

from random import Random
from typing import Any

STOCK: dict[str, Any] = {
    "rolls": [
        {
            "metal": "aluminium",
            "gauge": [24, 22],
            "width": [6, 12],
            "length": "10 ft",
            "price": [9, 12],
        }
    ],
    "sheets": [{"metal": "galvanised", "gauge": [22, 20], "size": [48, 96], "price": [84, 99]}],
}


def _turn(chance: Random) -> Any:
    return chance.choice(
        [
            chance.uniform(3, 40),
            {"left": chance.uniform(3, 90), "radius": chance.choice([0, chance.uniform(1, 30)])},
            {"right": chance.uniform(3, 90), "radius": chance.choice([0, chance.uniform(2, 30)])},
            {"up": chance.uniform(2, 40), "radius": chance.uniform(5, 90)},
            {"down": chance.uniform(2, 40), "radius": chance.uniform(5, 90)},
            {
                "length": chance.uniform(5, 40),
                "left": chance.uniform(3, 40),
                "up": chance.uniform(2, 20),
            },
        ]
    )


def _path(chance: Random, start: str, end: str) -> list[Any]:
    path: list[Any] = [start]
    for _ in range(chance.randint(1, 4)):
        path += [_turn(chance), chance.uniform(3, 20)]
    return [*path, end]


def _carried(chance: Random, *, is_open: bool) -> dict[str, Any]:
    carried: dict[str, Any] = {"stand": chance.uniform(0.5, 1.5)}
    if chance.random() < 0.3:
        carried |= {"visible": True, "stand": 0.55}
    if chance.random() < 0.35:
        carried["return"] = chance.uniform(0.3, 1)
    if is_open and chance.random() < 0.4:
        carried["flange"] = "out"
    if not is_open:
        if chance.random() < 0.4:
            carried["split"] = chance.choice(["required", "forbidden"])
        if chance.random() < 0.4:
            carried["grip"] = chance.uniform(0.5, 2)
        if chance.random() < 0.3:
            ends = chance.choice([0, 1, 2])
            carried["bolts"] = {"pitch": chance.uniform(2, 8), "from_ends": ends}
    if chance.random() < 0.3:
        at = [chance.uniform(1, 4), chance.uniform(2, 6)]
        carried["notches"] = {"at": at, "wide": chance.uniform(0.3, 3), "deep": 0.25}
    if chance.random() < 0.2:
        carried["no_seam"] = [[0, chance.uniform(1, 5)]]
    return carried


def mirrored_body(seed: int) -> dict[str, Any]:
    """Return a top between two walls, one of which is written."""
    chance = Random(seed)

    def edge(path: list[Any], *, is_open: bool) -> dict[str, Any]:
        return {"path": path, **_carried(chance, is_open=is_open)}

    rear = {"up": 12, "radius": chance.uniform(100, 300)}
    return {
        "length_unit": "in",
        "mirror": {"l": "r", "L": "R"},
        "patches": {
            "top": {"area": "0.6 ft2", "faces": "up", "spread": 20},
            "side.l": {"area": "0.5 ft2", "faces": "left", "spread": 20},
        },
        "edges": {
            "top | side.l": edge(_path(chance, "L1", "L2"), is_open=False) | {"toward": "left"},
            "side.l | open": edge(_path(chance, "L1", "L2"), is_open=True),
            "top | open (fore)": edge(["R1", chance.uniform(20, 60), "L1"], is_open=True),
            "top | open (aft)": edge(["L2", rear, "R2"], is_open=True),
        },
        "stock": STOCK,
    }


def body_with_a_hatch(seed: int) -> dict[str, Any]:
    """Return two patches of two parts with a hatch in one of them."""
    chance = Random(seed)
    hatch = chance.choice(
        [
            {"circle": chance.uniform(8, 30)},
            {
                "rectangle": [chance.uniform(8, 30), chance.uniform(8, 30)],
                "radius": chance.choice([0, 1, 3]),
            },
            {
                "rectangle": [chance.uniform(10, 30), chance.uniform(10, 30)],
                "radius": 2,
                "rolled": {chance.choice(["up", "down"]): chance.uniform(20, 200)},
            },
        ]
    )
    near = {"near": {"a | open": chance.uniform(0.4, 1.2)}} if chance.random() < 0.4 else {}

    def edge(path: list[Any], *, is_open: bool) -> dict[str, Any]:
        return {"path": path, **_carried(chance, is_open=is_open)}

    return {
        "length_unit": "in",
        "patches": {
            "a": {"area": "1 ft2", "faces": "up", "spread": 20},
            "b": {"area": "1 ft2", "faces": "front", "spread": 20},
            "h": {"area": "20 in2", "faces": "up", "spread": 10},
        },
        "edges": {
            "a | b": edge(_path(chance, "A", "B"), is_open=False) | {"toward": "front"},
            "a | open": edge(_path(chance, "B", "A"), is_open=True),
            "b | open (1)": edge(_path(chance, "A", "C"), is_open=True),
            "b | open (2)": edge(_path(chance, "C", "B"), is_open=True),
            "h | a": {**hatch, **_carried(chance, is_open=False), **near},
        },
        "stock": STOCK,
    }
