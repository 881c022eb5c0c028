"""Directions in words are unit vectors of the finished body: x front, y left, z up."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from solver.intake.directions import (
    WORDS,
    DirectionError,
    angle_deg,
    flipped_across,
    mean_direction,
    read_direction,
)
from solver.intake.show import direction_words

COS30, SIN30 = math.cos(math.radians(30)), 0.5


@pytest.mark.parametrize(
    ("words", "vector"),
    [
        ("up", (0, 0, 1)),
        ("rear", (-1, 0, 0)),
        ("right", (0, -1, 0)),
        ("up 30 front", (SIN30, 0, COS30)),
        ("left 30 up", (0, COS30, SIN30)),
        ("front 60 up", (SIN30, 0, COS30)),
        ("up 90 rear", (-1, 0, 0)),
        ("up 0 rear", (0, 0, 1)),
        ("up 30 front left", (SIN30 / math.sqrt(2), SIN30 / math.sqrt(2), COS30)),
        ((0.0, 3.0, 4.0), (0, 0.6, 0.8)),
    ],
)
def test_words_lean_one_way_toward_another(words, vector):
    assert read_direction(words) == pytest.approx(vector, abs=1e-12)


def test_a_second_lean_turns_the_leaned_direction_on():
    # scipy's rotations: lean up by 20° toward the front (about +y), then by 10° toward the left
    # about the axis square to both
    leaned = Rotation.from_rotvec(np.radians(20) * np.array([0, 1, 0])).apply([0, 0, 1])
    across = np.cross(leaned, [0, 1, 0])
    twice = Rotation.from_rotvec(np.radians(10) * across / np.linalg.norm(across)).apply(leaned)
    assert read_direction("up 20 front 10 left") == pytest.approx(tuple(twice), abs=1e-12)


@given(
    main=st.sampled_from(sorted(WORDS)),
    lean=st.integers(0, 90),
    toward=st.sampled_from(sorted(WORDS)),
)
@settings(max_examples=150, derandomize=True)
def test_the_lean_is_the_angle_from_the_first_word(main, lean, toward):
    parallel = abs(np.dot(WORDS[main], WORDS[toward])) == 1
    if parallel:
        with pytest.raises(DirectionError):
            read_direction(f"{main} {lean} {toward}")
        return
    assert angle_deg(read_direction(f"{main} {lean} {toward}"), WORDS[main]) == pytest.approx(lean)


@given(
    main=st.sampled_from(["up", "left", "rear"]),
    lean=st.integers(0, 44),
    toward=st.sampled_from(["front", "down", "right", "front down"]),
)
@settings(max_examples=100, derandomize=True)
def test_what_is_shown_can_be_written(main, lean, toward):
    if any(abs(np.dot(WORDS[main], WORDS[word])) == 1 for word in toward.split()):
        return
    direction = read_direction(f"{main} {lean} {toward}")
    assert angle_deg(read_direction(direction_words(direction)), direction) < 0.1


@pytest.mark.parametrize(
    ("words", "remedy"),
    [
        ("upp", 'did you mean "up"?'),
        ("", 'write it as "up"'),
        ("up front", "by how many degrees"),
        ("up 10", "where it leans to"),
        ("up 100 front", "at most 90"),
        ("up 10 down", "cannot lean that way"),
        ("up 10 left right", "where it leans to"),
        ("up 10 front 10 left 10 rear", "at most twice"),
        ("up -10 front", 'write it as "up"'),
        ("up 10 front left rear", "where it leans to"),
    ],
)
def test_words_that_say_nothing_are_refused(words, remedy):
    with pytest.raises(DirectionError) as caught:
        read_direction(words)
    assert remedy in str(caught.value)


def test_mirroring_swaps_left_and_right():
    assert flipped_across(read_direction("left 30 up")) == pytest.approx(
        read_direction("right 30 up")
    )
    assert flipped_across(read_direction("up")) == read_direction("up")


def test_directions_that_cancel_out_have_no_mean():
    assert mean_direction((WORDS["up"], WORDS["down"])) is None
    assert mean_direction(()) is None
    assert mean_direction((WORDS["up"], WORDS["front"])) == pytest.approx(
        read_direction("up 45 front")
    )
