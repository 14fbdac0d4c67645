//! A bad scenario is refused with its line, its column and what to do.

use super::support::{FINE, STEADY, scenario_text};
use host_harness::synth::{Scenario, ScenarioError};

fn refusal(text: &str) -> ScenarioError {
    match Scenario::from_toml(text, "bad.toml") {
        Ok(_) => panic!("accepted:\n{text}"),
        Err(error) => error,
    }
}

/// The refused text starts where the error points.
fn pointed_at<'t>(text: &'t str, error: &ScenarioError) -> &'t str {
    let line = text.lines().nth(error.line - 1).expect("the line of the error");
    let start = line.char_indices().nth(error.column - 1).map_or(line.len(), |(at, _)| at);
    &line[start..]
}

/// A good scenario with `old` replaced by `new`; the error must point at `place` and contain `message`.
fn check(old: &str, new: &str, place: &str, message: &str) {
    let a = "unit_per_count = \"0.001 mm\"\ncounter_bits = 24\nlatency = \"1 ms\"\njitter = \"0.1 ms\"\n\
             capture_column = \"a_at\"\nvalid_column = \"a_ok\"\nperiod = \"2 ms\"\nphase = \"1 ms\"\n\
             scale_error = \"5 ppm\"\nbacklash = \"1 um\"\n\
             eccentricity = { amplitude = \"1 um\", period = \"1 mm\" }\n\
             compliance = { by = \"1 um\", per = \"1 m/s^2\" }\n";
    let rest = "[[input]]\ncolumn = \"door\"\ninitial = 0\nevents = [{ at = \"0.5 s\", level = 1 }]\n\
                bounce = { for = \"4 ms\", every = \"1 ms\" }\n\
                [[disturbance]]\nkind = \"creep\"\nat = \"0.6 s\"\nby = \"1 mm\"\nover = \"0.1 s\"\n\
                [[fault]]\nkind = \"jump\"\nsource = \"a\"\nat = \"0.7 s\"\nuntil = \"0.8 s\"\nby = \"2 mm\"\n\
                [output]\nstart_time = \"1 s\"\ntime_decimals = 3\ndelimiter = \",\"\n";
    let good = scenario_text(STEADY, "1 s", a, rest);
    assert!(Scenario::from_toml(&good, "good.toml").is_ok(), "the good scenario");
    assert!(good.contains(old), "`{old}` is not in the good scenario");
    let bad = good.replacen(old, new, 1);
    let error = refusal(&bad);
    assert!(pointed_at(&bad, &error).starts_with(place), "{new}: {error}");
    assert!(error.message.contains(message), "{new}: {error}");
    assert!(!error.advice.is_empty());
    assert_eq!(error.file, "bad.toml");
}

#[test]
fn keys_are_checked() {
    check("latency =", "latancy =", "latancy", "unknown field");
    check("seed = 3\n", "", "", "missing field `seed`");
    check("seed = 3", "seed = -3", "-3", "the seed is -3");
    check("seed = 3", "seed = ", "", "");
    let error = refusal(&scenario_text(STEADY, "1 s", &FINE.replace("decimals", "decimal"), ""));
    assert_eq!(error.advice, "did you mean `decimals`?");
}

#[test]
fn values_are_checked() {
    check("unit = \"mm\"", "unit = \"inch\"", "\"inch\"", "no axis unit");
    check("\"1 kHz\"", "\"1 kg\"", "\"1 kg\"", "no rate");
    check("\"1 kHz\"", "\"2 MHz\"", "\"2 MHz\"", "no usable rate");
    check("duration = \"1 s\"", "duration = \"0 s\"", "\"0 s\"", "too short");
    check("duration = \"1 s\"", "duration = \"1 mm\"", "\"1 mm\"", "no time");
    check("\"100 mm/s\"", "\"100 mm\"", "\"100 mm\"", "no speed");
    check("\"2 m/s^2\"", "\"2 rev/s^2\"", "\"2 rev/s^2\"", "no acceleration");
    check("\"2 m/s^2\"", "\"-2 m/s^2\"", "\"-2 m/s^2\"", "not above zero");
    check("\"100 m/s^3\"", "\"1e9 m/s^3\"", "\"100 mm/s\"", "less than 10 us");
    check("title = \"test\"", "title = \"a\\nb\"", "\"a\\nb\"", "line break");
}

#[test]
fn row_distance_is_given_once() {
    check("rate = \"1 kHz\"", "rate = \"1 kHz\"\nperiod = \"1 ms\"", "\"1 ms\"", "say the same");
    check("rate = \"1 kHz\"\n", "", "\"1 s\"", "distance of the rows");
    check("rate = \"1 kHz\"", "period = \"0.1 us\"", "\"0.1 us\"", "below 1 us");
}

#[test]
fn moves_are_checked() {
    check("speed = \"100 mm/s\"\n", "", "[[move]]", "no target");
    check("at = \"0.1 s\"", "at = \"1 s\"", "\"1 s\"", "after the end");
    check("at = \"0.1 s\"", "at = \"0.1 s\"\nwait = \"0.1 s\"", "\"0.1 s\"", "exclude each other");
    check("speed = \"100 mm/s\"\n", "to = \"100 mm\"\n", "[[move]]", "`speed` is missing");
    check("acceleration = \"2 m/s^2\"\n", "", "[[move]]", "`acceleration` is missing");
    let second = "speed = \"100 mm/s\"\n[[move]]\nat = \"0.05 s\"\nspeed = \"1 mm/s\"\n";
    check("speed = \"100 mm/s\"\n", second, "\"0.05 s\"", "after the one before");
}

#[test]
fn encoders_are_checked() {
    check("unit_per_count = \"0.001 mm\"\n", "", "\"a\"", "no resolution");
    check("counter_bits = 24\n", "", "\"a\"", "`counter_bits` is missing");
    check("counter_bits = 24", "counter_bits = 65", "65", "counter_bits is 65");
    check("counter_bits = 24", "counter_bits = 24\nstart_count = 16777216", "16777216", "does not fit");
    check("counter_bits = 24", "counter_bits = 24\nstart_count = -1", "-1", "does not fit");
    check("counter_bits = 24", "counter_bits = 24\ndecimals = 3", "3", "means nothing");
    check("counter_bits = 24", "counter_bits = 24\ncolumn_unit = \"mm\"", "\"0.001 mm\"", "exclude");
    check("\"0.001 mm\"", "\"0 mm\"", "\"0 mm\"", "not above zero");
    check("decimals = 6\n", "", "\"mm\"", "`decimals` is missing");
    check("decimals = 6", "decimals = 13", "13", "decimals is 13");
    check("column_unit = \"mm\"", "column_unit = \"deg\"", "\"deg\"", "no unit");
    check("latency = \"1 ms\"", "latency = \"-1 ms\"", "\"-1 ms\"", "negative");
    check("jitter = \"0.1 ms\"", "jitter = \"1 ms\"", "\"1 ms\"", "half the time between readings");
    check("latency = \"1 ms\"", "latency = \"0.05 ms\"", "\"0.1 ms\"", "exceeds the latency");
    check("period = \"2 ms\"\nphase", "phase", "\"1 ms\"", "means nothing");
    check("phase = \"1 ms\"", "phase = \"2 ms\"", "\"2 ms\"", "not below the period");
    check("period = \"2 ms\"", "period = \"100 ns\"", "\"100 ns\"", "below 1 us");
    check("\"5 ppm\"", "\"100 %\"", "\"100 %\"", "100 % or more");
    check("\"5 ppm\"", "\"5\"", "\"5\"", "no ratio");
    check("backlash = \"1 um\"", "backlash = \"-1 um\"", "\"-1 um\"", "negative");
    check("period = \"1 mm\"", "period = \"0 mm\"", "\"0 mm\"", "not above zero");
    check("per = \"1 m/s^2\"", "per = \"1 mm\"", "\"1 mm\"", "no acceleration");
    check("column = \"b\"", "column = \"a\"", "\"a\"", "two columns");
    check("column = \"b\"", "column = \"b,c\"", "\"b,c\"", "no usable column name");
    check("column = \"b\"", "column = \"b\"\ncapture_unit = \"s\"", "\"s\"", "means nothing");
    check("start_time = \"1 s\"", "start_time = \"2 ms\"", "\"a_at\"", "before time zero");
}

#[test]
fn inputs_are_checked() {
    check("initial = 0", "initial = 2", "2", "the level is 2");
    check("level = 1", "level = 0", "0", "already");
    check("at = \"0.5 s\"", "at = \"5 s\"", "\"5 s\"", "after the end");
    check("level = 1 }]", "level = 1 }, { at = \"0.5 s\", level = 0 }]", "\"0.5 s\"", "not after");
    check("every = \"1 ms\"", "every = \"4 ms\"", "\"4 ms\"", "over before");
}

#[test]
fn faults_and_disturbances_are_checked() {
    check("kind = \"jump\"", "kind = \"leap\"", "\"leap\"", "no kind of fault");
    check("kind = \"jump\"", "kind = \"stuck\"", "\"2 mm\"", "`stuck` does not use it");
    check("kind = \"jump\"", "kind = \"drift\"", "\"2 mm\"", "`drift` does not use it");
    check("by = \"2 mm\"\n", "", "\"jump\"", "`by` is missing");
    check("by = \"2 mm\"", "by = \"0 mm\"", "\"0 mm\"", "changes nothing");
    check("source = \"a\"\n", "", "\"jump\"", "`source` is missing");
    check("source = \"a\"", "source = \"c\"", "\"c\"", "no source");
    check("until = \"0.8 s\"", "until = \"0.7 s\"", "\"0.7 s\"", "not after");
    check("at = \"0.7 s\"", "at = \"7 s\"", "\"7 s\"", "after the end");
    check("kind = \"creep\"", "kind = \"crawl\"", "\"crawl\"", "no kind of disturbance");
    check("over = \"0.1 s\"", "until = \"0.7 s\"", "\"0.7 s\"", "does not use it");
    check("over = \"0.1 s\"", "over = \"0 s\"", "\"0 s\"", "too short");

    let fault = |kind: &str, extra: &str| {
        format!("[[fault]]\nkind = \"{kind}\"\nsource = \"a\"\nat = \"0.5 s\"\n{extra}")
    };
    for (kind, extra, message) in [
        ("lost-counts", "rate = \"3 %\"", "no counts to lose"),
        ("invalid", "", "no `valid_column`"),
        ("gap", "until = \"0.6 s\"", "`gap` does not use it"),
        ("latency", "", "`to` is missing"),
        ("slip", "by = \"1 mm\"", "`over` is missing"),
    ] {
        let error = refusal(&scenario_text(STEADY, "1 s", FINE, &fault(kind, extra)));
        assert!(error.message.contains(message), "{kind}: {error}");
    }
    let first = fault("dropped", "").replace("0.5 s", "0 s");
    let error = refusal(&scenario_text(STEADY, "1 s", FINE, &first));
    assert!(error.message.contains("none before it"), "{error}");
    let gap = "[[fault]]\nkind = \"gap\"\nat = \"0.5 s\"\n";
    let error = refusal(&scenario_text(STEADY, "1 s", FINE, gap));
    assert!(error.message.contains("`until` is missing"), "{error}");
    let counter = "unit_per_count = \"1 um\"\ncounter_bits = 24\n";
    let error = refusal(&scenario_text(STEADY, "1 s", counter, &fault("lost-counts", "rate = \"101 %\"")));
    assert!(error.message.contains("not within"), "{error}");
}

#[test]
fn outputs_are_checked() {
    check("time_decimals = 3", "time_decimals = 2", "2", "faster than the last digit");
    check("time_decimals = 3", "time_decimals = 10", "10", "time_decimals is 10");
    check("delimiter = \",\"", "delimiter = \"|\"", "\"|\"", "no delimiter");
    check("delimiter = \",\"", "decimal_comma = true", "true", "needs another delimiter");
    check("delimiter = \",\"", "time_unit = \"h\"", "\"h\"", "no time unit");
    let columns = |list: &str| format!("columns = [{list}]");
    let listed = "\"time\", \"a\", \"a_at\", \"a_ok\", \"b\"";
    check("delimiter = \",\"", &columns(listed), "\"door\"", "not listed");
    let twice = format!("{listed}, \"b\"");
    check("delimiter = \",\"", &columns(&twice), "\"b\"]", "listed twice");
    let unknown = format!("{listed}, \"x\"");
    check("delimiter = \",\"", &columns(&unknown), "\"x\"", "no column");
}

#[test]
fn an_error_reads_as_one_line_with_place_and_advice() {
    let text = scenario_text(STEADY, "1 s", FINE, "").replace("1 kHz", "1 kg");
    assert_eq!(
        refusal(&text).to_string(),
        "bad.toml:4:8: `1 kg` is no rate; write a number and Hz, kHz or MHz"
    );
}
