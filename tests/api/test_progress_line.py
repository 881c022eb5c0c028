"""Progress rewrites one line on a terminal and stays sparse elsewhere."""

import io

from api.progress_line import ProgressLine
from solver.data.plan import Progress


class Terminal(io.StringIO):
    def isatty(self):
        return True


class Clock:
    now = 0.0

    def __call__(self):
        return self.now


def progress(seconds, best=None, phase="pieces", bound=None, gap=None):
    return Progress(phase=phase, seconds=seconds, best=best, bound=bound, gap=gap)


def feed(stream, reports):
    clock = Clock()
    line = ProgressLine(stream, "USD", clock=clock)
    for report in reports:
        clock.now = report.seconds
        line.update(report)
    return line, clock


def test_a_terminal_keeps_to_one_line_that_ends_clean():
    stream = Terminal()
    line, _ = feed(stream, [progress(0.5), progress(1.0, 500.0), progress(2.0, 400.0)])
    line.finish()
    text = stream.getvalue()
    assert "\n" not in text
    assert "best 400.00 USD" in text
    # Nothing of a longer line before remains: the last writing is blanks from the line's start.
    assert text.endswith("\r")
    assert set(text.split("\r")[-2]) == {" "}


def test_a_terminal_line_is_narrower_than_80_columns():
    stream = Terminal()
    feed(stream, [progress(1e5, 1e9, "a phase with a very long name " * 4, 1e9, 0.5)])
    assert all(len(part) < 80 for part in stream.getvalue().split("\r"))


def test_seconds_run_on_while_nothing_is_reported():
    stream = Terminal()
    line, clock = feed(stream, [progress(1.0)])
    clock.now = 9.0
    line.tick()
    assert "9.0 s" in stream.getvalue()


def test_a_file_gets_a_line_for_each_phase_and_few_between():
    stream = io.StringIO()
    reports = [progress(k / 10, 500.0 - k) for k in range(40)]
    reports += [progress(4.0, 460, "nests"), progress(4.1, 460, "over at once")]
    line, _ = feed(stream, reports)
    line.tick()
    line.finish()
    lines = stream.getvalue().splitlines()
    assert len(lines) == 2
    assert "nests" in lines[1]
    assert "\r" not in stream.getvalue()
    assert all(len(one) <= 80 for one in lines)


def test_phases_cannot_steer_the_terminal():
    stream = io.StringIO()
    feed(stream, [progress(1.0, phase="\x1b[2J")])
    assert "\x1b" not in stream.getvalue()
