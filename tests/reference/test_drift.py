"""Drift and field rotation against brute force by astropy, worked values, and the rules of the trade."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from polarcheck.alignment import Alignment
from polarcheck.constants import ARCMIN, DEGREE
from polarcheck.outlook.drift import Drift, Rate, drift_in_camera, predict_drift
from polarcheck.site import Site
from polarcheck.sky.air import Atmosphere, standard_atmosphere
from polarcheck.sky.observed import PoleKind, Sky
from polarcheck.times import utc_from_iso
from polarcheck.vectors import direction_from_azalt
from tests.brute_force import axis_of, camera_basis, carried_back, directions, icrs, plane, star_at

START = "2026-11-14T21:00:00"
OMEGA = 2 * np.pi / 86164.0905  # Explanatory Supplement (from memory) [rad/s]


def brute_force(
    site: Site,
    air: Atmosphere,
    axis: np.ndarray,
    target: tuple[float, float],
    seconds: np.ndarray,
    day_s: float = 86164.0905,
) -> np.ndarray:
    """East, north, rotation, shape (n, 3). [arcsec]

    The rotation is the mean over stars on a ring of 0.05 deg, so that shear averages out.
    """
    angles = np.radians(np.arange(0, 360, 30))
    ring = [star_at(*target, 0.05 * np.sin(a), 0.05 * np.cos(a)) for a in angles]
    north = star_at(*target, 0.0, 0.01)
    stars = icrs(np.array([star_at(*target), north, *ring]))
    seen = directions(stars, START, np.array([0.0, *seconds]), site, air)
    basis = camera_basis(seen[0])
    places = plane(carried_back(seen, axis, np.array([0.0, *seconds]), site.latitude_deg >= 0, day_s), *basis)
    offsets = places[:, 2:] - places[:, :1]
    position_angles = np.unwrap(np.arctan2(offsets[..., 0], offsets[..., 1]), axis=0)
    turned = (position_angles - position_angles[0]).mean(axis=1)
    moved = places[1:, 0] - places[0, 0]
    return np.concatenate([moved, np.degrees(turned[1:, None]) * 3600], axis=-1)


def predicted(
    site: Site,
    air: Atmosphere,
    axis: np.ndarray,
    target: tuple[float, float],
    seconds: np.ndarray,
    rate: Rate = "sidereal",
) -> Drift:
    alignment = Alignment(Sky(site, air), "refracted", axis)
    return predict_drift(alignment, target, utc_from_iso(START), seconds, rate)


NORTH, SOUTH = Site(47.3, 11.2, 900.0), Site(-31.4, 20.6, 1200.0)

# The local sidereal time is about 1.3 h at the northern site and 1.9 h at the southern one. Altitudes, deg:
CASES = [
    (NORTH, (20.0, 85.0), (23.4, -11.8)),  # 52
    (NORTH, (20.0, 41.0), (23.4, -11.8)),  # 84
    (NORTH, (20.0, -20.0), (-40.0, 5.0)),  # 23
    (NORTH, (115.0, 20.0), (0.0, 30.0)),  # 11
    (NORTH, (300.0, 20.0), (30.0, 0.0)),  # 22
    (NORTH, (20.0, 60.0), (0.0, 0.0)),  # 77: refraction alone
    (SOUTH, (20.0, -45.0), (25.0, 14.0)),  # 75
    (SOUTH, (120.0, -45.0), (-60.0, -30.0)),  # 19
    (SOUTH, (40.0, 45.0), (12.0, -7.0)),  # 13, near its highest
    (SOUTH, (315.0, -30.0), (0.0, 20.0)),  # 29, sinking to 17
    (SOUTH, (50.0, -84.0), (100.0, 60.0)),  # 37
]


@pytest.mark.parametrize(("site", "target", "error"), CASES)
def test_drift_agrees_with_brute_force(
    site: Site, target: tuple[float, float], error: tuple[float, float]
) -> None:
    """astropy's AltAz with refraction, scipy's rotations; within 0.05 arcsec plus 0.5 %, up to an hour."""
    air = standard_atmosphere(site.height_m)
    axis = axis_of(site, Sky(site, air).refracted_pole.altitude_deg, error)
    seconds = np.array([60.0, 600.0, 1800.0, 3600.0])
    drift = predicted(site, air, axis, target, seconds)
    assert drift.altitude_deg.min() > 10
    got = np.stack([drift.east_arcsec, drift.north_arcsec, drift.rotation_arcsec], axis=-1)
    expected = brute_force(site, air, axis, target, seconds)
    size = np.hypot(expected[:, 0], expected[:, 1])
    assert (np.hypot(*(got - expected)[:, :2].T) < 0.05 + 0.005 * size).all()
    assert (np.abs(got - expected)[:, 2] < 0.05 + 0.005 * np.abs(expected[:, 2])).all()


@pytest.mark.parametrize(("site", "target", "error"), CASES[:8:3])
def test_rates_are_those_of_brute_force_at_the_start(
    site: Site, target: tuple[float, float], error: tuple[float, float]
) -> None:
    """From the first ten seconds; within 0.02 arcsec a minute plus 0.5 %."""
    air = standard_atmosphere(site.height_m)
    axis = axis_of(site, Sky(site, air).refracted_pole.altitude_deg, error)
    expected = 6 * brute_force(site, air, axis, target, np.array([10.0]))[0]
    rates = predicted(site, air, axis, target, np.array([0.0, 60.0])).rates
    got = [rates.east_arcsec_per_min, rates.north_arcsec_per_min, rates.rotation_arcsec_per_min]
    assert got == pytest.approx(expected, abs=0.02 + 0.005 * float(np.hypot(*expected[:2])))


@pytest.mark.parametrize(("site", "target", "error"), CASES)
@pytest.mark.parametrize("rate", ["sidereal", "solar"])
def test_causes_add_up(
    site: Site, target: tuple[float, float], error: tuple[float, float], rate: Rate
) -> None:
    air = standard_atmosphere(site.height_m)
    axis = axis_of(site, Sky(site, air).refracted_pole.altitude_deg, error)
    drift = predicted(site, air, axis, target, np.array([0.0, 900.0]), rate)
    whole = [drift.east_arcsec[-1], drift.north_arcsec[-1], drift.rotation_arcsec[-1]]
    assert sum(parts[-1] for parts in drift.causes.values()) == pytest.approx(whole, abs=1e-6)


def test_causes_are_those_of_an_axis_with_one_error() -> None:
    """Azimuth and altitude parts against brute force with only that error, less brute force without any."""
    air = standard_atmosphere(NORTH.height_m)
    pole, target, seconds = Sky(NORTH, air).refracted_pole, (20.0, 41.0), np.array([600.0])
    drift = predicted(NORTH, air, axis_of(NORTH, pole.altitude_deg, (23.4, -11.8)), target, seconds)

    def alone(error: tuple[float, float]) -> np.ndarray:
        return brute_force(NORTH, air, axis_of(NORTH, pole.altitude_deg, error), target, seconds)[0]

    none = alone((0.0, 0.0))
    assert drift.causes["azimuth"][-1] == pytest.approx(alone((23.4, 0.0)) - none, rel=0.02, abs=0.1)
    assert drift.causes["altitude"][-1] == pytest.approx(alone((0.0, -11.8)) - none, rel=0.02, abs=0.1)
    assert drift.causes["refraction"][-1] == pytest.approx(none, abs=0.05)


def hand_points(latitude: float, hour_angle_h: float, declination: float, minutes: float) -> np.ndarray:
    """A star and four beside it at a start and some minutes later, turning about the pole, without air."""
    phi, pole = (
        np.radians(latitude),
        np.array([0.0, np.cos(np.radians(latitude)), np.sin(np.radians(latitude))]),
    )
    h, d = np.radians(15 * hour_angle_h), np.radians(declination)
    equator = np.array([0.0, -np.sin(phi), np.cos(phi)])  # on the meridian
    west = np.array([-1.0, 0.0, 0.0])
    star = np.cos(d) * (np.cos(h) * equator + np.sin(h) * west) + np.sin(d) * pole
    east = np.cross(pole, star) / np.linalg.norm(np.cross(pole, star))
    north = np.cross(star, east)
    around = [star, star + 1e-4 * east, star - 1e-4 * east, star + 1e-4 * north, star - 1e-4 * north]
    start = np.array([v / np.linalg.norm(v) for v in around])
    later = Rotation.from_rotvec(-OMEGA * 60 * minutes * pole).apply(start)
    return np.stack([start, later])


@pytest.mark.parametrize(
    ("latitude", "azimuth", "altitude", "hour_angle", "declination", "minutes", "east", "north", "turn"),
    [
        (52, 5, 0, 0, 0, 10, -0.004, -8.079, 0.0029),
        (52, 0, 5, -6, 0, 10, -0.010, 13.122, -0.0048),
        (52, 5, 5, -3, 40, 10, -9.692, 3.252, -0.1922),
        (52, -10, 4, 2, 70, 30, -49.922, 22.694, -0.3018),
        (40, 60, 0, 0, 20, 5, -0.269, -60.326, 0.0073),
        (-34, 0, 5, -6, -20, 10, -0.107, -13.122, 0.0044),
        (-34, 4, -6, 3, -60, 30, 9.911, -52.724, -0.0964),
    ],
)
def test_drift_agrees_with_worked_values(
    latitude: float,
    azimuth: float,
    altitude: float,
    hour_angle: float,
    declination: float,
    minutes: float,
    east: float,
    north: float,
    turn: float,
) -> None:
    """Derived independently of the package: the star turned about the pole, the camera about the axis, in exact
    geometry without air; rotation in arcmin. A cross-check, not a published table. Tolerance: its digits.
    """
    points = hand_points(latitude, hour_angle, declination, minutes)
    pole = Sky.over(Site(latitude, 0.0)).true_pole
    axis = direction_from_azalt(
        pole.azimuth_deg * DEGREE + azimuth * ARCMIN, pole.altitude_deg * DEGREE + altitude * ARCMIN
    )
    turns = np.array([OMEGA * 60 * minutes])
    got = drift_in_camera(points[1:], points[0], axis, turns, latitude >= 0)[0]
    assert got[:2] == pytest.approx([east, north], abs=0.002)
    assert got[2] / 60 == pytest.approx(turn, abs=2e-4)


@pytest.mark.parametrize(
    ("latitude", "error", "hour_angle", "sign"),
    [
        (52, (5.0, 0.0), 0.0, -1),  # north, too far east: star on the meridian drifts south
        (52, (-5.0, 0.0), 0.0, +1),
        (52, (0.0, -5.0), -5.9, -1),  # too low: star in the east drifts south
        (52, (0.0, 5.0), -5.9, +1),
        (-34, (-5.0, 0.0), 0.0, +1),  # south, too far east (its azimuth too small): reversed
        (-34, (5.0, 0.0), 0.0, -1),
        (-34, (0.0, -5.0), -5.9, +1),
        (-34, (0.0, 5.0), -5.9, -1),
    ],
)
def test_declination_drift_has_the_sign_of_common_practice(
    latitude: float, error: tuple[float, float], hour_angle: float, sign: int
) -> None:
    """Common practice, no source: the rules of drift alignment, both reversed in the south."""
    points = hand_points(latitude, hour_angle, 0.0, 10.0)
    pole = Sky.over(Site(latitude, 0.0)).true_pole
    axis = axis_of(Site(latitude, 0.0), pole.altitude_deg, error)
    north = drift_in_camera(points[1:], points[0], axis, np.array([OMEGA * 600]), latitude >= 0)[0, 1]
    # the azimuth error is east-positive in the north and west-positive in the south
    assert np.sign(north) == sign
    assert abs(north) > 5


@pytest.mark.parametrize("declination", [0.0, 60.0])
def test_declination_drift_follows_the_rule_3_81_at_any_declination(declination: float) -> None:
    """Error in arcmin = 3.81 x drift in arcsec / minutes, at the best place; common rule, its first source not seen.

    It has no factor of cos(dec): the same at declination 0 and 60. Tolerance 0.5 %: the rule is first order.
    """
    points = hand_points(52.0, 0.0, declination, 2.0)
    error = 5.0 / np.cos(np.radians(52.0))  # 5 arcmin on the sky
    axis = axis_of(Site(52.0, 0.0), 52.0, (error, 0.0))
    # half an interval either side of the meridian would be exact; from the meridian on, cos H falls by 4e-5
    north = drift_in_camera(points[1:], points[0], axis, np.array([OMEGA * 120]), True)[0, 1]
    assert 3.81 * abs(north) / 2.0 == pytest.approx(5.0, rel=0.005)


def test_largest_drift_is_15_7_arcsec_a_minute_per_degree() -> None:
    """The rule 15.7 (read in a public mailing list of 2002); 15.75 at the sidereal rate. Tolerance 1 %."""
    points = hand_points(40.0, -6.0 + 0.05, 0.0, 1.0)
    axis = axis_of(Site(40.0, 0.0), 40.0, (0.0, 60.0))
    north = drift_in_camera(points[1:], points[0], axis, np.array([OMEGA * 60]), True)[0, 1]
    assert abs(north) == pytest.approx(15.7, rel=0.01)


KING = [
    # latitude, declination, hour angle [h], period about the true and the refracted pole [min]
    (52.0, 0.0, 0.0, 1436.4718, 1436.4718),
    (52.0, 40.0, -2.0, 1436.4209, 1436.1918),
    (52.0, 60.0, 3.0, 1436.5531, 1436.1668),
    (35.0, 20.0, -3.0, 1436.6512, 1436.5028),
]


@pytest.mark.parametrize(("latitude", "declination", "hour_angle", "at_true", "at_refracted"), KING)
def test_king_rate_agrees_with_the_closed_formula(
    latitude: float, declination: float, hour_angle: float, at_true: float, at_refracted: float
) -> None:
    """King's formula, derived anew from refraction k tan z with k = 57.98 arcsec (King's own constants are from
    memory). Tolerance 0.02 min: the air of 1010 hPa and 10 C, and ERFA's second term.
    """
    from polarcheck.outlook.drift import tracking_rate
    from polarcheck.sky.track import field_points, star_track

    site, air = Site(latitude, 0.0), Atmosphere(1010.0, 10.0, 0.0, 0.574)
    utc = utc_from_iso(START)
    true_direction = hand_points(latitude, hour_angle, declination, 0.0)[0, 0]
    dry = Atmosphere(0.0, 10.0)
    place = Sky(site, dry).icrs(true_direction[None, None], np.array([utc]))[0, 0]
    target = (float(np.degrees(np.arctan2(place[1], place[0]))), float(np.degrees(np.arcsin(place[2]))))
    track = star_track(field_points(target, np.zeros((0, 2))), utc, 60.0, Sky(site, air))
    for pole, expected in (
        (Sky.over(site).true_pole, at_true),
        (Sky(site, air).refracted_pole, at_refracted),
    ):
        rate = tracking_rate("king", track, pole.direction, True, 20.0)
        assert 2 * np.pi / rate / 60 == pytest.approx(expected, abs=0.02)


def test_king_rate_keeps_a_star_still_in_right_ascension() -> None:
    """At the refracted pole, over ten minutes, against brute force at the same rate; and better than sidereal."""
    air = standard_atmosphere(NORTH.height_m)
    pole, target = Sky(NORTH, air).refracted_pole, (95.0, 20.0)
    axis = axis_of(NORTH, pole.altitude_deg, (0.0, 0.0))
    king = predicted(NORTH, air, axis, target, np.array([0.0, 600.0]), "king")
    plain = predicted(NORTH, air, axis, target, np.array([0.0, 600.0]))
    assert abs(king.east_arcsec[-1]) < 0.2 * abs(plain.east_arcsec[-1])
    assert abs(king.rates.east_arcsec_per_min) < 0.01


@pytest.mark.parametrize(
    ("rate", "arcsec_per_s"), [("solar", 15.0), ("lunar", 14.492), ("sidereal", 15.041067)]
)
def test_rates_are_the_published_ones(rate: Rate, arcsec_per_s: float) -> None:
    """15 arcsec/s per mean solar day by definition; the sidereal rate 15.041067 (360 deg / 86164.1 s); the Moon's
    mean motion of 13.17640 deg a day (Meeus, ch. 47, from memory) less: 14.492.
    """
    air = standard_atmosphere(NORTH.height_m)
    axis = axis_of(NORTH, Sky(NORTH, air).refracted_pole.altitude_deg, (0.0, 0.0))
    drift = predicted(NORTH, air, axis, (20.0, 41.0), np.array([0.0, 60.0]), rate)
    plain = predicted(NORTH, air, axis, (20.0, 41.0), np.array([0.0, 60.0]))
    lag = (drift.east_arcsec - plain.east_arcsec)[-1] / 60 / np.cos(np.radians(41.0))
    # a mount that turns too slowly lets stars run to the west
    assert lag == pytest.approx(arcsec_per_s - 15.041067, abs=0.002)


def test_a_perfect_mount_without_air_does_not_drift() -> None:
    """But for polar motion and the change of aberration, a few hundredths of an arcsecond in an hour."""
    air = Atmosphere(0.0, 10.0)
    pole = Sky.over(NORTH).true_pole
    alignment = Alignment(Sky(NORTH, air), "true", pole.direction)
    drift = predict_drift(alignment, (20.0, 41.0), utc_from_iso(START), np.array([0.0, 3600.0]))
    assert np.hypot(drift.east_arcsec[-1], drift.north_arcsec[-1]) < 0.3


def test_uncertainty_of_drift_is_that_of_axes_drawn_at_random() -> None:
    """Against 400 draws through the brute force's geometry; 10 % is three standard errors of such a spread."""
    air = standard_atmosphere(NORTH.height_m)
    pole = Sky(NORTH, air).refracted_pole
    axis = axis_of(NORTH, pole.altitude_deg, (23.4, -11.8))
    covariance = np.array([[0.5, 0.2], [0.2, 0.8]]) * ARCMIN**2
    alignment = Alignment(Sky(NORTH, air), "refracted", axis, covariance)
    drift = predict_drift(alignment, (20.0, 41.0), utc_from_iso(START), np.array([0.0, 600.0]))
    rng = np.random.default_rng(3)
    cosine = np.hypot(axis[0], axis[1])
    ends = []
    for east, up in rng.multivariate_normal([0, 0], covariance / ARCMIN**2, 400):
        other = axis_of(NORTH, pole.altitude_deg, (23.4 + east / cosine, -11.8 + up))
        there = predicted(NORTH, air, other, (20.0, 41.0), np.array([0.0, 600.0]))
        ends.append([there.east_arcsec[-1], there.north_arcsec[-1], there.rotation_arcsec[-1]])
    assert drift.sigma_arcsec is not None
    assert drift.sigma_arcsec[-1] == pytest.approx(np.std(ends, axis=0), rel=0.11)


def test_pole_kinds_differ_by_the_refraction_at_the_pole() -> None:
    """The same axis: refraction's part is larger when the error is counted from the true pole."""
    air = standard_atmosphere(NORTH.height_m)
    axis = axis_of(NORTH, Sky(NORTH, air).refracted_pole.altitude_deg, (0.0, 0.0))
    parts: dict[str, float] = {}
    kinds: tuple[PoleKind, ...] = ("refracted", "true")
    for kind in kinds:
        alignment = Alignment(Sky(NORTH, air), kind, axis)
        drift = predict_drift(alignment, (95.0, 20.0), utc_from_iso(START), np.array([0.0, 600.0]))
        parts[kind] = float(np.abs(drift.causes["altitude"][-1][:2]).max())
    assert parts["refracted"] < 1e-6
    # 0.9 arcmin at 47 deg turns by 10 min of the sky: 0.9 x 60 x 0.0437 at most
    assert 0.3 < parts["true"] < 0.9 * 60 * OMEGA * 600 * 1.2
