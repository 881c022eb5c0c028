"""A small body that may be split in several ways, for tests that change it."""

LONG_WALL = {
    "title": "a body that may be split in several ways",
    "length_unit": "in",
    "kinds": {"open": {"grip": 1.25}},
    "patches": {
        "top.fore": {"area": "8 ft2", "faces": "up 10 front"},
        "top.aft": {"area": "8 ft2", "faces": "up 10 rear"},
        "side.fore": {"area": "6 ft2", "faces": "left 5 up"},
        "side.aft": {"area": "6 ft2", "faces": "left 5 up"},
    },
    "edges": {
        "top.fore | top.aft": {"path": ["R", 24, "M"], "toward": "rear"},
        "side.fore | side.aft": {"path": ["M", 18, "B"], "toward": "rear"},
        "top.fore | side.fore": {"path": ["M", 48, "F"], "toward": "left 45 down"},
        "top.aft | side.aft": {"path": ["A", 48, "M"], "toward": "left 45 down"},
        "top.fore | open": {"path": ["F", 24, {"left": 90, "radius": 4}, 44, "R"]},
        "top.aft | open": {"path": ["R", 44, {"left": 90, "radius": 4}, 24, "A"]},
        "side.fore | open": {"path": ["B", 44, {"left": 90, "radius": 4}, 14, "F"]},
        "side.aft | open": {"path": ["A", 14, {"left": 90, "radius": 4}, 44, "B"]},
    },
    "stock": {
        "sheets": [{"metal": "galvanised", "gauge": 22, "size": [[36, 48], [48, 96]],
                    "price": "2.65 /ft2"}],
        "rolls": [{"metal": "aluminium", "gauge": 24, "width": 8, "length": "10 ft",
                   "price": "1.75 /ft2"}],
    },
    "shop": {"labor_rate": 55, "lift_limit": "90 lb", "on_hand": {"clamps": 80, "bolts": 60}},
}  # fmt: skip
"""Lines of two parts that meet at one mark, a lift limit that asks for two sections or more."""
