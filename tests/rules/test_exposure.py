"""Cautions on health."""

from __future__ import annotations

from solver.rules.exposure import (
    HEALTH_CAUTIONS,
    STYRENE_NIOSH_REL_PPM,
    STYRENE_OSHA_CEILING_PPM,
    STYRENE_OSHA_PEAK_PPM,
    STYRENE_OSHA_TWA_PPM,
)


def caution(subject: str):
    return next(each for each in HEALTH_CAUTIONS if each.subject == subject)


def test_the_styrene_limits_are_the_published_ones():
    # 29 CFR 1910.1000 Table Z-2: 100 TWA, 200 ceiling, 600 for 5 min in any 3 h; NIOSH REL 50 ppm.
    assert STYRENE_OSHA_TWA_PPM == 100
    assert STYRENE_OSHA_CEILING_PPM == 200
    assert STYRENE_OSHA_PEAK_PPM == 600
    assert STYRENE_NIOSH_REL_PPM == 50


def test_the_builder_reads_every_limit_and_where_it_comes_from():
    styrene = caution("styrene")
    for figure in ("100 ppm", "200 ppm", "600 ppm for 5 minutes in any 3 hours", "50 ppm"):
        assert figure in styrene.sentence
    assert "29 CFR 1910.1000" in styrene.source
    assert "ANSI/ISEA 105" in caution("cut edges").source


def test_it_is_said_who_decides():
    assert "Local codes and licensed practice decide" in caution("last word").sentence
    assert all(each.source for each in HEALTH_CAUTIONS)
