//! A review says every value: as it is held, as it is stored, as it was asked for.

use std::collections::BTreeSet;

use host_harness::seal::{Fit, Review, Value, seal, sheet};
use host_harness::setup::{
    By, InputLines, LimitSetup, MonitorKind, RampSetup, ReferenceSetup, Setting, Setup, Source,
    StandstillSetup, Until,
};
use monitor_core::{Acceleration, Jerk, Position, Span, Speed, Value as Analogue};

use super::{FULL, full, parsed, sealed};

fn review(setup: &Setup) -> Review {
    Review::of(&sealed(setup)).unwrap_or_else(|error| panic!("{error}"))
}

fn value<'r>(review: &'r Review, path: &str) -> &'r Value {
    review.values().find(|value| value.path == path).unwrap_or_else(|| panic!("no value {path}"))
}

/// Adds one step.
trait Step {
    fn step(&mut self);
}

impl Step for Setting<Span> {
    fn step(&mut self) {
        self.value = Span::from_nanos(self.value.as_nanos() + 1);
    }
}

impl Step for Setting<i64> {
    fn step(&mut self) {
        self.value += 1;
    }
}

macro_rules! step {
    ($($type:ident)+) => {
        $(impl Step for Setting<$type> {
            fn step(&mut self) {
                self.value = $type::from_bits(self.value.to_bits() + 1);
            }
        })+
    };
}

step!(Position Speed Acceleration Jerk Analogue);

fn of_ramp(path: &str, ramp: &mut RampSetup, nth: &mut impl FnMut(String, &mut dyn Step)) {
    nth(format!("{path}.ramp.delay"), &mut ramp.delay);
    nth(format!("{path}.ramp.deceleration"), &mut ramp.deceleration);
    nth(format!("{path}.ramp.margin"), &mut ramp.margin);
    ramp.jerk.iter_mut().for_each(|jerk| nth(format!("{path}.ramp.jerk"), jerk));
}

fn of_windows(path: &str, windows: &mut StandstillSetup, nth: &mut impl FnMut(String, &mut dyn Step)) {
    nth(format!("{path}.position_window"), &mut windows.position_window);
    nth(format!("{path}.speed_window"), &mut windows.speed_window);
}

fn of_monitor(path: &str, kind: &mut MonitorKind, nth: &mut impl FnMut(String, &mut dyn Step)) {
    match kind {
        MonitorKind::TorqueOff => {}
        MonitorKind::Standstill(windows) => of_windows(path, windows, nth),
        MonitorKind::SpeedLimit { limit, ramp } => {
            match limit {
                LimitSetup::Both(limit) => nth(format!("{path}.limit"), limit),
                LimitSetup::Each { positive, negative } => {
                    nth(format!("{path}.positive"), positive);
                    nth(format!("{path}.negative"), negative);
                }
            }
            ramp.iter_mut().for_each(|ramp| of_ramp(path, ramp, nth));
        }
        MonitorKind::SpeedRange(range) => {
            nth(format!("{path}.low"), &mut range.low);
            nth(format!("{path}.high"), &mut range.high);
        }
        MonitorKind::Direction { tolerance, .. } => nth(format!("{path}.tolerance"), tolerance),
        MonitorKind::AccelerationLimit { limit } => nth(format!("{path}.limit"), limit),
        MonitorKind::AccelerationRange(range) => {
            nth(format!("{path}.low"), &mut range.low);
            nth(format!("{path}.high"), &mut range.high);
        }
        MonitorKind::TravelLimit { increment } => nth(format!("{path}.increment"), increment),
        MonitorKind::PositionRange(range) => {
            nth(format!("{path}.low"), &mut range.low);
            nth(format!("{path}.high"), &mut range.high);
        }
        MonitorKind::TorqueLimit { limit, .. } | MonitorKind::TemperatureLimit { limit, .. } => {
            nth(format!("{path}.limit"), limit);
        }
        MonitorKind::TorqueRange { range, .. } => {
            nth(format!("{path}.low"), &mut range.low);
            nth(format!("{path}.high"), &mut range.high);
        }
        MonitorKind::CamOutput { range, hysteresis } => {
            nth(format!("{path}.low"), &mut range.low);
            nth(format!("{path}.high"), &mut range.high);
            nth(format!("{path}.hysteresis"), hysteresis);
        }
        MonitorKind::SpeedOutput { threshold, hysteresis } => {
            nth(format!("{path}.threshold"), threshold);
            nth(format!("{path}.hysteresis"), hysteresis);
        }
        MonitorKind::BrakeOutput { delay } => nth(format!("{path}.delay"), delay),
        MonitorKind::Stop { until, by } => {
            if let Until::Standstill(windows) = until {
                of_windows(path, windows, nth);
            }
            match by {
                By::Ramp { ramp, standstill_speed, within } => {
                    of_ramp(path, ramp, nth);
                    nth(format!("{path}.standstill_speed"), standstill_speed);
                    within.iter_mut().for_each(|within| nth(format!("{path}.within"), within));
                }
                By::Deceleration { braking, standstill_speed, within } => {
                    nth(format!("{path}.braking.delay"), &mut braking.delay);
                    nth(format!("{path}.braking.deceleration"), &mut braking.deceleration);
                    nth(format!("{path}.braking.margin"), &mut braking.margin);
                    nth(format!("{path}.standstill_speed"), standstill_speed);
                    within.iter_mut().for_each(|within| nth(format!("{path}.within"), within));
                }
                By::Time { within } => nth(format!("{path}.within"), within),
            }
        }
    }
}

/// Every number of a setup that the axis has, with its path.
fn numbers(setup: &mut Setup, nth: &mut impl FnMut(String, &mut dyn Step)) {
    for (letter, channel) in [("a", &mut setup.a), ("b", &mut setup.b)] {
        if let Source::Counter { unit_per_count, .. } = &mut channel.source {
            nth(format!("channel.{letter}.unit_per_count"), unit_per_count);
        }
        nth(format!("channel.{letter}.max_speed"), &mut channel.max_speed);
        nth(format!("channel.{letter}.timeout"), &mut channel.timeout);
        if let ReferenceSetup::Absolute { offset } = &mut channel.reference {
            nth(format!("channel.{letter}.offset"), offset);
        }
        if let (ReferenceSetup::Event, Some(event)) = (&channel.reference, &mut setup.reference) {
            nth(format!("channel.{letter}.reference_position"), &mut event.position);
        }
    }
    nth("speed.window".to_owned(), &mut setup.speed.window);
    for (i, input) in setup.inputs.iter_mut().enumerate() {
        nth(format!("input.{i}.filter"), &mut input.filter);
        if let InputLines::Dual { dual, .. } = &mut input.lines {
            nth(format!("input.{i}.discrepancy_time"), &mut dual.discrepancy_time);
        }
    }
    if let Some(reset) = &mut setup.reset {
        nth("reset.filter".to_owned(), &mut reset.filter);
    }
    for (i, analogue) in setup.analogues.iter_mut().enumerate() {
        nth(format!("analogue.{i}.low"), &mut analogue.plausible.low);
        nth(format!("analogue.{i}.high"), &mut analogue.plausible.high);
        nth(format!("analogue.{i}.timeout"), &mut analogue.timeout);
        nth(format!("analogue.{i}.tolerance"), &mut analogue.tolerance);
        nth(format!("analogue.{i}.discrepancy_time"), &mut analogue.discrepancy_time);
    }
    for (i, monitor) in setup.monitors.iter_mut().enumerate() {
        if !monitor.kind.is_output() {
            nth(format!("monitor.{i}.on_delay"), &mut monitor.on_delay);
        }
        monitor
            .allowed_overrun
            .iter_mut()
            .for_each(|overrun| nth(format!("monitor.{i}.allowed_overrun"), overrun));
        of_monitor(&format!("monitor.{i}"), &mut monitor.kind, nth);
    }
    if let Some(rule) = &mut setup.discrepancy {
        nth("discrepancy.tolerance".to_owned(), &mut rule.tolerance);
        nth("discrepancy.skew_allowance".to_owned(), &mut rule.skew_allowance);
        nth("discrepancy.discrepancy_time".to_owned(), &mut rule.discrepancy_time);
    }
    if let Some(rule) = &mut setup.speed_discrepancy {
        nth("speed_discrepancy.tolerance".to_owned(), &mut rule.tolerance);
        nth("speed_discrepancy.discrepancy_time".to_owned(), &mut rule.discrepancy_time);
    }
}

/// What the sheet shows of a value.
fn shown(value: &Value) -> String {
    let unit = value.unit.as_deref().unwrap_or_default();
    format!("{:<20}{} {unit}\n", value.key, value.held)
}

#[test]
fn every_number_changed_by_one_step_is_seen_at_its_place_and_told_to_be_other_than_its_text() {
    let before = review(&full());
    let mut paths = Vec::new();
    numbers(&mut full(), &mut |path, _| paths.push(path));
    // All numbers that the sheet has a text of, and no other.
    let asked: BTreeSet<_> =
        before.values().filter(|value| value.asked.is_some()).map(|value| &value.path).collect();
    assert_eq!(paths.iter().collect::<BTreeSet<_>>(), asked);
    for wanted in &paths {
        let mut setup = full();
        numbers(&mut setup, &mut |path, number| {
            if path == *wanted {
                number.step();
            }
        });
        let after = review(&setup);
        let changed: Vec<_> = before.values().zip(after.values()).filter(|(a, b)| a.held != b.held).collect();
        let expected: &[&str] = match wanted.as_str() {
            // The history goes with it; its spacing is rounded down, and stays.
            "speed.window" => &["speed.window", "speed.effective_window"],
            path => &[path],
        };
        assert_eq!(changed.iter().map(|(a, _)| a.path.as_str()).collect::<Vec<_>>(), expected);
        let after_sheet = sheet(&after);
        for (_, value) in changed.iter().filter(|(_, value)| !value.derived) {
            assert!(after_sheet.contains(&shown(value)), "{}: {after_sheet}", shown(value));
            assert!(
                after_sheet.contains(&format!("{} {} = {}", value.raw.steps, value.raw.step, value.raw.hex))
            );
        }
        let misfits: Vec<_> = after.misfits().map(|value| value.path.clone()).collect();
        assert_eq!(misfits, *std::slice::from_ref(wanted));
        assert!(
            !after.is_consistent() && after_sheet.contains("Values that are not what they were asked to be")
        );
    }
}

#[test]
fn every_word_changed_is_seen_at_its_place() {
    let before = review(&full());
    for (from, to, path) in [
        ("counter_bits   = 32", "counter_bits   = 31", "channel.a.counter_bits"),
        ("warm_up = \"permit\"", "warm_up = \"withhold\"", "speed.warm_up"),
        ("align            = true", "align            = false", "discrepancy.align"),
        ("\"antivalent\"", "\"equivalent\"", "input.0.pairing"),
        ("demand           = \"low\"", "demand           = \"high\"", "input.0.demand"),
        ("one_sided        = \"ignore\"", "one_sided        = \"fault\"", "input.0.one_sided"),
        ("demand          = [\"door\", \"off\"]", "demand          = [\"door\"]", "monitor.1.demand"),
    ] {
        assert!(FULL.contains(from), "{from}");
        let after = review(&parsed(&FULL.replacen(from, to, 1)));
        let changed = before.values().zip(after.values()).filter(|(a, b)| a.held != b.held);
        assert_eq!(changed.map(|(a, _)| a.path.as_str()).collect::<Vec<_>>(), [path]);
        let (old, new) = (value(&before, path), value(&after, path));
        assert_ne!(old.raw, new.raw);
        assert!(sheet(&after).contains(&format!("[ ] {:<20}{}", new.key, new.held)), "{path}");
    }
}

/// A place of the machine, outputs, what they demand, and a stop as the reaction to a trip.
fn told() -> Setup {
    let text = FULL
        .replacen("[channel.b]", "reference = \"absolute\"\noffset = \"-1/3 mm\"\n[channel.b]", 1)
        .replacen(
            "[speed]",
            "reference = \"event\"\n[reference]\ninput = \"home\"\nposition = \"2/3 mm\"\n[speed]",
            1,
        )
        .replacen("on_delay = \"6 ms\"", "on_delay = \"6 ms\"\nreaction = \"to rest\"", 1);
    let more = r#"
[[monitor]]
name      = "within"
kind      = "position-range"
low       = "-1/3 mm"
high      = "1000/3 mm"
[[monitor]]
name       = "crossing"
kind       = "cam-output"
demand     = ["not door"]
low        = "100/3 mm"
high       = "200/3 mm"
hysteresis = "10/3 mm"
[[monitor]]
name       = "creeping"
kind       = "speed-output"
threshold  = "1000/3 mm/s"
hysteresis = "100/3 mm/s"
[[monitor]]
name   = "brake"
kind   = "brake-output"
delay  = "100/3 ms"
[[monitor]]
name   = "slow at the crossing"
kind   = "speed-limit"
demand = ["crossing", "not creeping"]
limit  = "250 mm/s"
[[monitor]]
name   = "to rest"
kind   = "stop"
until  = "torque-off"
by     = "time"
within = "1 s"
"#;
    parsed(&(text + more))
}

#[test]
fn every_number_of_a_place_and_an_output_changed_by_one_step_is_told_to_be_other_than_its_text() {
    let before = review(&told());
    assert!(before.is_consistent());
    let mut paths = Vec::new();
    numbers(&mut told(), &mut |path, _| paths.push(path));
    let asked: BTreeSet<_> =
        before.values().filter(|value| value.asked.is_some()).map(|value| &value.path).collect();
    assert_eq!(paths.iter().collect::<BTreeSet<_>>(), asked);
    for wanted in &paths {
        let mut setup = told();
        numbers(&mut setup, &mut |path, number| {
            if path == *wanted {
                number.step();
            }
        });
        let misfits: Vec<_> = review(&setup).misfits().map(|value| value.path.clone()).collect();
        assert_eq!(misfits, *std::slice::from_ref(wanted));
    }
}

/// A torque and a temperature, and the rules on them.
fn measured() -> Setup {
    let more = r#"
[analogue.torque]
columns          = ["torque_1", "torque_2"]
unit             = "Nm"
low              = "-400/3 Nm"
high             = "0.4/3 kNm"
timeout          = "5 ms"
tolerance        = "10/3 Nm"
discrepancy_time = "20 ms"
latency          = "0.5 ms"
[analogue.winding]
columns          = ["winding_1", "winding_2"]
unit             = "degC"
low              = "-100/3 degC"
high             = "600/3 degC"
timeout          = "5 s"
tolerance        = "25/3 degC"
discrepancy_time = "1 s"
sparse           = true
valid_columns    = ["winding_1_ok", "winding_2_ok"]
[[monitor]]
name  = "no harder"
kind  = "torque-limit"
of    = "torque"
limit = "250/3 Nm"
[[monitor]]
name  = "holds"
kind  = "torque-range"
of    = "torque"
low   = "-10/3 Nm"
high  = "100/3 Nm"
[[monitor]]
name  = "no hotter"
kind  = "temperature-limit"
of    = "winding"
limit = "400/3 degC"
"#;
    parsed(&(FULL.to_owned() + more))
}

#[test]
fn every_number_of_an_analogue_value_changed_by_one_step_is_told_to_be_other_than_its_text() {
    let before = review(&measured());
    assert!(before.is_consistent());
    let mut paths = Vec::new();
    numbers(&mut measured(), &mut |path, _| paths.push(path));
    assert!(paths.iter().any(|path| path == "analogue.1.tolerance"), "{paths:?}");
    let asked: BTreeSet<_> =
        before.values().filter(|value| value.asked.is_some()).map(|value| &value.path).collect();
    assert_eq!(paths.iter().collect::<BTreeSet<_>>(), asked);
    for wanted in &paths {
        let mut setup = measured();
        numbers(&mut setup, &mut |path, number| {
            if path == *wanted {
                number.step();
            }
        });
        let after = review(&setup);
        let misfits: Vec<_> = after.misfits().map(|value| value.path.clone()).collect();
        assert_eq!(misfits, *std::slice::from_ref(wanted));
        assert!(sheet(&after).contains(&shown(value(&after, wanted))), "{wanted}");
    }
}

#[test]
fn an_analogue_value_is_shown_in_its_own_unit_with_its_name_and_with_what_only_the_host_knows() {
    let full = review(&measured());
    let bare = Review::of(&seal(&measured(), 129, false).expect("sealable")).expect("readable");
    for review in [&full, &bare] {
        for (path, unit) in [
            ("analogue.0.low", "Nm"),
            ("analogue.0.tolerance", "Nm"),
            ("analogue.1.high", "degC"),
            ("monitor.5.limit", "Nm"),
            ("monitor.6.low", "Nm"),
            ("monitor.7.limit", "degC"),
        ] {
            assert_eq!(value(review, path).unit.as_deref(), Some(unit), "{path}");
        }
    }
    for (path, fit) in [
        ("analogue.0.low", Fit::StricterAbove),
        ("analogue.0.high", Fit::StricterBelow),
        ("analogue.1.high", Fit::Exact),
        ("analogue.1.tolerance", Fit::StricterBelow),
        ("monitor.5.limit", Fit::StricterBelow),
        ("monitor.6.low", Fit::StricterAbove),
    ] {
        assert_eq!(value(&full, path).asked.as_ref().map(|asked| asked.fit), Some(fit), "{path}");
    }
    assert_eq!(value(&full, "monitor.7.of").names.as_deref(), Some("\"winding\""));
    assert_eq!(value(&bare, "monitor.7.of").names, None);
    assert_eq!(value(&full, "analogue.0.low").key, "low");
    let host = |path: &str| full.host.iter().find(|item| item.path == path).map(|item| item.text.as_str());
    assert_eq!(host("analogue.0.second_column"), Some("torque_2"));
    assert_eq!(host("analogue.0.latency"), Some("0.5 ms (500000 ns)"));
    assert_eq!(host("analogue.0.second_valid_column"), Some("none: always valid"));
    assert_eq!(host("analogue.1.first_valid_column"), Some("winding_1_ok"));
    assert_eq!(host("analogue.1.second_valid_column"), Some("winding_2_ok"));
    assert_eq!(host("analogue.1.sparse"), Some("true"));
}

#[test]
fn the_sheet_says_of_which_unit_a_step_is_and_that_is_so() {
    let review = review(&measured());
    let words: Vec<_> = sheet(&review).split_whitespace().map(str::to_owned).collect();
    let said = "ULP is 2^-24 of the unit beside the value: that of the axis, per second, per second squared or cubed, or of an \
                analogue value its own (Nm, % or degC).";
    assert!(words.join(" ").contains(said), "{words:?}");
    let mut units = BTreeSet::new();
    for value in review.values().filter(|value| value.raw.step == "ULP") {
        let steps: f64 = value.raw.steps.parse().expect("a number");
        assert_eq!(value.held.parse(), Ok(steps / 16_777_216.0), "{}", value.path);
        units.insert(value.unit.clone().unwrap_or_default());
    }
    assert!(["Nm", "degC", "mm", "mm/s", "mm/s^2"].iter().all(|unit| units.contains(*unit)), "{units:?}");
}

#[test]
fn a_place_an_output_and_a_reaction_are_shown_with_their_side_and_with_what_they_point_to() {
    let review = review(&told());
    for (path, fit) in [
        ("channel.a.offset", Fit::Nearest),
        ("channel.b.reference_position", Fit::Nearest),
        ("monitor.5.low", Fit::StricterAbove),
        ("monitor.5.high", Fit::StricterBelow),
        ("monitor.6.low", Fit::StricterAbove),
        ("monitor.6.high", Fit::StricterBelow),
        ("monitor.6.hysteresis", Fit::StricterAbove),
        ("monitor.7.threshold", Fit::StricterBelow),
        ("monitor.7.hysteresis", Fit::StricterAbove),
        ("monitor.8.delay", Fit::StricterBelow),
    ] {
        assert_eq!(value(&review, path).asked.as_ref().map(|asked| asked.fit), Some(fit), "{path}");
    }
    for (path, held, names) in [
        ("channel.a.reference", "absolute", None),
        ("channel.b.reference", "event", None),
        ("channel.b.reference_input", "input 2", Some("\"home\"")),
        ("monitor.2.reaction", "first the stop, monitor 10", Some("\"to rest\"")),
        ("monitor.6.demand_not", "unless all of input 0", Some("\"door\"")),
        ("monitor.9.demand_output", "any of output, monitor 6", Some("\"crossing\"")),
        ("monitor.9.demand_not_output", "unless all of output, monitor 7", Some("\"creeping\"")),
        ("monitor.10.demand", "by reactions only", None),
    ] {
        let value = value(&review, path);
        assert_eq!((value.held.as_str(), value.names.as_deref()), (held, names), "{path}");
    }
}

/// Check values by hand: 250.1 · 2²⁴ = 4195981721.6, 2000.1 · 2²⁴ = 33556109721.6, and 10⁹ · 2²⁴ / 3000 = 5592405333333.33.
#[test]
fn a_value_that_is_no_whole_step_is_shown_with_its_rounding_and_the_side_it_went_to() {
    let review = review(&full());
    for (path, steps, fit, off_by) in [
        ("monitor.2.limit", "4195981721", Fit::StricterBelow, "0.6"),
        ("monitor.2.ramp.deceleration", "33556109722", Fit::StricterAbove, "0.4"),
        ("channel.a.unit_per_count", "-5592405333333", Fit::Nearest, "0.3333"),
        ("monitor.2.ramp.delay", "100000000", Fit::Exact, ""),
    ] {
        let value = value(&review, path);
        let asked = value.asked.as_ref().expect("a text");
        assert_eq!((value.raw.steps.as_str(), asked.fit), (steps, fit), "{path}");
        assert_eq!(asked.off_by.as_deref().unwrap_or_default(), off_by, "{path}");
    }
    let sheet = sheet(&review);
    assert!(sheet.contains("asked 250.1 mm/s: held 0.6 ULP lower, the stricter side"), "{sheet}");
    assert!(sheet.contains("asked 2000.1 mm/s^2: held 0.4 ULP higher, the stricter side"), "{sheet}");
    assert!(sheet.contains("asked -1/3000 mm: held to the nearest step, 0.3333 of 1e-9 ULP off"), "{sheet}");
    assert!(sheet.contains("asked 0 ms by default: held exactly"), "{sheet}");
}

#[test]
fn the_direction_of_a_count_is_told_in_words() {
    let sheet = sheet(&review(&full()));
    assert!(sheet.contains("-5592405333333 1e-9 ULP = 0x0000051615555555, reversed 0x01 (yes)"), "{sheet}");
    assert!(sheet.contains(", reversed 0x00 (no)"), "{sheet}");
    let words = sheet.replace('\n', " ");
    assert!(
        words.contains("reversed 0x01 beside it means that the position falls while the counter rises"),
        "{sheet}"
    );
}

#[test]
fn what_is_held_is_shown_with_every_decimal() {
    let review = review(&full());
    // 4195981721 / 2²⁴, by long division.
    assert_eq!(value(&review, "monitor.2.limit").held, "250.099999964237213134765625");
    assert_eq!(value(&review, "monitor.2.limit").raw.hex, "0x00000000fa199999");
    assert_eq!(value(&review, "channel.b.unit_per_count").held, "0.000000059604644775390625");
}

#[test]
fn the_effective_window_is_the_set_one_and_a_spacing() {
    for (points, spacing, effective) in
        [(3, "8", "16"), (129, "0.125", "8.125"), (1025, "0.015625", "8.015625")]
    {
        let image = seal(&full(), points, true).expect("sealed");
        let review = Review::of(&image).expect("an image");
        assert_eq!(value(&review, "speed.points").held, points.to_string());
        assert_eq!(value(&review, "speed.spacing").held, spacing);
        assert_eq!(value(&review, "speed.effective_window").held, effective);
    }
}

#[test]
fn settings_that_the_target_does_not_have_are_listed_with_their_values() {
    let sheet = sheet(&review(&full()));
    let (_, kept) = sheet.split_once("Kept on the host").expect("a section");
    for (key, text) in [
        ("cycle", "2 ms (2000000 ns)"),
        ("channel.a.column", "motor"),
        ("channel.a.latency", "0 ms (0 ns)"),
        ("channel.a.valid_column", "none: always valid"),
        ("channel.b.column", "rail"),
        ("channel.b.column_unit", "um"),
        ("channel.b.latency", "0.25 ms (250000 ns)"),
        ("channel.b.capture_column", "rail_time"),
        ("channel.b.capture_unit", "us"),
        ("channel.b.valid_column", "rail_valid"),
        ("channel.b.sparse", "true"),
        ("time.column", "time"),
        ("time.unit", "s"),
    ] {
        assert!(kept.contains(&format!("  [ ] {key:<26}{text}\n")), "{key}: {kept}");
    }
}

#[test]
fn an_image_without_names_has_its_values_by_number_and_in_units() {
    let named = review(&full());
    let image = seal(&full(), 129, false).expect("sealed");
    assert!(image.len() < sealed(&full()).len() / 2);
    let bare = Review::of(&image).expect("an image");
    assert_eq!((bare.title.as_deref(), bare.unit, bare.host.len()), (None, Some("mm"), 0));
    for (named, bare) in named.values().zip(bare.values()) {
        assert_eq!(
            (&named.path, &named.held, &named.unit, &named.raw),
            (&bare.path, &bare.held, &bare.unit, &bare.raw)
        );
        assert_eq!((&bare.names, &bare.asked), (&None, &None));
    }
    let sheet = sheet(&bare);
    assert!(sheet.contains("Monitor 2\n") && sheet.contains("Input 0\n"), "{sheet}");
    assert!(sheet.contains("Sealed without names and texts"), "{sheet}");
}

#[test]
fn the_review_as_data_says_what_the_sheet_says() {
    let review = review(&full());
    let json = serde_json::to_value(&review).expect("data");
    assert_eq!(json["schema"], 1);
    assert_eq!(json["image"]["crc32"], review.image.crc32);
    assert_eq!(json["image"]["labels"], "full");
    assert!(json["setup"].is_null());
    let limit =
        &json["sections"].as_array().expect("sections").iter().find(|section| section["path"] == "monitor.2");
    let limit = limit.expect("a monitor")["values"]
        .as_array()
        .expect("values")
        .iter()
        .find(|value| value["key"] == "limit");
    let limit = limit.expect("a limit");
    assert_eq!(limit["held"], "250.099999964237213134765625");
    assert_eq!(limit["unit"], "mm/s");
    assert_eq!(limit["asked"]["fit"], "stricter-below");
    let count: usize = review.sections.iter().map(|section| section.values.len()).sum();
    let boxes = sheet(&review).matches("  [ ] ").count();
    assert_eq!(boxes, count + review.host.len());
    assert!(sheet(&review).contains(&format!("  boxes to tick       {boxes}\n")));
}
