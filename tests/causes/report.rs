//! What a decomposition says of itself: names, order and words.

use host_harness::causes::{
    Alternative, Cause, CauseKind, Collinear, Decomposition, Estimate, Inconclusive, Side, Term,
};
use serde_json::{Value, json};

fn about(value: f64, standard_error: f64) -> Estimate {
    Estimate { value, standard_error }
}

fn term(cause: Cause, share: f64) -> Term {
    Term { cause, share: about(share, 0.001), swing: share.abs() }
}

fn found(terms: Vec<Term>) -> Decomposition {
    Decomposition {
        unit: "mm",
        reference_ns: 0,
        trip_ns: 2_000_000_000,
        apart: 2.0,
        terms,
        rest: 0.0,
        noise: 0.001,
        samples: 1000,
        effective_samples: 100.0,
        coefficients: Vec::new(),
        lags: 1,
        trusted: None,
        collinear: Vec::new(),
        alternatives: Vec::new(),
        inconclusive: Vec::new(),
    }
}

fn all() -> Vec<(Cause, Value)> {
    let by = about(1.5, 0.01);
    let size = json!({ "value": 1.5, "standard_error": 0.01 });
    vec![
        (Cause::KnownAges { difference: 0.001 }, json!({ "kind": "known-ages", "difference": 0.001 })),
        (Cause::Reference, json!({ "kind": "reference" })),
        (Cause::Scale { ppm: by }, json!({ "kind": "scale", "ppm": size })),
        (
            Cause::TimeSkew { late: Side::B, by, since_ns: Some(5) },
            json!({ "kind": "time-skew", "late": "b", "by": size, "since_ns": 5 }),
        ),
        (
            Cause::Compliance { per_acceleration: by },
            json!({ "kind": "compliance", "per_acceleration": size }),
        ),
        (
            Cause::Backlash { lags: Side::A, width: by },
            json!({ "kind": "backlash", "lags": "a", "width": size }),
        ),
        (
            Cause::Eccentricity { side: None, amplitude: by, period: 360.0 },
            json!({ "kind": "eccentricity", "side": null, "amplitude": size, "period": 360.0 }),
        ),
        (Cause::Drift { rate: by }, json!({ "kind": "drift", "rate": size })),
        (
            Cause::Slip { by, rate: 3.0, from_ns: 7, until_ns: None },
            json!({ "kind": "slip", "by": size, "rate": 3.0, "from_ns": 7, "until_ns": null }),
        ),
        (
            Cause::Jump { side: Some(Side::A), by, at_ns: 7 },
            json!({ "kind": "jump", "side": "a", "by": size, "at_ns": 7 }),
        ),
        (
            Cause::Spike { side: Some(Side::B), by, at_ns: 7, until_ns: 8 },
            json!({ "kind": "spike", "side": "b", "by": size, "at_ns": 7, "until_ns": 8 }),
        ),
        (
            Cause::LostCounts { side: Side::B, part: by, since_ns: 7 },
            json!({ "kind": "lost-counts", "side": "b", "part": size, "since_ns": 7 }),
        ),
        (
            Cause::Frozen { side: Side::B, since_ns: 7, readings: 9, travel: 4.0 },
            json!({ "kind": "frozen", "side": "b", "since_ns": 7, "readings": 9, "travel": 4.0 }),
        ),
        (
            Cause::Reversed { side: Side::A, since_ns: 7, ratio: by },
            json!({ "kind": "reversed", "side": "a", "since_ns": 7, "ratio": size }),
        ),
    ]
}

#[test]
fn the_fields_of_the_causes_keep_their_names() {
    for (cause, expected) in all() {
        let value = serde_json::to_value(found(vec![term(cause, 1.9)])).expect("JSON");
        assert_eq!(value["terms"][0]["cause"], expected);
        assert_eq!(value["terms"][0]["share"], json!({ "value": 1.9, "standard_error": 0.001 }));
        assert_eq!(value["terms"][0]["swing"], 1.9);
    }
}

#[test]
fn alternatives_what_hangs_together_and_what_is_not_concluded_keep_their_names() {
    let mut found = found(Vec::new());
    found.alternatives.push(Alternative {
        chosen: CauseKind::TimeSkew,
        instead: CauseKind::LostCounts,
        worse_by: 1.5,
        tell_apart: "record a stop".to_owned(),
    });
    found
        .collinear
        .push(Collinear { condition_index: 45.0, terms: vec![CauseKind::Scale, CauseKind::Drift] });
    found.inconclusive = vec![
        Inconclusive::NoReadings { side: Side::B },
        Inconclusive::TooFewSamples { samples: 3 },
        Inconclusive::NoMotion,
        Inconclusive::ConstantSpeed,
        Inconclusive::OneDirection,
        Inconclusive::NewReferences { times: 1 },
        Inconclusive::NewReferences { times: 2 },
    ];
    let value = serde_json::to_value(&found).expect("JSON");
    let other = json!({ "chosen": "time-skew", "instead": "lost-counts", "worse_by": 1.5, "tell_apart": "record a stop" });
    assert_eq!(value["alternatives"], json!([other]));
    assert_eq!(value["collinear"], json!([{ "condition_index": 45.0, "terms": ["scale", "drift"] }]));
    let why: Vec<_> =
        value["inconclusive"].as_array().expect("a list").iter().map(|why| &why["why"]).collect();
    let names =
        ["no-readings", "too-few-samples", "no-motion", "constant-speed", "one-direction", "new-references"];
    assert_eq!(why[..6], names);
    let text = found.to_string();
    for words in [
        "lost counts instead of time skew would do nearly as well; record a stop",
        "hang together, so each for itself is uncertain: scale mismatch, drift (condition index 45)",
        "channel b had no reading",
        "3 samples are too few",
        "the axis hardly moved",
        "the speed hardly changed",
        "motion in one direction only",
        "taken anew once:",
        "taken anew 2 times:",
    ] {
        assert!(text.contains(words), "{words}: {text}");
    }
}

#[test]
fn what_may_as_well_be_nothing_is_no_main_cause() {
    let scale = Cause::Scale { ppm: about(155.0, 200.0) };
    assert!(!scale.is_certain());
    assert_eq!(found(vec![term(scale, 1.9)]).main(), None);
    let scale = Cause::Scale { ppm: about(-155.0, 70.0) };
    assert!(scale.is_certain());
    assert!(found(vec![term(scale, 1.9)]).main().is_some());
}

#[test]
fn parts_that_cancel_each_other_and_hang_together_are_no_main_cause() {
    let slip = Cause::Slip { by: about(136.0, 12.0), rate: 1600.0, from_ns: 0, until_ns: None };
    let lost = Cause::LostCounts { side: Side::A, part: about(0.5, 0.05), since_ns: 0 };
    let mut found = found(vec![term(slip, 36.8), term(lost, -34.8)]);
    assert!(found.main().is_some());
    found
        .collinear
        .push(Collinear { condition_index: 471.0, terms: vec![CauseKind::Slip, CauseKind::LostCounts] });
    assert_eq!(found.main(), None);
}

#[test]
fn the_words_show_two_digits_of_the_margin_and_which_channel_ran_ahead() {
    let found = found(Vec::new());
    let words = found.words();
    let text = |cause: Cause| cause.text(&words);
    let scale = text(Cause::Scale { ppm: about(-1198.9702, 1.28) });
    assert_eq!(
        scale,
        "scale mismatch: channel b counts more than the other by 1199.0 ppm, +-2.5 ppm of the travel of channel a"
    );
    let slip = |by| Cause::Slip { by: about(by, 0.01), rate: by, from_ns: 1_000_000_000, until_ns: None };
    assert!(
        text(slip(6.0)).starts_with("slip: channel a gained 6.000 mm, +-0.020 mm on b"),
        "{}",
        text(slip(6.0))
    );
    assert!(
        text(slip(-6.0)).starts_with("slip: channel b gained 6.000 mm, +-0.020 mm on a"),
        "{}",
        text(slip(-6.0))
    );
    let drift = text(Cause::Drift { rate: about(-0.75, 0.01) });
    assert_eq!(drift, "drift: channel b gains on a by 0.750 mm/s, +-0.020 mm/s");
}
