//! Settings that would have let something pass: each holds in a replay of the whole trace with the changed setup file, and a step less does
//! not.

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

/// The value one step stricter: a microsecond or a thousandth of the unit, up or down.
fn a_step_stricter(change: &Change) -> String {
    let to = change.to.as_deref().expect("a value");
    let (number, unit) = to.split_once(' ').expect("a number and its unit");
    let thousandths: i64 = {
        let (whole, part) = number.split_once('.').unwrap_or((number, ""));
        format!("{whole}{part:0<3}").parse().expect("thousandths")
    };
    let is_down = change.allows.as_deref().is_some_and(|allows| allows.contains(" less"));
    let stricter = if is_down { thousandths + 1 } else { thousandths - 1 };
    format!("{}.{:03} {unit}", stricter / 1000, stricter % 1000)
}

/// When the event that was explained happens first, before the first reset that is accepted: seconds with their nanoseconds.
fn happens(explanation: &Explanation, outcome: &Outcome, setup: &Setup) -> Option<String> {
    let until = outcome.resets.kept.iter().find(|reset| reset.result == monitor_core::Reset::Accepted);
    let in_time = |at| until.is_none_or(|reset| at <= reset.at);
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

#[test]
fn a_setting_that_would_have_let_it_pass_does_so_in_a_replay_and_a_step_less_does_not() {
    let shuttle = "shuttle.toml";
    let every = "every-function.setup.toml";
    let cases = [
        ("overspeed-door-open", shuttle, 2),
        ("soft-braking", shuttle, 4),
        ("creep-at-loading", shuttle, 2),
        ("belt-slip", shuttle, 2),
        ("motor-encoder-sticks", shuttle, 2),
        ("weak-emergency-stop", shuttle, 3),
        ("asynchronous-readings", "asynchronous-readings.setup.toml", 1),
        ("every-function-burner", every, 2),
        ("every-function-shock", every, 2),
        ("every-function-wrong-way", every, 2),
        ("every-function-setting-up-overrun", every, 2),
        ("stack-clamp-hand", "stack-clamp.setup.toml", 2),
        ("stack-clamp-lines-apart", "stack-clamp.setup.toml", 1),
    ];
    for (name, setup, least) in cases {
        let base = Base::load(&demos().join(setup)).expect("a setup");
        let trace = format!("{name}.csv.gz");
        let explanation = explained(&base, &trace, Asked::First);
        let found = explanation.what_if.iter().filter(|costed| costed.change.to.is_some());
        assert!(found.clone().count() >= least, "{name}: {:#?}", explanation.what_if);
        for costed in found {
            let change = &costed.change;
            let with = |value: &str| {
                let variation = base.variation(&format!("{}={value}", change.setting)).expect("a value");
                base.with(&[(&variation, 0)])
            };
            let value = change.to.as_deref().expect("a value");
            let changed = with(value).unwrap_or_else(|error| panic!("{}", error.render(false)));
            let outcome = replayed(&changed, &trace);
            // Another violation may come later; it is told of.
            let later = change.trips_later_s.map(|at| at.to_string());
            assert_eq!(
                happens(&explanation, &outcome, &changed),
                later,
                "{name}: {} = {value}",
                change.setting
            );
            let less = a_step_stricter(change);
            // A setup file may refuse the values in between.
            let Ok(changed) = with(&less) else { continue };
            let outcome = replayed(&changed, &trace);
            let then = happens(&explanation, &outcome, &changed);
            assert!(then.is_some() && then != later, "{name}: {} = {less}: {then:?}", change.setting);
        }
    }
}
