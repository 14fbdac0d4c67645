//! Two independent position sources of one real motion, each with readings of its own instants.
//!
//! What must come out is computed in `camera.py`, apart from the monitors and in exact fractions, in three ways.
//! `held` and `aligned` are the rule of the discrepancy itself: newest readings as they are from the first frame with
//! both, or each moved on by its own speed from the first frame with both speeds. There the monitors must agree at
//! every frame but for the rounding of their fixed point.
//! `interpolated` is the difference an analyst would compute afterwards, by interpolating between two readings of motion
//! capture, one of which a monitor has not seen yet. How far a monitor may be off from it is bounded by the way
//! between the two, and is computed there as well.

use std::path::PathBuf;

use host_harness::report::VerdictReport;
use host_harness::setup::Setup;
use serde_json::Value;

use super::fetched;
use super::replayed::{each_frame, report, setup, setup_with};

const AXES: [&str; 3] = ["x", "y", "z"];

/// Four readings and two references are rounded to 2⁻²⁴ mm each, and what a speed adds within a gap of 110 ms once
/// more per source: 8 steps cover it.
const ROUNDING_MM: f64 = 8.0 / 16_777_216.0;

/// The file of expected values is written to the nearest 10⁻⁹ mm.
const WRITTEN_MM: f64 = 0.5e-9;

fn prepared() -> Option<(PathBuf, Value)> {
    let folder = fetched::camera()?;
    let text = std::fs::read_to_string(folder.join("camera-expected.json")).expect("the expected values");
    Some((folder, serde_json::from_str(&text).expect("JSON")))
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is not a number"))
}

/// The setup of an axis, with the readings moved to one instant or as they are.
fn setup_of(axis: &str, align: bool) -> Setup {
    let name = format!("camera-{axis}.toml");
    if align { setup(&name) } else { setup_with(&name, &[("align            = true", "align = false")]) }
}

/// `d` in mm at every frame that compares, with whether the frame has a reading of the camera.
fn differences(setup: &Setup, trace: &std::path::Path) -> Vec<(f64, bool)> {
    let mut all = Vec::new();
    each_frame(setup, trace, |frame, _, axis| {
        if let Some(apart) = axis.apart() {
            // Below 2^53, so exact.
            all.push((apart.d.to_bits() as f64 / 16_777_216.0, frame.b.is_some()));
        }
    });
    all
}

fn root_mean_square(values: &[f64]) -> f64 {
    (values.iter().map(|value| value * value).sum::<f64>() / values.len() as f64).sqrt()
}

fn largest(values: &[f64]) -> f64 {
    values.iter().fold(0.0, |largest, value| value.abs().max(largest))
}

fn assert_near(found: f64, expected: f64, tolerance: f64, what: &str) {
    assert!((found - expected).abs() <= tolerance, "{what}: {found}, expected {expected} within {tolerance}");
}

#[test]
fn the_reported_difference_is_that_of_the_rule_computed_apart() {
    let Some((folder, expected)) = prepared() else { return };
    for (axis, align) in AXES.iter().flat_map(|axis| [(axis, true), (axis, false)]) {
        let what = format!("{axis}, align = {align}");
        let expected = &expected[axis][if align { "aligned" } else { "held" }];
        let setup = setup_of(axis, align);
        let trace = folder.join(format!("camera-{axis}.csv"));
        let report = report(&setup, &trace);
        let apart = report.discrepancy.as_ref().unwrap();
        let tolerance = ROUNDING_MM + WRITTEN_MM;

        let reported = apart.largest.as_ref().unwrap().to_string().parse().unwrap();
        assert_near(reported, number(&expected["largest_mm"]), tolerance, &what);
        assert_eq!(apart.largest_at_s.unwrap().to_string(), expected["largest_at_s"].as_str().unwrap());

        let all: Vec<f64> = differences(&setup, &trace).iter().map(|(d, _)| *d).collect();
        assert_eq!(all.len() as u64, expected["frames"].as_u64().unwrap(), "{what}");
        assert_near(root_mean_square(&all), number(&expected["rms_mm"]), tolerance, &what);

        match expected["first_above_tolerance_s"].as_str() {
            None => assert_eq!(report.verdict, VerdictReport::Clear, "{what}"),
            Some(at) => {
                assert_eq!(report.verdict, VerdictReport::Tripped, "{what}");
                assert_eq!(report.trips.len(), 1, "{what}");
                assert_eq!(report.trips[0].tripped_s.to_string(), at, "{what}");
            }
        }
        assert!(report.faults.is_empty(), "{what}");
    }
}

#[test]
fn at_the_camera_s_instants_the_difference_is_that_of_an_interpolation() {
    let Some((folder, expected)) = prepared() else { return };
    for (axis, align) in AXES.iter().flat_map(|axis| [(axis, true), (axis, false)]) {
        let what = format!("{axis}, align = {align}");
        let expected = &expected[axis];
        let trace = folder.join(format!("camera-{axis}.csv"));
        let frames = differences(&setup_of(axis, align), &trace);
        let at_camera: Vec<f64> = frames.iter().filter(|(_, camera)| *camera).map(|(d, _)| *d).collect();
        // The interpolation counts from the frame at which the monitors take their references, as they do.
        let interpolated = &expected[if align { "aligned_interpolated" } else { "held_interpolated" }];
        assert_eq!(at_camera.len() as u64, interpolated["frames"].as_u64().unwrap(), "{what}");
        // By the triangle inequality: neither the largest nor the rms can differ by more than that of what is
        // between the two series.
        let off = &expected[if align { "aligned_off" } else { "held_off" }];
        let slack = ROUNDING_MM + WRITTEN_MM;
        let (rms, rms_off) = (root_mean_square(&at_camera), number(&off["rms_mm"]));
        assert_near(rms, number(&interpolated["rms_mm"]), rms_off + slack, &what);
        let (most, most_off) = (largest(&at_camera), number(&off["largest_mm"]));
        assert_near(most, number(&interpolated["largest_mm"]), most_off + slack, &what);
        // The bound has to be small beside what it bounds, or it would bound nothing.
        assert!(rms_off < 0.25 * number(&interpolated["rms_mm"]), "{what}: {rms_off}");
    }
}

#[test]
fn the_interpolated_differences_have_the_size_that_another_program_found() {
    let Some((_, expected)) = prepared() else { return };
    // rms and largest in mm, found with numpy.interp and floating point on the untrimmed files, rounded to 0.01 mm.
    let found = [("x", 17.38, 40.49), ("y", 6.61, 24.78), ("z", 7.61, 20.61)];
    for (axis, rms, most) in found {
        let interpolated = &expected[axis]["interpolated"];
        assert_near(number(&interpolated["rms_mm"]), rms, 0.005, axis);
        assert_near(number(&interpolated["largest_mm"]), most, 0.005, axis);
    }
}

#[test]
fn the_guide_says_what_moving_readings_on_does_and_when_the_difference_exceeds_the_tolerance() {
    let Some((_, expected)) = prepared() else { return };
    // Nearer to the interpolated difference: typically along all axes, at worst along x and z but not along y.
    let nearer = |figure: &str| {
        AXES.map(|axis| {
            number(&expected[axis]["aligned_off"][figure]) < number(&expected[axis]["held_off"][figure])
        })
    };
    assert_eq!(nearer("rms_mm"), [true, true, true]);
    assert_eq!(nearer("largest_mm"), [true, false, true]);
    let guide = std::fs::read_to_string(fetched::folder().join("README.md")).expect("the guide");
    for series in ["aligned", "aligned_interpolated"] {
        let at = expected["x"][series]["first_above_tolerance_s"].as_str().expect("an instant");
        assert!(guide.contains(&format!("{} s", at.trim_end_matches('0'))), "{series}: {at}");
    }
}

#[test]
fn a_timeout_shorter_than_the_recorded_gap_of_motion_capture_is_one_stale_fault_in_that_gap() {
    let Some((folder, expected)) = prepared() else { return };
    let gap = &expected["x"]["mocap_gap"];
    let (from, to) = (gap["from_s"].as_str().unwrap(), gap["to_s"].as_str().unwrap());
    let sparse_then = "sparse      = true\nmax_speed   = \"5 m/s\"\ntimeout     = \"150 ms\"\n\n[channel.b]";
    let shorter = "sparse      = true\nmax_speed   = \"5 m/s\"\ntimeout     = \"105 ms\"\n\n[channel.b]";
    let setup = setup_with("camera-x.toml", &[(sparse_then, shorter)]);
    let report = report(&setup, &folder.join("camera-x.csv"));
    let [fault] = &report.faults[..] else { panic!("{:?}", report.faults) };
    assert_eq!((fault.kind.as_str(), fault.channel.as_deref()), ("stale", Some("a")));
    let at = fault.at_s.to_string();
    // Same number of digits, so the order of the texts is that of the times.
    assert!(from < at.as_str() && at.as_str() <= to, "{at}");
    assert_eq!(fault.until_s.to_string(), to);
}

#[test]
fn every_row_is_one_reading_of_one_source_and_is_counted() {
    let Some((folder, _)) = prepared() else { return };
    for axis in AXES {
        let trace = folder.join(format!("camera-{axis}.csv"));
        let report = report(&setup_of(axis, true), &trace);
        let text = std::fs::read_to_string(&trace).expect("the trace");
        let rows = text.lines().skip(1);
        let of_camera = rows.clone().filter(|row| row.contains(",,")).count() as u64;
        assert_eq!(report.trace.frames, rows.count() as u64);
        assert_eq!(report.channels[1].readings, of_camera);
        assert_eq!(report.channels[0].readings, report.trace.frames - of_camera);
        // Epoch stamps of four and of six digits come back with every digit.
        assert_eq!(report.trace.first_s.unwrap().to_string(), "1305031102.155800000");
        assert_eq!(report.trace.last_s.unwrap().to_string(), "1305031128.725500000");
    }
}
