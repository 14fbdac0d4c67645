//! What is not an image as it was sealed is refused, with the cause and what to do.

use host_harness::seal::{Review, seal};
use monitor_core::{AxisConfig, Scale, SourceConfig, Span, Speed, WarmUp};

use super::{full, sealed, with_its_checksum};

fn refusal(bytes: &[u8]) -> String {
    match Review::of(bytes) {
        Ok(_) => "none".to_owned(),
        Err(error) => error.to_string(),
    }
}

#[test]
fn an_image_with_any_bit_flipped_is_refused_with_its_cause() {
    let bytes = sealed(&full());
    for bit in 0..bytes.len() * 8 {
        let mut altered = bytes.clone();
        altered[bit / 8] ^= 1 << (bit % 8);
        let cause = match bit / 8 {
            0..4 => "not a sealed setup",
            4..6 => "of the format; this program reads version 2",
            12..16 => "bytes long, but sealed with",
            _ => "altered: sealed with checksum",
        };
        let refusal = refusal(&altered);
        assert!(refusal.contains(cause), "bit {bit}: {refusal}");
        assert!(refusal.contains("; "), "what to do: {refusal}");
    }
}

#[test]
fn an_image_cut_at_any_byte_is_refused_as_cut() {
    let bytes = sealed(&full());
    for length in 0..bytes.len() {
        let refusal = refusal(&bytes[..length]);
        let is_told =
            refusal.contains("cut:") || refusal.contains(&format!("{length} bytes long, but sealed with"));
        // Less than its first four bytes could be anything.
        assert!(is_told || (length < 4 && refusal.contains("not a sealed setup")), "{length}: {refusal}");
    }
}

#[test]
fn an_image_of_another_version_is_refused_by_its_number_and_with_a_way_out_for_either_cause() {
    let mut bytes = sealed(&full());
    bytes[4] = 3;
    let refusal = refusal(&with_its_checksum(bytes));
    assert_eq!(
        refusal,
        "sealed in version 3 of the format; this program reads version 2; either it is damaged, then fetch it again from where \
         it was sealed; or another version of the program sealed it, then seal the setup again with this one, or inspect the image \
         with that one"
    );
}

#[test]
fn an_image_for_a_history_that_no_axis_has_is_refused_by_its_number() {
    let mut bytes = sealed(&full());
    bytes[6] = 130;
    let refusal = refusal(&with_its_checksum(bytes));
    assert!(
        refusal.contains("no axis has 130 stored readings per channel; an odd number, 3 to 1025"),
        "{refusal}"
    );
}

#[test]
fn a_setup_is_not_sealed_for_a_history_that_no_axis_has() {
    for points in [0, 1, 2, 128, 1027] {
        let error = seal(&full(), points, true).expect_err("refused").to_string();
        assert!(error.contains(&format!("no axis has {points} stored readings")), "{error}");
        assert!(error.ends_with("an odd number, 3 to 1025; choose another number of points"), "{error}");
    }
}

#[test]
fn a_setup_whose_times_do_not_fit_a_shorter_history_is_not_sealed_for_it() {
    let long =
        super::FULL.replace("window  = \"8 ms\"", "window  = \"1.5 s\"").replace("\"5 ms\"", "\"2 s\"");
    let setup = super::parsed(&long);
    assert!(seal(&setup, 129, true).is_ok());
    let error = seal(&setup, 3, true).expect_err("refused").to_string();
    assert!(error.contains("make 5000000000 ns; below 4294967296"), "{error}");
    assert!(error.contains("choose more points"), "{error}");
}

/// An image of an axis without rules, with these labels.
fn labelled(labels: &str) -> Vec<u8> {
    let timeout = Span::from_nanos(4_000_000);
    let speed = Speed::from_int(3000).expect("in range");
    let source = SourceConfig::try_new(64, Scale::ULP, speed, timeout).expect("a source");
    let config =
        AxisConfig::<33, 0, 0>::try_new(source, source, Span::from_nanos(8_000_000), WarmUp::Withhold);
    let mut bytes = vec![0; 4096];
    let length = config.expect("an axis").seal(7, labels.as_bytes(), &mut bytes).expect("room");
    bytes.truncate(length);
    bytes
}

#[test]
fn labels_of_unknown_form_are_refused_with_their_place() {
    for (labels, cause) in [
        (
            "cowitness-labels 2\n",
            "they begin with \"cowitness-labels 2\"; this program reads \"cowitness-labels 1\"",
        ),
        (
            "cowitness-labels 1\nunit \"mm\"\ntitle kiln\n",
            "line 3: \"title kiln\"; expected a path and a string in quotes",
        ),
        ("cowitness-labels 1\nunit\n", "line 2: \"unit\"; expected"),
        ("cowitness-labels 1\nunit \"mm\"\nunit \"mm\"\n", "line 3: unit for a second time"),
        ("cowitness-labels 1\nunit \"furlong\"\n", "unit \"furlong\"; an axis is in mm or deg"),
        (
            "cowitness-labels 1\nmonitor.0.limit \"1 mm/s\"\n",
            "monitor.0.limit belongs to no value of the axis",
        ),
    ] {
        let refusal = refusal(&labelled(labels));
        assert!(
            refusal.contains(cause) && refusal.contains("inspect it with the program that sealed it"),
            "{refusal}"
        );
    }
}

#[test]
fn an_image_that_the_core_sealed_without_labels_has_no_unit() {
    let review = Review::of(&labelled("")).expect("an image");
    assert_eq!((review.unit, review.title.as_deref()), (None, None));
    let window = review.values().find(|value| value.path == "channel.a.max_speed").expect("a speed");
    assert_eq!((window.held.as_str(), window.unit.as_deref()), ("3000", Some("unit/s")));
}
