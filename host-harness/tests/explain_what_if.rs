//! Settings that would have let something pass: each holds in a replay of the whole trace with the changed setup file, and a step less does
//! not.

mod program;

use std::path::{Path, PathBuf};

use host_harness::explain::{Asked, Change, Explanation, explain};
use host_harness::replay::{Outcome, layout, replay};
use host_harness::setup::Setup;
use host_harness::trace::{Options, Reader};
use host_harness::vary::Base;

fn demos() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().expect("the root").join("traces-demo")
}

fn reader(setup: &Setup, trace: &str) -> Reader {
    let layout = layout(setup).expect("a layout");
    Reader::open(&demos().join(trace), &layout, Options::default()).expect("a trace")
}

fn explained(base: &Base, trace: &str, asked: Asked) -> Explanation {
    explain(base, &mut reader(base.setup(), trace), trace, asked, &mut |_| {}, None).expect("an explanation")
}

fn replayed(setup: &Setup, trace: &str) -> Outcome {
    replay(setup, &mut reader(setup, trace), &mut |_| {}).expect("an outcome")
}

/// The value one step stricter: a microsecond or a thousandth of the unit, up or down; of two words the one in force.
fn a_step_stricter(change: &Change, to: &str) -> String {
    let Some((number, unit)) = to.split_once(' ') else { return change.from.clone() };
    let thousandths: i64 = {
        let (whole, part) = number.split_once('.').unwrap_or((number, ""));
        format!("{whole}{part:0<3}").parse().expect("thousandths")
    };
    let is_down = change.is_lower;
    let stricter = if is_down { thousandths + 1 } else { thousandths - 1 };
    format!("{}.{:03} {unit}", stricter / 1000, stricter % 1000)
}

/// When the event that was explained happens first, before the first reset that is accepted, or whatever is reset: seconds with their
/// nanoseconds.
fn happens(
    explanation: &Explanation,
    outcome: &Outcome,
    setup: &Setup,
    through_resets: bool,
) -> Option<String> {
    let until = outcome.resets.kept.iter().find(|reset| reset.result == monitor_core::Reset::Accepted);
    let in_time = |at| through_resets || until.is_none_or(|reset| at <= reset.at);
    let explained = &explanation.explained;
    let at = |instant| host_harness::report::Seconds(outcome.time_ns(instant)).to_string();
    match explained.what.as_str() {
        "trip" => {
            let report = host_harness::report::Report::new(setup, outcome, "", 0);
            let trips = outcome.trips.kept.iter().zip(&report.trips);
            let mut same =
                trips.filter(|(trip, told)| told.monitor == explained.name && in_time(trip.tripped_at));
            same.next().map(|(trip, _)| at(trip.tripped_at))
        }
        _ => outcome.faults.kept.iter().find(|fault| in_time(fault.from)).map(|fault| at(fault.from)),
    }
}

/// A demo whose setup has something else written in it; the fault or trip that is explained, and how many settings would have prevented it.
struct Case<'a> {
    demo: &'a str,
    setup: &'static str,
    instead: &'a [(&'a str, &'a str)],
    asked: Asked,
    least: usize,
}

const SHUTTLE: &str = "shuttle.toml";
const EVERY: &str = "every-function.setup.toml";
const CLAMP: &str = "stack-clamp.setup.toml";
const ASYNCHRONOUS: &str = "asynchronous-readings.setup.toml";

/// A torque sensor that reads 10.5 Nm is broken then.
const NARROW: &[(&str, &str)] = &[
    ("high             = \"25 Nm\"", "high             = \"9 Nm\""),
    ("high     = \"14 Nm\"", "high     = \"8.9 Nm\""),
];

const fn case<'a>(demo: &'a str, setup: &'static str, least: usize) -> Case<'a> {
    Case { demo, setup, instead: &[], asked: Asked::First, least }
}

/// Explains a case, and checks every setting that it tells of; returns those with their values.
fn check(case: &Case<'_>) -> Vec<(String, String)> {
    let Case { demo: name, setup, instead, asked, least } = case;
    let mut text = std::fs::read_to_string(demos().join(setup)).expect("a setup");
    for (written, other) in *instead {
        assert!(text.contains(written), "{name}: {written}");
        text = text.replacen(written, other, 1);
    }
    let base = Base::parse(&text, setup).expect("a setup");
    let trace = format!("{name}.csv.gz");
    let explanation = explained(&base, &trace, *asked);
    let found = explanation.what_if.iter().filter(|costed| costed.change.to.is_some());
    assert!(found.clone().count() >= *least, "{name}: {:#?}", explanation.what_if);
    found
        .map(|costed| {
            let change = &costed.change;
            check_change(name, &base, &explanation, change);
            (change.setting.clone(), change.to.clone().expect("a value"))
        })
        .collect()
}

/// What is said to have taken the permit at an instant did so in a replay.
fn check_lost(setup: &Setup, outcome: &Outcome, at: &str, by: &str) {
    let shown = |instant| host_harness::report::Seconds(outcome.time_ns(instant)).to_string();
    let report = host_harness::report::Report::new(setup, outcome, "", 0);
    let is_it = if let Some(stop) = by.strip_prefix("as planned: the stop ") {
        let stops = report.stops.iter().filter(|stop| stop.completed_s.to_string() == at);
        stops.into_iter().any(|found| stop.starts_with(&format!("\"{}\"", found.monitor)))
    } else if by.starts_with("because the channels are apart") {
        report.trips.iter().any(|trip| trip.channel == "both" && trip.tripped_s.to_string() == at)
    } else if by.starts_with("by the fault of ") {
        outcome.faults.kept.iter().any(|fault| shown(fault.from) == at)
    } else {
        let trips = report.trips.iter().filter(|trip| trip.tripped_s.to_string() == at);
        trips.into_iter().any(|trip| by.contains(&format!("\"{}\"", trip.monitor)))
    };
    assert!(is_it, "{at}: {by}: {:#?} {:#?}", report.trips, report.stops);
}

/// With this value it does not happen, or when it is told to; with one a step stricter it does.
fn check_change(name: &str, base: &Base, explanation: &Explanation, change: &Change) {
    let trace = format!("{name}.csv.gz");
    let variation =
        |setting: &str, value: &str| base.variation(&format!("{setting}={value}")).expect("a value");
    let with = |value: &str| {
        let this = variation(&change.setting, value);
        match &change.with {
            None => base.with(&[(&this, 0)]),
            Some(other) => base.with(&[(&this, 0), (&variation(&other.setting, &other.to), 0)]),
        }
    };
    // What the lines of an input lead to may come after a reset, which resets nothing then.
    let through = change.setting.starts_with("input.") && explanation.explained.faults > 0;
    let then = |value: &str| {
        let changed = with(value).unwrap_or_else(|error| panic!("{}", error.render(false)));
        happens(explanation, &replayed(&changed, &trace), &changed, through)
    };
    let value = change.to.as_deref().expect("a value");
    // Another violation may come later; it is told of.
    let later = change.trips_later_s.map(|at| at.to_string());
    match &change.this_alone {
        None => assert_eq!(then(value), later, "{name}: {} = {value}", change.setting),
        Some(first) => {
            assert_eq!(then(value), None, "{name}: {} = {value}", change.setting);
            assert_eq!(then(first), later, "{name}: {} = {first}", change.setting);
        }
    }
    if let (Some(at), Some(by)) = (change.lost_all_the_same_s, &change.lost_by) {
        let changed = with(value).expect("a setup");
        check_lost(&changed, &replayed(&changed, &trace), &at.to_string(), by);
    }
    // Neither does with less of the other one, where there are two.
    if let Some(other) = &change.with {
        let (this, less) = (variation(&change.setting, value), a_step_stricter(change, &other.to));
        let changed = base.with(&[(&this, 0), (&variation(&other.setting, &less), 0)]).expect("a setup");
        let then = happens(explanation, &replayed(&changed, &trace), &changed, through);
        assert!(then.is_some(), "{name}: {} = {less}", other.setting);
    }
    for value in [Some(value), change.this_alone.as_deref()].into_iter().flatten() {
        let less = a_step_stricter(change, value);
        // A setup file may refuse the values in between.
        let Ok(changed) = with(&less) else { continue };
        let then = happens(explanation, &replayed(&changed, &trace), &changed, through);
        let is_last = value == change.this_alone.as_deref().unwrap_or(value);
        assert!(
            then.is_some() && (then != later || !is_last),
            "{name}: {} = {less}: {then:?}",
            change.setting
        );
    }
}

#[test]
fn a_setting_that_would_have_let_it_pass_does_so_in_a_replay_and_a_step_less_does_not() {
    let cases = [
        case("overspeed-door-open", SHUTTLE, 4),
        case("soft-braking", SHUTTLE, 6),
        case("creep-at-loading", SHUTTLE, 2),
        case("belt-slip", SHUTTLE, 2),
        case("motor-encoder-sticks", SHUTTLE, 2),
        case("asynchronous-readings", ASYNCHRONOUS, 1),
        case("every-function-burner", EVERY, 3),
        case("every-function-shock", EVERY, 3),
        case("every-function-wrong-way", EVERY, 3),
        case("every-function-setting-up-overrun", EVERY, 3),
        case("stack-clamp-hand", CLAMP, 3),
        case("stack-clamp-lines-apart", CLAMP, 2),
        case("stack-clamp-pause", CLAMP, 5),
    ];
    for case in cases {
        check(&case);
    }
}

#[test]
fn a_value_that_a_setup_file_refuses_is_not_taken_for_one_that_trips() {
    // From -20 mm/s to 0 the file refuses it: such a range would hold a standstill at its edge.
    let found = check(&case("every-function-burner", EVERY, 3));
    let low = ("monitor.\"keep moving under the burner\".low".to_owned(), "0 mm/s".to_owned());
    assert!(found.contains(&low), "{found:?}");
}

#[test]
fn of_two_settings_that_limit_the_same_both_are_changed_where_neither_does_alone() {
    // The axis moves when it is to stand: it is beyond the speed window at once, and then beyond that of the position.
    let early = synthetic(
        "stands-too-early",
        "creep-at-loading.toml",
        &[("at = \"3 s\", level = 1", "at = \"1.2 s\", level = 1")],
    );
    for (case, setting, other) in [
        (case("every-function-setting-up-overrun", EVERY, 1), "on_delay", "allowed_overrun"),
        (case(&early, SHUTTLE, 1), "speed_window", "position_window"),
    ] {
        let base = Base::load(&demos().join(case.setup)).expect("a setup");
        let explanation = explained(&base, &format!("{}.csv.gz", case.demo), Asked::First);
        let changes = explanation.what_if.iter().map(|costed| &costed.change);
        let pairs: Vec<_> = changes.filter_map(|change| Some((change, change.with.as_ref()?))).collect();
        let [(change, with)] = pairs.as_slice() else { panic!("{:#?}", explanation.what_if) };
        let names = [&change.setting, &with.setting];
        assert!(names.iter().any(|name| name.ends_with(setting)), "{names:?}");
        assert!(names.iter().any(|name| name.ends_with(other)), "{names:?}");
        check(&case);
    }
}

/// Writes the trace of a scenario of the demos in which something else is written; its name without the endings.
fn synthetic(name: &str, scenario: &str, instead: &[(&str, &str)]) -> String {
    let mut text = std::fs::read_to_string(demos().join(scenario)).expect("a scenario");
    for (written, other) in instead {
        assert!(text.contains(written), "{scenario}: {written}");
        text = text.replacen(written, other, 1);
    }
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR"));
    let (scenario, trace) = (folder.join(format!("{name}.toml")), folder.join(format!("{name}.csv.gz")));
    std::fs::write(&scenario, text).expect("a scenario");
    let [scenario, trace] = [&scenario, &trace].map(|path| path.to_str().expect("a path"));
    let made = program::cowitness(&["synth", scenario, "--out", trace, "--quiet"]);
    assert!(made.status.success(), "{}", program::err(&made));
    trace.trim_end_matches(".csv.gz").to_owned()
}

#[test]
fn a_word_that_would_have_let_it_pass_does_so_in_a_replay() {
    // For 200 ms one contact of the door tells that it is open, and the other stays.
    let events = "events  = [{ at = \"2 s\", level = 0 }, { at = \"6 s\", level = 1 }]";
    let once = events.replace("6 s", "2.2 s");
    let both = format!("{events}\nstuck_from = \"1 s\"");
    let one_sided =
        synthetic("one-sided", "door-contact-sticks.toml", &[(&both, "events  = []"), (events, &once)]);
    let one_sided = Case { demo: &one_sided, asked: Asked::Fault(1), ..case("", SHUTTLE, 1) };
    assert!(check(&one_sided).contains(&("input.door.one_sided".to_owned(), "ignore".to_owned())));
}

#[test]
fn so_do_settings_that_a_demand_the_end_of_a_stop_or_a_fault_hangs_on() {
    // The door is read as two lines of one contact; what is a fault there counts as a demand.
    let sticks = Case { asked: Asked::Fault(1), ..case("door-contact-sticks", SHUTTLE, 2) };
    let implausible = Case { instead: NARROW, ..case("stack-clamp-lines-apart", CLAMP, 1) };
    let cases: [(Case<'_>, &[&str]); 8] = [
        (case("door-contact-sticks", SHUTTLE, 5), &["input.door.discrepancy_time", "input.door.filter"]),
        // A contact that never moved is a fault once the time is over, whatever the lines are then: the trace ends before it is.
        (sticks, &["input.door.discrepancy_time", "input.door.filter=3999.001 ms"]),
        (
            case("weak-emergency-stop", SHUTTLE, 6),
            &["monitor.\"emergency stop\".within", "input.emergency_stop.filter"],
        ),
        (
            case("every-function-emergency-stop", EVERY, 7),
            &["monitor.\"emergency stop\".ramp.jerk", "monitor.\"emergency stop\".standstill_speed"],
        ),
        (case("every-function-halt", EVERY, 4), &["monitor.\"halt at the gate\".within"]),
        (case("every-function-mouth", EVERY, 3), &["monitor.\"kiln mouth\".low"]),
        (implausible, &["analogue.torque.high"]),
        (case("every-function-door-opens", EVERY, 6), &["input.door.filter"]),
    ];
    for (case, settings) in cases {
        let found = check(&case);
        for setting in settings {
            let (setting, value) =
                setting.split_once('=').map_or((*setting, None), |(key, to)| (key, Some(to)));
            let is_it =
                |(found, to): &(String, String)| found == setting && value.is_none_or(|value| to == value);
            assert!(found.iter().any(is_it), "{}: {setting}: {found:?}", case.demo);
        }
    }
}
