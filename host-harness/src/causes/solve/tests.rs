//! The solver on the linear regression sets of the NIST Statistical Reference Datasets: certified values, with as many digits as 64-bit floats can be
//! asked for.
//!
//! Where the data come from stands beside them; those of Wampler are made by their formulas. Certified values: the NIST tables; of NoInt1 and NoInt2
//! data and values are from memory, and their coefficients follow from the data as fractions.

mod nist;

use super::{Fit, newey_west, solve};
use nist::{FILIP, LONGLEY, NORRIS, PONTIUS};

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

/// The powers of x from 0 on, and y.
fn powers(of: &[(f64, f64)], degree: i32) -> (Vec<Vec<f64>>, Vec<f64>) {
    let columns = (0..=degree).map(|power| of.iter().map(|row| row.1.powi(power)).collect()).collect();
    (columns, of.iter().map(|row| row.0).collect())
}

#[test]
fn pontius_comes_to_its_certified_values() {
    let (columns, y) = powers(&PONTIUS, 2);
    let fit = solved(&columns, &y);
    let certified = [0.673565789473684e-03, 0.732059160401003e-06, -0.316081871345029e-14];
    let errors = [0.107938612033077e-03, 0.157817399981659e-09, 0.486652849992036e-16];
    assert_close(&fit.coefficients, &certified, 1e-10);
    assert_close(&fit.standard_errors(), &errors, 1e-10);
    assert_close(&[fit.rss], &[0.155761768796992e-05], 1e-10);
}

#[test]
fn filip_comes_to_its_certified_values() {
    let (columns, y) = powers(&FILIP, 10);
    let fit = solved(&columns, &y);
    let certified = [
        -1467.48961422980,
        -2772.17959193342,
        -2316.37108160893,
        -1127.97394098372,
        -354.478233703349,
        -75.1242017393757,
        -10.8753180355343,
        -1.06221498588947,
        -0.670191154593408e-01,
        -0.246781078275479e-02,
        -0.402962525080404e-04,
    ];
    let errors = [
        298.084530995537,
        559.779865474950,
        466.477572127796,
        227.204274477751,
        71.6478660875927,
        15.2897178747400,
        2.23691159816033,
        0.221624321934227,
        0.142363763154724e-01,
        0.535617408889821e-03,
        0.896632837373868e-05,
    ];
    assert_close(&fit.coefficients, &certified, 1e-7);
    assert_close(&fit.standard_errors(), &errors, 1e-7);
    assert_close(&[fit.rss], &[0.795851382172941e-03], 1e-7);
}

#[test]
fn lines_through_the_origin_come_to_their_certified_values() {
    // NoInt1: x 60 to 70, y 130 to 140. Sum of x y over sum of x x.
    let x: Vec<f64> = (60..=70).map(f64::from).collect();
    let y: Vec<f64> = (130..=140).map(f64::from).collect();
    let fit = solved(std::slice::from_ref(&x), &y);
    assert_close(&fit.coefficients, &[2.07438016528926], 1e-12);
    assert_close(&fit.standard_errors(), &[0.0165289256198347], 1e-12);
    assert_close(&[fit.residual_deviation()], &[3.56753034006338], 1e-12);
    // NoInt2: 56 / 77.
    let fit = solved(&[vec![4.0, 5.0, 6.0]], &[3.0, 4.0, 4.0]);
    assert_close(&fit.coefficients, &[56.0 / 77.0], 1e-14);
    assert_close(&fit.coefficients, &[0.727272727272727], 1e-12);
    assert_close(&fit.standard_errors(), &[0.0420827318078432], 1e-12);
    assert_close(&[fit.residual_deviation()], &[0.369274472937998], 1e-12);
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
