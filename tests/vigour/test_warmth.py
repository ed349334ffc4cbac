"""Hours at the reference temperature, against integrals and closed forms, and how sure they are."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.integrate import quad

from leavenbench.records.settings import Settings
from leavenbench.temperature import LACTIC, YEAST, Cardinal, rate_against_reference
from leavenbench.vigour.warmth import Warmth

#: Rosso et al. 1995, Appl Environ Microbiol 61:610, equation 1 for 5 / 20 / 30 degC (checks.md: R, C).
ROSSO, GAMMA = Cardinal(5.0, 20.0, 30.0), {6.0: 0.02, 10.0: 1 / 3, 15.0: 0.8, 22.0: 0.9633333, 25.0: 0.7619048}


@pytest.fixture
def warmth_of(make_collection):
    """Return a function that takes the warmth of refeeds from (hours, degC) of each, or from its room."""

    def of(*courses, room=np.nan, reference=25.0) -> Warmth:
        names = [f"F{number}" for number in range(len(courses))]
        read = [
            {"refeed": name, "elapsed_h": hour, "temperature_degC": degC}
            for name, course in zip(names, courses, strict=True)
            for hour, degC in course
        ]
        readings = pd.DataFrame(read, columns=["refeed", "elapsed_h", "temperature_degC"])
        return Warmth.of(
            make_collection(
                Settings(reference_temperature_degC=reference),
                refeeds={"refeed": names, "room_temperature_degC": np.broadcast_to(room, len(names)).astype(float)},
                readings=dict(readings),
            )
        )

    return of


def hours(warmth, until, organism, number=0):
    until = np.atleast_1d(np.asarray(until, float))
    return warmth.reference_hours(np.full(len(until), number), until, organism)


def log_slope(degC, organism, reference=25.0):
    """Return how fast the logarithm of the pace changes with temperature, by a central difference [1/degC]."""
    up, down = (np.log(rate_against_reference(degC + by, organism, reference)) for by in (1e-4, -1e-4))
    return (up - down) / 2e-4


# Hours


@pytest.mark.parametrize(("degC", "gamma"), GAMMA.items())
def test_ten_hours_at_a_constant_temperature_are_worth_ten_times_the_published_rate(warmth_of, degC, gamma):
    """At the optimum as the reference the pace is the published gamma itself."""
    warmth = warmth_of([(0.0, degC), (10.0, degC)], reference=20.0)
    assert hours(warmth, 10.0, ROSSO) == pytest.approx(10.0 * gamma, abs=1e-6)


@pytest.mark.parametrize("organism", [YEAST, LACTIC])
@pytest.mark.parametrize(("first", "last"), [(18.0, 26.0), (28.0, 16.0), (21.0, 21.5)])
def test_hours_are_the_integral_over_the_course_of_the_temperature(warmth_of, organism, first, last):
    """scipy.integrate.quad over the straight line between two thermometer readings, which go on beyond both."""
    warmth = warmth_of([(1.0, first), (9.0, last)])

    def pace(hour):
        return rate_against_reference(np.interp(hour, [1.0, 9.0], [first, last]), organism)

    for until in (0.5, 1.0, 4.0, 9.0, 14.0):
        wanted = quad(pace, 0.0, until, points=[1.0, 9.0], epsabs=1e-10)[0]
        assert hours(warmth, until, organism) == pytest.approx(wanted, abs=2e-4)


def test_hours_are_the_integral_over_a_course_of_many_readings(warmth_of):
    rng = np.random.default_rng(8)
    at, degC = np.sort(rng.uniform(0, 24, 30)), 22.0 + np.cumsum(rng.normal(0, 1.0, 30))
    warmth = warmth_of(list(zip(at, degC, strict=True)))
    until = np.linspace(0.1, 30.0, 25)
    told = [
        quad(
            lambda hour: rate_against_reference(warmth.at(np.zeros(1, int), np.array([hour]))[0], YEAST),
            0.0,
            end,
            points=at[at < end],
            limit=200,
        )[0]
        for end in until
    ]
    assert hours(warmth, until, YEAST) == pytest.approx(told, abs=1e-5)


def test_hours_add_up_and_nothing_has_passed_at_feeding(warmth_of):
    warmth = warmth_of([(0.0, 20.0), (3.0, 23.0), (7.0, 21.0), (20.0, 18.0)])
    until = np.linspace(0.0, 30.0, 61)
    passed = hours(warmth, until, YEAST)
    assert passed[0] == 0.0
    assert (np.diff(passed) > 0.0).all()
    # Beyond the last reading the temperature is the last one: the hours there are all worth the same.
    assert np.diff(passed[until >= 20.0]) == pytest.approx(
        0.5 * warmth.pace(warmth.at(np.zeros(1, int), [20.0]), YEAST)[0]
    )


def test_near_the_limits_of_life_an_hour_is_never_worth_nothing(warmth_of):
    """A fiftieth of the reference's pace is the least (common practice, no source)."""
    for degC in (2.0, 36.0, 45.0):
        assert hours(warmth_of([(0.0, degC), (8.0, degC)]), 8.0, YEAST) == pytest.approx(8.0 * 0.02)


def test_a_refeed_has_the_same_hours_alone_or_among_many(warmth_of):
    rng = np.random.default_rng(5)
    courses = [
        [(hour, 22 + rng.normal(0, 2)) for hour in np.sort(rng.uniform(0, 20, rng.integers(1, 9)))] for _ in range(300)
    ]
    many = warmth_of(*courses)
    for number in (0, 1, 150, 299):
        one = warmth_of(courses[number])
        assert hours(many, [0.3, 5.0, 12.0], YEAST, number) == pytest.approx(
            hours(one, [0.3, 5.0, 12.0], YEAST), abs=1e-6
        )


def test_the_order_of_readings_is_none_of_its_business(warmth_of):
    course = [(0.0, 19.0), (2.0, 22.0), (5.0, 25.0), (11.0, 20.0)]
    told = [hours(warmth_of(of), [1.0, 6.0, 20.0], LACTIC) for of in (course, course[::-1])]
    assert told[0] == pytest.approx(told[1], rel=1e-12)


def test_two_readings_of_one_moment_are_one(warmth_of):
    """Height and pH were read together, each with its thermometer."""
    twice = [(0.0, 19.0), (5.0, 26.0), (5.0, 24.0), (11.0, 20.0)]
    once = warmth_of([(0.0, 19.0), (5.0, 25.0), (11.0, 20.0)])
    for course in (twice, twice[::-1]):
        warmth = warmth_of(course)
        assert hours(warmth, [1.0, 6.0, 20.0], LACTIC) == pytest.approx(hours(once, [1.0, 6.0, 20.0], LACTIC))
        assert warmth.readings.tolist() == [3]


# What is known of a temperature


def test_readings_speak_before_the_room_and_the_room_before_nothing(warmth_of):
    in_dough = warmth_of([(0.0, 22.0), (6.0, 22.0)], room=19.0)
    in_room, nowhere = warmth_of([], room=19.0), warmth_of([])
    assert [bool(of.noted[0]) for of in (in_dough, in_room, nowhere)] == [True, True, False]
    assert [int(of.readings[0]) for of in (in_dough, in_room, nowhere)] == [2, 0, 0]
    told = [hours(of, 10.0, YEAST)[0] for of in (in_dough, in_room, nowhere)]
    assert told == pytest.approx([10 * float(rate_against_reference(degC, YEAST)) for degC in (22.0, 19.0, 25.0)])


def test_readings_without_an_hour_a_temperature_or_after_no_feeding_tell_nothing(warmth_of):
    warmth = warmth_of([(np.nan, 30.0), (2.0, np.nan), (-3.0, 10.0), (4.0, 21.0)], room=19.0)
    assert warmth.readings.tolist() == [1]
    assert hours(warmth, 10.0, YEAST) == pytest.approx(10 * float(rate_against_reference(21.0, YEAST)))


def test_what_thermometers_scatter_is_no_warmth(warmth_of):
    """Of a scatter with variance v within a refeed, 1 - .25 / v is real where a thermometer is off by .5 degC."""
    swinging = warmth_of([(0.0, 20.0), (5.0, 24.0), (10.0, 28.0)])
    share = 1.0 - 0.5**2 / np.var([20.0, 24.0, 28.0], ddof=1)
    assert swinging.at(np.zeros(3, int), np.array([0.0, 5.0, 10.0])) == pytest.approx(
        [24 - 4 * share, 24, 24 + 4 * share]
    )
    still = warmth_of([(0.0, 23.8), (5.0, 24.2), (10.0, 24.0)])
    assert still.at(np.zeros(3, int), np.array([0.0, 5.0, 10.0])) == pytest.approx(24.0)


# How sure


@pytest.mark.parametrize("degC", [17.0, 22.0, 29.0])
@pytest.mark.parametrize("organism", [YEAST, LACTIC])
def test_a_thermometer_read_four_times_is_half_as_far_off(warmth_of, degC, organism):
    """Beside what is the culture's own, which no reading tells: the difference of squares is the thermometer's."""
    error = [
        warmth_of([(float(hour), degC) for hour in range(many)]).log_error(
            np.array([degC]), np.zeros(1, int), organism
        )[0]
        for many in (1, 4)
    ]
    slope = float(log_slope(degC, organism))
    assert error[0] ** 2 - error[1] ** 2 == pytest.approx((0.5 * slope) ** 2 * (1.0 - 0.25), rel=0.03)


@pytest.mark.parametrize("degC", [17.0, 22.0, 29.0])
def test_own_cardinal_temperatures_count_by_how_far_from_the_reference_it_is(warmth_of, degC):
    """A culture whose cardinal temperatures all lie d higher works as one at T - d: the derivative by d, for 1 degC."""
    many = warmth_of([(float(hour), degC) for hour in range(100)] * 100)
    error = many.log_error(np.array([degC]), np.zeros(1, int), YEAST)[0]

    def moved(off):
        by = Cardinal(*(it + off for it in YEAST))
        return float(np.log(rate_against_reference(degC, by)))

    assert error == pytest.approx(abs(moved(1e-4) - moved(-1e-4)) / 2e-4, rel=0.02)
    assert many.log_error(np.array([25.0]), np.zeros(1, int), YEAST)[0] < 0.1 * error


@pytest.mark.parametrize("degC", [4.0, 8.5, 35.0, 36.0, 39.0])
def test_near_the_limits_of_life_nobody_knows_the_pace(warmth_of, degC):
    """Within a degree of where the yeast stops: so far may a culture's own limits lie from those assumed."""
    error = warmth_of([(float(hour), degC) for hour in range(9)]).log_error(np.array([degC]), np.zeros(1, int), YEAST)
    assert error[0] > 2.0
    inside = warmth_of([(float(hour), 33.0) for hour in range(9)])
    assert inside.log_error(np.array([33.0]), np.zeros(1, int), YEAST)[0] < 0.5


@pytest.mark.parametrize("degC", [17.0, 29.0])
def test_the_wall_once_at_feeding_is_a_degree_off(warmth_of, degC):
    """Twice a thermometer in the dough (common practice, no source): the day goes on after the jar was fed."""
    wall = warmth_of([], room=degC).log_error(np.array([degC]), np.zeros(1, int), YEAST)[0]
    dough = warmth_of([(0.0, degC)]).log_error(np.array([degC]), np.zeros(1, int), YEAST)[0]
    slope = float(log_slope(degC, YEAST))
    assert wall**2 - dough**2 == pytest.approx((1.0 - 0.25) * slope**2, rel=0.03)


def test_an_unknown_room_may_be_two_degrees_off(warmth_of):
    """The two degrees are common practice, no source."""
    error = warmth_of([]).log_error(np.array([25.0]), np.zeros(1, int), YEAST)[0]
    assert error == pytest.approx(abs(float(np.log(rate_against_reference(23.0, YEAST)))))
    assert error > warmth_of([], room=23.0).log_error(np.array([23.0]), np.zeros(1, int), YEAST)[0]
