"""Tables and wrapped text keep to their width whatever stands in them."""

from hypothesis import given, settings
from hypothesis import strategies as st

from api.tables import beside, clip, columns, plain, table, wrap

words = st.text(max_size=60)


@settings(derandomize=True, max_examples=60)
@given(words)
def test_plain_text_prints_as_one_line_and_nothing_unseen(text):
    assert all(one.isprintable() or one.isspace() for one in plain(text))
    assert not set(plain(text)) & set("\n\r\t\x1b\u2028\u202e")


@settings(derandomize=True, max_examples=60)
@given(words, st.integers(20, 80))
def test_wrapped_lines_keep_to_the_width_and_lose_no_word(text, width):
    lines = wrap(text, first="- ", rest="  ", width=width)
    assert max(columns(line) for line in lines) <= width
    joined = "".join("".join(line.split()) for line in lines)
    assert joined == "-" + "".join(plain(text).split())


@settings(derandomize=True, max_examples=60)
@given(st.lists(st.lists(words, min_size=1, max_size=4), max_size=5))
def test_tables_keep_to_80_columns(rows):
    assert all(columns(line) <= 80 for line in table(rows))


def test_columns_line_up_and_figures_stand_to_the_right():
    assert table([["a", "10.00"], ["long", "5.00"]], sides=["left", "right"]) == [
        "  a     10.00",
        "  long   5.00",
    ]


def test_clipped_text_shows_that_something_is_missing():
    assert clip("galvanised", 8) == "galva..."
    assert clip("galvanised", 10) == "galvanised"


def test_two_blocks_stand_side_by_side():
    assert beside(["a", "b"], ["c"], at=5) == ["a    c", "b"]
