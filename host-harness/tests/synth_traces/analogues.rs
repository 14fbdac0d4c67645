//! Analogue values follow their course, and what is wrong with a line is there from its instant on.

use super::support::{FINE, REST, Trace, ms, scenario_text, trace};
use host_harness::synth::{PlantedKind, Scenario};

const COURSE: &str = "unit = \"Nm\"\ndecimals = 3\npoints = [{ at = \"0.1 s\", value = \"-5 Nm\" }, \
                      { at = \"0.3 s\", value = \"5 Nm\" }, { at = \"0.4 s\", value = \"0.002 kNm\" }]\n";

fn torque(keys: &str, rest: &str) -> Trace {
    trace(REST, "0.5 s", FINE, &analogue(keys, rest))
}

fn analogue(keys: &str, rest: &str) -> String {
    format!("[[analogue]]\ncolumns = [\"torque_1\", \"torque_2\"]\n{COURSE}{keys}\n{rest}")
}

/// The course of the example at a row, in Nm.
fn course(row: usize) -> f64 {
    let row = row as f64;
    match row {
        ..=100.0 => -5.0,
        ..=300.0 => -5.0 + (row - 100.0) * 0.05,
        ..=400.0 => 5.0 - (row - 300.0) * 0.03,
        _ => 2.0,
    }
}

#[test]
fn both_lines_follow_the_course_in_their_own_columns_behind_the_others() {
    let t = torque("", "[[input]]\ncolumn = \"door\"\ninitial = 0\n");
    assert_eq!(t.header, ["time", "a", "b", "door", "torque_1", "torque_2"]);
    for column in ["torque_1", "torque_2"] {
        for (row, text) in t.text(column).iter().enumerate() {
            assert_eq!(*text, format!("{:.3}", course(row)), "{column}, row {row}");
        }
    }
}

#[test]
fn an_offset_shows_on_the_second_line_alone_and_while_it_lasts() {
    let t = torque("offset = { by = \"-0.75 Nm\", from = \"0.15 s\", until = \"0.2 s\" }", "");
    let differences: Vec<f64> =
        t.numbers("torque_2").iter().zip(t.numbers("torque_1")).map(|(b, a)| b - a).collect();
    for (row, difference) in differences.iter().enumerate() {
        let expected = if (150..200).contains(&row) { -0.75 } else { 0.0 };
        assert!((difference - expected).abs() < 1e-9, "row {row}: {difference}");
    }
    assert_eq!(t.numbers("torque_1")[170], -1.5);
    let fact = &t.written.planted[0];
    assert_eq!((fact.kind, fact.column.as_deref()), (PlantedKind::Offset, Some("torque_2")));
    assert_eq!((fact.at_ns, fact.until_ns, fact.first_row_ns), (ms(150), Some(ms(200)), Some(ms(150))));
}

#[test]
fn noise_has_the_given_size_on_each_line_by_itself_and_comes_from_the_seed() {
    let t = torque("noise = \"40 mNm\"", "");
    let errors = |column: &str| -> Vec<f64> {
        t.numbers(column).iter().enumerate().map(|(row, value)| value - course(row)).collect()
    };
    let (first, second) = (errors("torque_1"), errors("torque_2"));
    let count = first.len() as f64;
    for errors in [&first, &second] {
        let mean = errors.iter().sum::<f64>() / count;
        let variance = errors.iter().map(|error| error * error).sum::<f64>() / count;
        // Five standard errors: of the mean 1/sqrt(n), of the variance sqrt(1.9/n).
        assert!(mean.abs() < 5.0 * 0.04 / count.sqrt(), "{mean}");
        assert!((variance / 0.0016 - 1.0).abs() < 5.0 * (1.9 / count).sqrt(), "{variance}");
    }
    let product = first.iter().zip(&second).map(|(a, b)| a * b).sum::<f64>() / count / 0.0016;
    assert!(product.abs() < 5.0 / count.sqrt(), "the lines have nothing in common: {product}");
    assert_eq!(torque("noise = \"40 mNm\"", "").rows, t.rows, "the same scenario, the same cells");
    let other = scenario_text(REST, "0.5 s", FINE, &analogue("noise = \"40 mNm\"", ""))
        .replace("seed = 3", "seed = 4");
    let other = super::support::read(Scenario::from_toml(&other, "test.toml").unwrap());
    assert_ne!(other.rows, t.rows);
}

#[test]
fn an_analogue_value_leaves_everything_else_as_it_was() {
    let noisy = format!("{FINE}noise = \"3 um\"\n");
    let without = trace(REST, "0.5 s", &noisy, "");
    let with = trace(REST, "0.5 s", &noisy, &analogue("noise = \"40 mNm\"", ""));
    assert_eq!(with.text("a"), without.text("a"));
}

#[test]
fn a_stuck_line_keeps_its_last_value_and_the_other_goes_on() {
    let t =
        torque("", "[[fault]]\nkind = \"stuck\"\nsource = \"torque_2\"\nat = \"0.2 s\"\nuntil = \"0.25 s\"");
    let (free, stuck) = (t.numbers("torque_1"), t.numbers("torque_2"));
    for row in 0..500 {
        let expected = if (200..250).contains(&row) { free[199] } else { free[row] };
        assert_eq!(stuck[row], expected, "row {row}");
    }
    let fact = &t.written.planted[0];
    assert_eq!(
        (fact.kind, fact.column.as_deref(), fact.first_row_ns),
        (PlantedKind::Stuck, Some("torque_2"), Some(ms(200)))
    );
}

#[test]
fn dropped_values_leave_a_sparse_cell_empty_and_are_repeated_otherwise() {
    let fault = "[[fault]]\nkind = \"dropped\"\nsource = \"torque_1\"\nat = \"0.2 s\"\nuntil = \"0.25 s\"";
    let t = torque("sparse = true", fault);
    for (row, text) in t.text("torque_1").iter().enumerate() {
        assert_eq!(text.is_empty(), (200..250).contains(&row), "row {row}");
    }
    assert!(t.text("torque_2").iter().all(|text| !text.is_empty()));
    let t = torque("", fault);
    let (held, free) = (t.numbers("torque_1"), t.numbers("torque_2"));
    for row in 0..500 {
        let expected = if (200..250).contains(&row) { free[199] } else { free[row] };
        assert_eq!(held[row], expected, "row {row}");
    }
}

#[test]
fn a_line_that_marks_its_readings_invalid_does_so_in_its_own_column_and_keeps_the_value() {
    let fault = |kind: &str, at: u32, until: u32| {
        format!(
            "[[fault]]\nkind = \"{kind}\"\nsource = \"torque_2\"\nat = \"0.{at} s\"\nuntil = \"0.{until} s\"\n"
        )
    };
    let faults = fault("invalid", 200, 250) + &fault("dropped", 240, 260);
    let valid = "valid_columns = [\"ok_1\", \"ok_2\"]\n";
    let t = torque(valid, &faults);
    assert_eq!(t.header, ["time", "a", "b", "torque_1", "torque_2", "ok_1", "ok_2"]);
    assert!(t.text("ok_1").iter().all(|text| *text == "1"));
    for (row, text) in t.text("ok_2").iter().enumerate() {
        // What is dropped last leaves the reading of before as it was marked.
        assert_eq!(*text == "0", (200..260).contains(&row), "row {row}");
    }
    let values = t.numbers("torque_2");
    assert!((values[230] - course(230)).abs() < 1e-9, "{}", values[230]);
    let fact = &t.written.planted[0];
    assert_eq!(
        (fact.kind, fact.column.as_deref(), fact.first_row_ns),
        (PlantedKind::Invalid, Some("torque_2"), Some(ms(200)))
    );
    let t = torque(&format!("{valid}sparse = true\n"), &faults);
    for (row, text) in t.text("ok_2").iter().enumerate() {
        let expected = match row {
            240..260 => "",
            200..240 => "0",
            _ => "1",
        };
        assert_eq!(*text, expected, "row {row}");
    }
}

#[test]
fn a_bad_analogue_value_is_refused_at_its_place() {
    let good = scenario_text(
        REST,
        "0.5 s",
        FINE,
        &analogue(
            "valid_columns = [\"ok_1\", \"ok_2\"]\nnoise = \"40 mNm\"\noffset = { by = \"1 Nm\", from = \"0.2 s\", until = \"0.3 s\" }",
            "[[fault]]\nkind = \"stuck\"\nsource = \"torque_2\"\nat = \"0.2 s\"\nuntil = \"0.25 s\"",
        ),
    );
    assert!(Scenario::from_toml(&good, "good.toml").is_ok());
    for (old, new, place, message) in [
        ("[\"torque_1\", \"torque_2\"]", "[\"torque_1\"]", "[\"torque_1\"]", "has two columns"),
        ("\"torque_1\", ", "\"torque_2\", ", "\"torque_2\"]", "two columns are called"),
        ("\"torque_1\", ", "\"a\", ", "\"a\"", "two columns are called"),
        ("[\"ok_1\", \"ok_2\"]", "[\"ok_1\"]", "[\"ok_1\"]", "two valid columns, or none"),
        ("[\"ok_1\", \"ok_2\"]", "[\"ok\", \"ok\"]", "\"ok\"]", "two columns are called"),
        ("unit = \"Nm\"", "unit = \"kNm\"", "\"kNm\"", "no unit of an analogue value"),
        ("decimals = 3", "decimals = 10", "10", "decimals is 10"),
        ("decimals = 3\n", "", "", "missing field `decimals`"),
        ("\"-5 Nm\"", "\"-5 %\"", "\"-5 %\"", "`%` is a share"),
        ("\"-5 Nm\"", "\"-5\"", "\"-5\"", "without a unit"),
        ("\"-5 Nm\"", "\"1e9 Nm\"", "\"1e9 Nm\"", "out of range"),
        ("\"0.3 s\", value", "\"0.1 s\", value", "\"0.1 s\", value", "not after the one before"),
        ("\"40 mNm\"", "\"-40 mNm\"", "\"-40 mNm\"", "is negative"),
        ("by = \"1 Nm\"", "by = \"0 Nm\"", "\"0 Nm\"", "changes nothing"),
        ("from = \"0.2 s\"", "from = \"0.3 s\"", "\"0.3 s\" }", "not after"),
        ("kind = \"stuck\"", "kind = \"reversed\"", "\"reversed\"", "has no fault `reversed`"),
        ("source = \"torque_2\"", "source = \"torque_3\"", "\"torque_3\"", "no source"),
        (
            "kind = \"stuck\"\nsource = \"torque_2\"\nat = \"0.2 s\"",
            "kind = \"dropped\"\nsource = \"torque_2\"\nat = \"0 s\"",
            "\"torque_2\"",
            "none before it",
        ),
    ] {
        assert_eq!(good.matches(old).count(), 1, "`{old}` must be there once");
        let bad = good.replacen(old, new, 1);
        let error = Scenario::from_toml(&bad, "bad.toml").expect_err(new);
        let line = bad.lines().nth(error.line - 1).expect("the line of the error");
        assert!(line[error.column - 1..].starts_with(place), "{new}: {error}");
        assert!(error.message.contains(message) && !error.advice.is_empty(), "{new}: {error}");
    }
    let mute = good
        .replace("valid_columns = [\"ok_1\", \"ok_2\"]\n", "")
        .replace("kind = \"stuck\"", "kind = \"invalid\"");
    let mute = Scenario::from_toml(&mute, "bad.toml").expect_err("nothing shows it");
    assert!(mute.message.contains("no column of `valid_columns` to show it"), "{mute}");
    let (before, after) = good.split_once("points = [").expect("points");
    let (_, after) = after.split_once("]\n").expect("their end");
    let empty = Scenario::from_toml(&format!("{before}points = []\n{after}"), "bad.toml").expect_err("empty");
    assert!(empty.message.contains("has no points"), "{empty}");
}
