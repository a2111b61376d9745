"""Robust fits against statsmodels, and what the expected-level model does with short and wide reference periods."""

import numpy as np
import pytest
import statsmodels.api as sm

from condlube.manipulation.expected import (
    INSIDE,
    NEAR,
    OUTSIDE,
    UNKNOWN,
    deviation_of,
    from_scale,
    predict,
    to_scale,
)
from condlube.manipulation.fit import fit_references
from condlube.manipulation.kernel import first_at_least, medians
from condlube.manipulation.robust import HUBER, HUBER_TUNING, TUKEY, TUKEY_TUNING, irls, solve_positive

MARGINS = np.array([0.1, 0.2, 8.0])


def fitted(y, speed=1480.0, load=75.0, ambient=20.0, mean=(6.0, 0.0, 0.0), sd=(6.0, 3.0, 0.5), floor=0.25, per_night=1):
    """One reference period; every argument broadcasts over the cells."""
    y = np.asarray(y, dtype=float)
    n = len(y)
    operating = np.stack([np.broadcast_to(v, n) for v in (speed, load, ambient)], axis=1).astype(float)
    day = np.arange(n, dtype=np.int64) // per_night
    return fit_references(
        np.array([0, n], dtype=np.int64), y, operating, np.full(n, 1 / per_night), day, np.array([mean]),
        np.array([sd]), np.array([floor]),
    )  # fmt: skip


def at(models, speed=1480.0, load=75.0, ambient=20.0):
    operating = np.array([[speed, load, ambient]], dtype=float)
    return tuple(made[0] for made in predict(models, np.array([0]), operating, MARGINS[None]))


@pytest.mark.parametrize(
    ("kind", "tuning", "norm"),
    [(HUBER, HUBER_TUNING, sm.robust.norms.HuberT), (TUKEY, TUKEY_TUNING, sm.robust.norms.TukeyBiweight)],
)
def test_many_robust_fits_equal_statsmodels(kind, tuning, norm):
    random = np.random.default_rng(4)
    lengths = [12, 40, 180, 7, 365]
    start = np.concatenate([[0], np.cumsum(lengths)]).astype(np.int64)
    x = np.concatenate([np.ones((start[-1], 1)), random.normal(size=(start[-1], 2))], axis=1)
    y = x @ np.array([30.0, 2.0, -1.0]) + random.standard_t(2, size=start[-1])
    beta, weights, none = np.zeros((5, 3)), np.empty(len(y)), np.zeros((5, 3))
    scale, _ = irls(start, x, y, np.ones(len(y)), np.full(5, 3), none, none, np.zeros(5), beta, weights, kind, tuning,
                    1e-10, 300)  # fmt: skip
    for k in range(len(lengths)):
        rows = slice(start[k], start[k + 1])
        outside = sm.RLM(y[rows], x[rows], M=norm(tuning)).fit(maxiter=2000, tol=1e-12)
        np.testing.assert_allclose(beta[k], outside.params, atol=1e-6)
        np.testing.assert_allclose(scale[k], outside.scale, atol=1e-6)
        np.testing.assert_allclose(weights[rows], outside.weights, atol=1e-5)


def test_small_systems_equal_numpy_and_leave_out_what_has_no_information():
    random = np.random.default_rng(1)
    root = random.normal(size=(6, 4, 4))
    a, b = root @ root.transpose(0, 2, 1), random.normal(size=(6, 4, 2))
    np.testing.assert_allclose(solve_positive(a, b), np.linalg.solve(a, b), rtol=1e-8)
    a[:, 2, :] = a[:, :, 2] = 0.0
    rest = np.ix_(range(6), [0, 1, 3], [0, 1, 3])
    x = solve_positive(a, b)
    np.testing.assert_allclose(x[:, [0, 1, 3]], np.linalg.solve(a[rest], b[:, [0, 1, 3]]), rtol=1e-8)
    assert (x[:, 2] == 0).all()


def test_median_and_first_at_least_equal_numpy():
    random = np.random.default_rng(1)
    sizes = np.array([0, 1, 2, 3, 8, 31])
    hi = np.cumsum(sizes)
    values = random.integers(0, 6, hi[-1])
    groups = [values[h - n : h] for h, n in zip(hi, sizes, strict=True)]
    made = medians(values.astype(float), hi - sizes, hi)
    assert np.isnan(made[0])
    assert made[1:].tolist() == [np.median(g) for g in groups[1:]]
    ordered = np.concatenate([np.sort(g) for g in groups])
    for least in range(8):
        found = first_at_least(ordered, hi - sizes, hi, np.full(6, least))
        assert found.tolist() == [h - n + np.searchsorted(np.sort(g), least) for h, n, g in
                                  zip(hi, sizes, groups, strict=True)]  # fmt: skip


def test_scales_go_there_and_back():
    value = np.array([0.2, 1.0, 7.5])
    for quantity in ("ultrasound", "acceleration", "velocity", "kurtosis", "crest_factor", "temperature"):
        np.testing.assert_allclose(from_scale(quantity, to_scale(quantity, value)), value)
    np.testing.assert_allclose(to_scale("acceleration", np.array([2.0])), 6.0206, atol=1e-4)  # 20 log10 2
    np.testing.assert_allclose(deviation_of("velocity", np.log(np.array([2.0]))), 2.0)
    assert np.isnan(to_scale("velocity", np.array([0.0, -1.0]))).all()


def test_healthy_level_that_follows_speed_is_followed():
    random = np.random.default_rng(2)
    speed = random.uniform(700, 1500, 120)
    y = 30 + 6 * np.log2(speed / 1480) + random.normal(0, 0.3, 120)
    models = fitted(y, speed, per_night=4)
    for rpm in (800, 1000, 1200, 1400):
        level, variance, place = at(models, rpm)
        assert place == INSIDE
        assert abs(level - (30 + 6 * np.log2(rpm / 1480))) < 0.4
        assert variance < 0.5**2
    assert (models.knots[0] < np.inf).sum() >= 3


def test_fixed_speed_has_no_knots_and_temperature_follows_ambient():
    random = np.random.default_rng(3)
    ambient = random.uniform(5, 20, 40)
    y = 35 + 0.9 * ambient + random.normal(0, 0.5, 40)
    models = fitted(y, ambient=ambient, mean=(10.0, 6.0, 8.0), sd=(15.0, 10.0, 3.0), floor=1.5)
    assert not (models.knots[0] < np.inf).any()
    level, _, place = at(models, ambient=25.0)
    assert place == NEAR
    assert abs(level - (35 + 0.9 * 25)) < 1.0


def test_a_third_of_bad_nights_does_not_move_the_level():
    random = np.random.default_rng(5)
    y = 30 + random.normal(0, 0.3, 30)
    y[::3] += 12
    assert abs(at(fitted(y))[0] - 30) < 0.3


def test_extrapolation_is_honest():
    random = np.random.default_rng(6)
    speed = random.uniform(1400, 1500, 30)
    models = fitted(30 + random.normal(0, 0.3, 30), speed)
    inside, near = at(models, 1450.0), at(models, 1600.0)
    assert (inside[2], near[2], at(models, 1800.0)[2]) == (INSIDE, NEAR, OUTSIDE)
    assert near[1] > inside[1]
    assert at(models, 1450.0, load=200.0)[2] == OUTSIDE
    few = fitted(30 + random.normal(0, 0.3, 7), speed[:7])
    assert at(few, 1600.0)[1] > near[1]


def test_unknown_operation_widens_or_refuses():
    random = np.random.default_rng(7)
    wide = fitted(30 + random.normal(0, 0.3, 60), random.uniform(800, 1500, 60))
    assert at(wide, np.nan)[2] == UNKNOWN
    y = 40 + 0.9 * np.arange(30) / 2 + random.normal(0, 0.3, 30)
    warm = fitted(y, ambient=np.arange(30) / 2, mean=(10.0, 6.0, 8.0), sd=(15.0, 10.0, 3.0), floor=1.5)
    assert at(warm, ambient=np.nan)[2] == INSIDE
    assert at(warm, ambient=np.nan)[1] > at(warm, ambient=7.0)[1] + 5.0**2
    never = fitted(y[:10], speed=np.nan, load=np.nan, ambient=np.nan)
    level, variance, place = at(never)
    assert place == INSIDE
    assert np.isfinite([level, variance]).all()


def test_spread_is_floored_and_grows_where_nights_are_few_or_rough():
    random = np.random.default_rng(8)
    assert fitted(np.full(20, 30.0)).spread[0] == 0.25
    spreads = {n: np.mean([fitted(random.normal(0, 1, n)).spread[0] for _ in range(200)]) for n in (7, 28)}
    assert spreads[7] > spreads[28] > 0.95
    rough = [fitted(np.round(random.normal(0, 0.4, 30))).spread[0] for _ in range(50)]
    assert np.mean(rough) > 0.4  # whole-number readings of a scatter of 0.4: most nights read the same


def test_day_to_day_correlation_is_found():
    random = np.random.default_rng(9)
    y = np.zeros(60)
    for k in range(1, 60):
        y[k] = 0.7 * y[k - 1] + random.normal(0, 0.7)
    plain = np.mean([fitted(random.normal(0, 1, 60)).correlation[0] for _ in range(30)])
    assert plain < 0.2 < fitted(y).correlation[0]


def test_degenerate_periods_give_finite_models():
    for y in ([30.0], [30.0, 31.0], np.full(5, 30.0)):
        models = fitted(y)
        assert np.isfinite(models.coefficients).all()
        assert np.isfinite(models.covariance).all()
        assert models.nights[0] == len(y)
