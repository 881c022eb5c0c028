"""Straight blanks and stock by inches, for tests of purchases."""

from solver.nests.shapes import Shape, Stock

INCH = 25.4
GAP = INCH / 16


def strip(name, length_in, width_in, quantity=1):
    a, b = length_in * INCH, width_in * INCH
    return Shape(name, ((0.0, 0.0), (a, 0.0), (a, b), (0.0, b)), True, True, quantity)


def stock(width_in, length_in, price, on_hand=0, for_sale=None, trim_in=0.0):
    name = f"{width_in}x{length_in}"
    size = (width_in * INCH, length_in * INCH)
    return Stock(name, *size, price, on_hand, for_sale, None, trim_in * INCH)


SIZES = [
    (14.4375, 3.6875), (71.625, 3.9375), (89.5, 4.0625), (89.4375, 4.0), (44.125, 4.0625),
    (40.1875, 3.3125), (26.25, 2.625), (68.75, 2.625), (60.5625, 4.125), (54.625, 3.9375),
    (52.4375, 2.6875), (55.0625, 3.625),
]  # fmt: skip
TWELVE = [strip(f"s{k}", *size) for k, size in enumerate(SIZES)]
STOCKS = [stock(10, 120, 11.48), stock(14, 120, 17.76), stock(36, 96, 34.02)]
