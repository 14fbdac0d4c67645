//! The solver on the linear regression sets of the NIST Statistical Reference Datasets: certified values, with as many digits as 64-bit floats can be
//! asked for.
//!
//! The data of Norris are those in the PyPI package scipy 1.17.1 (`scipy/stats/tests/data/nist_linregress/Norris.dat`), of Longley those in statsmodels 0.15.0
//! (`statsmodels/datasets/longley/longley.csv`); those of Wampler are made by their formulas. Certified values: the NIST tables.

use super::{Fit, newey_west, solve};

/// y, x.
const NORRIS: [(f64, f64); 36] = [
    (0.1, 0.2),
    (338.8, 337.4),
    (118.1, 118.2),
    (888.0, 884.6),
    (9.2, 10.1),
    (228.1, 226.5),
    (668.5, 666.3),
    (998.5, 996.3),
    (449.1, 448.6),
    (778.9, 777.0),
    (559.2, 558.2),
    (0.3, 0.4),
    (0.1, 0.6),
    (778.1, 775.5),
    (668.8, 666.9),
    (339.3, 338.0),
    (448.9, 447.5),
    (10.8, 11.6),
    (557.7, 556.0),
    (228.3, 228.1),
    (998.0, 995.8),
    (888.8, 887.6),
    (119.6, 120.2),
    (0.3, 0.3),
    (0.6, 0.3),
    (557.6, 556.8),
    (339.3, 339.1),
    (888.0, 887.2),
    (998.5, 999.0),
    (778.9, 779.0),
    (10.2, 11.1),
    (117.6, 118.3),
    (228.9, 229.2),
    (668.4, 669.1),
    (449.2, 448.9),
    (0.2, 0.5),
];

/// Total employment; deflator, GNP, unemployment, armed forces, population, year.
const LONGLEY: [[f64; 7]; 16] = [
    [60323.0, 83.0, 234289.0, 2356.0, 1590.0, 107608.0, 1947.0],
    [61122.0, 88.5, 259426.0, 2325.0, 1456.0, 108632.0, 1948.0],
    [60171.0, 88.2, 258054.0, 3682.0, 1616.0, 109773.0, 1949.0],
    [61187.0, 89.5, 284599.0, 3351.0, 1650.0, 110929.0, 1950.0],
    [63221.0, 96.2, 328975.0, 2099.0, 3099.0, 112075.0, 1951.0],
    [63639.0, 98.1, 346999.0, 1932.0, 3594.0, 113270.0, 1952.0],
    [64989.0, 99.0, 365385.0, 1870.0, 3547.0, 115094.0, 1953.0],
    [63761.0, 100.0, 363112.0, 3578.0, 3350.0, 116219.0, 1954.0],
    [66019.0, 101.2, 397469.0, 2904.0, 3048.0, 117388.0, 1955.0],
    [67857.0, 104.6, 419180.0, 2822.0, 2857.0, 118734.0, 1956.0],
    [68169.0, 108.4, 442769.0, 2936.0, 2798.0, 120445.0, 1957.0],
    [66513.0, 110.8, 444546.0, 4681.0, 2637.0, 121950.0, 1958.0],
    [68655.0, 112.6, 482704.0, 3813.0, 2552.0, 123366.0, 1959.0],
    [69564.0, 114.2, 502601.0, 3931.0, 2514.0, 125368.0, 1960.0],
    [69331.0, 115.7, 518173.0, 4806.0, 2572.0, 127852.0, 1961.0],
    [70551.0, 116.9, 554894.0, 4007.0, 2827.0, 130081.0, 1962.0],
];

/// What is added to the polynomials of Wampler 3 to 5, times 1, 100 and 10000.
const DELTA: [f64; 21] = [
    759.0, -2048.0, 2048.0, -2048.0, 2523.0, -2048.0, 2048.0, -2048.0, 1838.0, -2048.0, 2048.0, -2048.0,
    1838.0, -2048.0, 2048.0, -2048.0, 2523.0, -2048.0, 2048.0, -2048.0, 759.0,
];

fn solved(columns: &[Vec<f64>], y: &[f64]) -> Fit {
    let columns: Vec<&[f64]> = columns.iter().map(Vec::as_slice).collect();
    solve(&columns, y).expect("independent columns")
}

#[track_caller]
fn assert_close(found: &[f64], certified: &[f64], within: f64) {
    assert_eq!(found.len(), certified.len());
    for (place, (found, certified)) in found.iter().zip(certified).enumerate() {
        let off = ((found - certified) / certified).abs();
        assert!(off < within, "{place}: {found} instead of {certified}: off by {off:e}");
    }
}

#[test]
fn norris_comes_to_its_certified_values() {
    let x: Vec<f64> = NORRIS.iter().map(|row| row.1).collect();
    let y: Vec<f64> = NORRIS.iter().map(|row| row.0).collect();
    let fit = solved(&[vec![1.0; 36], x], &y);
    assert_close(&fit.coefficients, &[-0.262323073774029, 1.00211681802045], 1e-12);
    assert_close(&fit.standard_errors(), &[0.232818234301152, 0.429796848199937e-3], 1e-12);
    assert_close(&[fit.residual_deviation(), fit.rss], &[0.884796396144373, 26.6173985294224], 1e-12);
}

#[test]
fn longley_comes_to_its_certified_values() {
    let column = |k: usize| LONGLEY.iter().map(|row| row[k]).collect::<Vec<f64>>();
    let columns: Vec<Vec<f64>> = std::iter::once(vec![1.0; 16]).chain((1..7).map(column)).collect();
    let fit = solved(&columns, &column(0));
    let certified = [
        -3482258.63459582,
        15.0618722713733,
        -0.0358191792925910,
        -2.02022980381683,
        -1.03322686717359,
        -0.0511041056535807,
        1829.15146461355,
    ];
    let errors = [
        890420.383607373,
        84.9149257747669,
        0.0334910077722432,
        0.488399681651699,
        0.214274163161675,
        0.226073200069370,
        455.478499142212,
    ];
    assert_close(&fit.coefficients, &certified, 1e-9);
    assert_close(&fit.standard_errors(), &errors, 1e-9);
    assert_close(&[fit.residual_deviation(), fit.rss], &[304.854073561965, 836424.055505915], 1e-9);
}

fn wampler(coefficients: [f64; 6], times: f64) -> Fit {
    let powers: Vec<Vec<f64>> =
        (0..6).map(|power| (0..21).map(|x| f64::from(x).powi(power)).collect()).collect();
    let y: Vec<f64> = (0..21)
        .map(|row| {
            // Smallest first would not be exact either: the sums are whole numbers or nearly.
            let value: f64 = (0..6).map(|k| coefficients[k] * powers[k][row]).sum();
            value + times * DELTA[row]
        })
        .collect();
    solved(&powers, &y)
}

#[test]
fn wampler_1_and_2_are_polynomials_without_a_residual() {
    let fit = wampler([1.0; 6], 0.0);
    assert_close(&fit.coefficients, &[1.0; 6], 1e-9);
    assert!(fit.residual_deviation() < 1e-6, "{}", fit.residual_deviation());
    let powers = [1.0, 0.1, 0.01, 0.001, 0.0001, 0.00001];
    let fit = wampler(powers, 0.0);
    assert_close(&fit.coefficients, &powers, 1e-9);
    assert!(fit.residual_deviation() < 1e-10, "{}", fit.residual_deviation());
}

#[test]
fn wampler_3_to_5_come_to_their_certified_values() {
    let errors = [
        2152.32624678170,
        2363.55173469681,
        779.343524331583,
        101.475507550350,
        5.64566512170752,
        0.112324854679312,
    ];
    for (times, within) in [(1.0, 1e-9), (100.0, 1e-8), (10_000.0, 1e-7)] {
        let fit = wampler([1.0; 6], times);
        assert_close(&fit.coefficients, &[1.0; 6], within);
        assert_close(&fit.standard_errors(), &errors.map(|error| error * times), 1e-9);
        assert_close(&[fit.residual_deviation()], &[2360.14502379268 * times], 1e-9);
        assert_close(&[fit.rss], &[83_554_268.0 * times * times], 1e-9);
    }
}

#[test]
fn columns_that_depend_on_each_other_are_not_solved() {
    let x: Vec<f64> = (0..20).map(f64::from).collect();
    let twice: Vec<f64> = x.iter().map(|x| 2.0 * x).collect();
    assert_eq!(solve(&[&x, &twice], &x), None);
    assert_eq!(solve(&[&x, &[0.0; 20]], &x), None);
    assert_eq!(solve(&[&x, &x[..19]], &x), None);
    assert_eq!(solve(&[&x[..1], &twice[..1]], &x[..1]), None);
}

#[test]
fn the_covariance_is_the_double_sum_over_lags_with_falling_weights() {
    // By the formula of the article, for an invented series: sum over lags of w (Γ + Γᵀ).
    let n = 40_u32;
    let one = vec![1.0; 40];
    let x: Vec<f64> = (0..n).map(|k| f64::from(k * k % 17)).collect();
    let y: Vec<f64> = (0..n).map(|k| f64::from(k * 7 % 11) + 0.3 * f64::from(k)).collect();
    let fit = solved(&[one.clone(), x.clone()], &y);
    for lags in [0, 1, 5, 39] {
        let found = newey_west(&[&one, &x], &fit, lags);
        let score = |row: usize, k: usize| [&one, &x][k][row] * fit.residuals[row];
        let mut s = [[0.0; 2]; 2];
        for first in 0..40_usize {
            for second in 0..40 {
                let lag = first.abs_diff(second);
                if lag <= lags {
                    let weight = 1.0 - lag as f64 / (lags as f64 + 1.0);
                    for (i, row) in s.iter_mut().enumerate() {
                        for (j, s) in row.iter_mut().enumerate() {
                            *s += weight * score(first, i) * score(second, j);
                        }
                    }
                }
            }
        }
        for (i, found) in found.iter().enumerate() {
            for (j, found) in found.iter().enumerate() {
                let mut expected = 0.0;
                for (k, row) in s.iter().enumerate() {
                    for (l, s) in row.iter().enumerate() {
                        expected += fit.inverse[i][k] * s * fit.inverse[l][j];
                    }
                }
                assert!((found - expected).abs() < 1e-9 * expected.abs().max(1e-6), "{lags} {i} {j}");
            }
        }
    }
}
