//! What `cowitness margins` says of a reaction is never less than what a replay takes.
//!
//! All times are multiples of 100 µs and a count is 10⁻⁹ mm, so the resolution takes no part.

use host_harness::margins::{Broken, Reaction, reaction, travels};
use host_harness::replay::{Outcome, TripRule, replay};
use host_harness::setup::Setup;
use monitor_core::{Channel, Frame, Instant, Levels, Reading, Sample, Span};
use proptest::prelude::*;

use crate::axis::config;

const TICK: u64 = 100_000;
/// Where the motion breaks the rule, in ticks.
const BREAK: u64 = 4000;
/// The output delay, which no replay sees.
const OUTPUT: u64 = 7;

/// When rows come and what they bring.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Mode {
    /// Every row is a frame and brings readings.
    Rows,
    /// Frames at a cycle that is no shorter than the gaps between rows.
    Cycle,
    /// Rows bring a reading now and then, at least as often as `[sensors.a]` says.
    Sparse,
    /// The same, and nothing says how often.
    Unsaid,
}

#[derive(Clone, Debug)]
struct Timing {
    mode: Mode,
    window: u64,
    on_delay: u64,
    latency: u64,
    filter: u64,
    /// The longest gap between rows, the cycle, and the longest time between readings.
    longest: [u64; 3],
    gaps: Vec<u64>,
}

fn timing() -> impl Strategy<Value = Timing> {
    let mode = prop::sample::select(vec![Mode::Rows, Mode::Cycle, Mode::Sparse, Mode::Unsaid]);
    let lengths = (1_u64..=60, 0_u64..=40, 0_u64..=10, 0_u64..=30);
    (mode, lengths, 1_u64..=20, 0_u64..=10, 1_u64..=30).prop_flat_map(|(mode, lengths, gap, more, rare)| {
        let (window, on_delay, latency, filter) = lengths;
        prop::collection::vec(1..=gap, 64).prop_map(move |gaps| Timing {
            mode,
            window,
            on_delay,
            latency,
            filter,
            longest: [gap, gap + more, gap + rare],
            gaps,
        })
    })
}

fn millis(ticks: u64) -> String {
    format!("\"{}/10 ms\"", ticks)
}

impl Timing {
    fn period(&self) -> Span {
        let [gap, cycle, _] = self.longest;
        Span::from_nanos(TICK * if self.mode == Mode::Cycle { cycle } else { gap })
    }

    /// The setup with what is to be watched.
    fn setup(&self, watched: &str) -> Setup {
        self.setup_of("", watched)
    }

    /// The same on such a machine.
    fn setup_of(&self, machine: &str, watched: &str) -> Setup {
        let [gap, cycle, rare] = self.longest.map(millis);
        let cycle = if self.mode == Mode::Cycle { format!("cycle = {cycle}") } else { String::new() };
        let sparse = matches!(self.mode, Mode::Sparse | Mode::Unsaid);
        // A reading that is older is a fault: without a period it is as old as that and no older.
        let timeout = if self.mode == Mode::Unsaid {
            millis(self.longest[2] + self.latency)
        } else {
            "\"400 ms\"".to_owned()
        };
        let channel = |letter: &str| {
            format!(
                "[channel.{letter}]\ncolumn = \"{letter}\"\ncounter_bits = 64\nunit_per_count = \"0.000000001 mm\"\n\
                 max_speed = \"100 m/s\"\ntimeout = {timeout}\nlatency = {}\nsparse = {sparse}\nreference = \"absolute\"\n",
                millis(self.latency)
            )
        };
        let sensors = match self.mode {
            Mode::Sparse => format!("[sensors]\na = {{ period = {rare} }}\nb = {{ period = {rare} }}\n"),
            _ => String::new(),
        };
        let text = format!(
            "title = \"random\"\nunit = \"mm\"\n{cycle}\n[time]\ncolumn = \"t\"\nunit = \"s\"\n{}{}\
             [speed]\nwindow = {}\n[machine]\noutput_delay = {}\nframe_period = {gap}\n{machine}{sensors}{watched}",
            channel("a"),
            channel("b"),
            millis(self.window),
            millis(OUTPUT),
        );
        Setup::parse(&text, "random.toml").unwrap_or_else(|error| panic!("{}\n{text}", error.render(false)))
    }

    fn delay(&self) -> String {
        format!("on_delay = {}\n", millis(self.on_delay))
    }

    /// The rows of a motion (counts at an instant in ticks, on each channel), and a line that rises at `BREAK`.
    fn rows(&self, count: impl Fn(i64) -> [i64; 2]) -> Vec<Frame> {
        let (mut rows, mut now, mut read) = (Vec::new(), 1000, 0);
        let mut gaps = self.gaps.iter().cycle();
        while now < BREAK + 9000 {
            let gap = *gaps.next().unwrap_or(&1);
            now += gap;
            let next = now + self.longest[0];
            // The last chance to be no later than the longest time between two readings.
            let is_due = !matches!(self.mode, Mode::Sparse | Mode::Unsaid) || next > read + self.longest[2];
            let captured = now - self.latency;
            let [a, b] = count(captured.cast_signed()).map(|count| {
                let captured_at = Instant::from_nanos(captured * TICK);
                is_due.then_some(Reading { captured_at, sample: Sample::Count(count.cast_unsigned()) })
            });
            if is_due {
                read = now;
            }
            let levels = Levels::from_bits(u32::from(now >= BREAK));
            rows.push(Frame { now: Instant::from_nanos(now * TICK), a, b, levels });
        }
        rows
    }

    fn replay(&self, setup: &Setup, count: impl Fn(i64) -> [i64; 2]) -> Outcome {
        let rows = self.rows(count);
        let outcome = replay(setup, &mut rows.as_slice(), &mut |_| ()).expect("a replay");
        assert_eq!(outcome.faults.kept.len(), 0, "the motion is seen throughout");
        outcome
    }
}

/// All trips of a rule are no later than is said, and there is one.
fn holds(outcome: &Outcome, reaction: &Reaction, broken: Broken, violated: u64) -> Result<(), TestCaseError> {
    let path = reaction.path(broken).expect("a path");
    let longest = path.total().as_nanos() - OUTPUT * TICK;
    let mut trips = outcome.trips.kept.iter().filter(|trip| trip.rule == reaction.rule).peekable();
    prop_assert!(trips.peek().is_some(), "no trip of {:?}", reaction.rule);
    for trip in trips {
        let took = i128::from(trip.tripped_at.as_nanos()) - i128::from(violated);
        prop_assert!(took <= i128::from(longest), "{took} ns, said are {longest}");
    }
    Ok(())
}

fn of_both(
    setup: &Setup,
    timing: &Timing,
    outcome: &Outcome,
    broken: Broken,
    violated: u64,
) -> Result<(), TestCaseError> {
    for channel in Channel::BOTH {
        let said = reaction(setup, timing.period(), TripRule::Monitor(0, channel));
        holds(outcome, &said, broken, violated)?;
    }
    Ok(())
}

/// When a motion of `speed` mm/s from `BREAK` on has gone so many mm.
fn gone(millimetres: i64, speed: i64) -> u64 {
    BREAK * TICK + millimetres.cast_unsigned() * 1_000_000_000 / speed.cast_unsigned()
}

fn after(t: i64) -> i64 {
    (t - BREAK.cast_signed()).max(0)
}

proptest! {
    #![proptest_config(config(200))]

    #[test]
    fn a_speed_that_grows_beyond_its_limit_trips_within_what_margins_says(
        timing in timing(),
        thousands in 1_i64..20,
        limit in 1_i64..50,
        kind in 0_u8..3,
    ) {
        let rises = 1000 * thousands;
        let text = |limit: i64| {
            let bounds = match kind {
                0 => format!("kind = \"speed-range\"\nlow = \"-1 mm/s\"\nhigh = \"{limit} mm/s\"\n"),
                1 => format!("kind = \"speed-limit\"\nlimit = \"{limit} mm/s\"\n"),
                _ => format!(
                    "kind = \"standstill\"\nposition_window = \"1000 m\"\nspeed_window = \"{limit} mm/s\"\n"
                ),
            };
            format!("[[monitor]]\nname = \"m\"\n{bounds}{}", timing.delay())
        };
        // The formula is that of an acceleration that has filled the window.
        let said = reaction(&timing.setup(&text(1)), timing.period(), TripRule::Monitor(0, Channel::A));
        let filled = i64::try_from(2 * said.total().expect("a time").as_nanos()).expect("short");
        let limit = limit + filled * rises / 1_000_000_000;
        let setup = timing.setup_of(&format!("max_acceleration = \"{rises} mm/s^2\"\n"), &text(limit));
        let count = |t: i64| [5 * rises * after(t) * after(t); 2];
        let outcome = timing.replay(&setup, count);
        of_both(&setup, &timing, &outcome, Broken::Speed, gone(limit, rises) + 1)?;
        // And when the torque is gone, the axis is no faster and has come no further than that.
        let lost = outcome.permit_lost_at().expect("the permit goes").as_nanos() + OUTPUT * TICK;
        let since = (lost - BREAK * TICK) as f64 / 1e9;
        let travels = travels(&setup, timing.period(), &reaction(&setup, timing.period(), TripRule::Monitor(0, Channel::A)));
        let units = |bits: i64| bits as f64 / f64::from(1 << 24);
        let of = travels.iter().position(|travel| travel.broken == Broken::Speed).expect("a way");
        let said = travels[of].speed_at_torque_off.map(|speed| units(speed.to_bits())).expect("a speed");
        let (speed, limit) = (rises as f64 * since, limit as f64);
        prop_assert!(speed <= said + 1e-6, "{speed} mm/s, said are {said}");
        let way = (speed * speed - limit * limit) / (2.0 * rises as f64);
        let said = units(travels[of].stretches[0].way.to_bits());
        prop_assert!(way <= said + 1e-6, "{way} mm, said are {said}");
    }

    /// Whatever the motion: the mean over a window lags by half of it at the hardest acceleration, and every frame below the limit says
    /// that much anew.
    #[test]
    fn an_axis_that_speeds_up_by_fits_and_starts_is_no_faster_at_the_end_than_margins_says(
        timing in timing(),
        thousands in 1_i64..20,
        limit in 1_i64..200,
        (fits, more) in prop::collection::vec((1_usize..200, 0_usize..200), 1..6).prop_flat_map(|fits| (Just(fits), 1_usize..50)),
    ) {
        let rises = 1000 * thousands;
        let text = format!("[[monitor]]\nname = \"m\"\nkind = \"speed-limit\"\nlimit = \"{limit} mm/s\"\n{}", timing.delay());
        let setup = timing.setup_of(&format!("max_acceleration = \"{rises} mm/s^2\"\n"), &text);
        // Ticks of speeding up, and fewer of slowing down to no less than rest; speeds in counts a tick, of which 100 000 are 1 mm/s.
        let ways = fits.iter().cycle().flat_map(|&(up, down)| [(up + more, 1), (down.min(up), -1)]);
        let (mut speeds, mut places, mut speed, mut place) = (vec![], vec![], 0_i64, 0_i64);
        let signs = ways.flat_map(|(ticks, sign)| std::iter::repeat_n(sign, ticks));
        let pulls = std::iter::repeat_n(0, BREAK as usize).chain(signs).take(BREAK as usize + 12_000);
        for pull in pulls {
            places.push(place);
            speeds.push(speed);
            let next = (speed + 10 * rises * pull).max(0);
            place += (speed + next) / 2;
            speed = next;
        }
        let at = |t: i64| places[usize::try_from(t).expect("not before the beginning")];
        let outcome = timing.replay(&setup, |t| [at(t); 2]);
        let Some(lost) = outcome.permit_lost_at() else { return Ok(()) };
        let fastest = speeds[(lost.as_nanos() / TICK + OUTPUT) as usize] as f64 / 100_000.0;
        let said = reaction(&setup, timing.period(), TripRule::Monitor(0, Channel::A));
        let travels = travels(&setup, timing.period(), &said);
        let said = travels[0].speed_at_torque_off.map(|speed| speed.to_bits()).expect("a speed");
        prop_assert!(fastest <= said as f64 / f64::from(1 << 24) + 1e-6, "{fastest} mm/s");
    }

    #[test]
    fn a_place_that_is_left_trips_within_what_margins_says(
        timing in timing(),
        speed in 10_i64..1000,
        millimetres in 1_i64..3,
        kind in 0_u8..4,
    ) {
        let kind = match kind {
            0 => format!("kind = \"travel-limit\"\nincrement = \"{millimetres} mm\"\n"),
            1 => format!("kind = \"standstill\"\nposition_window = \"{millimetres} mm\"\nspeed_window = \"90 m/s\"\n"),
            2 => format!("kind = \"position-range\"\nlow = \"-1 mm\"\nhigh = \"{millimetres} mm\"\n"),
            _ => format!("kind = \"direction\"\nallowed = \"negative\"\ntolerance = \"{millimetres} mm\"\n"),
        };
        let setup = timing.setup(&format!("[[monitor]]\nname = \"m\"\n{kind}{}", timing.delay()));
        let outcome = timing.replay(&setup, |t| [100_000 * speed * after(t); 2]);
        of_both(&setup, &timing, &outcome, Broken::Position, gone(millimetres, speed) + 1)?;
    }

    /// It comes from the other side, and turns between two frames.
    #[test]
    fn an_axis_that_turns_unseen_trips_within_what_margins_says(
        timing in timing(),
        (forth, back) in (1_i64..1000, 10_i64..1000),
        millimetres in 1_i64..3,
    ) {
        let kind = format!("kind = \"direction\"\nallowed = \"negative\"\ntolerance = \"{millimetres} mm\"\n");
        let setup = timing.setup(&format!("[[monitor]]\nname = \"m\"\n{kind}{}", timing.delay()));
        let turn = BREAK.cast_signed();
        let outcome = timing.replay(&setup, |t| [100_000 * (forth * (turn - t).max(0) + back * after(t)); 2]);
        of_both(&setup, &timing, &outcome, Broken::Position, gone(millimetres, back) + 1)?;
    }

    #[test]
    fn an_acceleration_beyond_its_limit_trips_within_what_margins_says(
        timing in timing(),
        (limit, beyond) in (100_i64..5000, 1_i64..5000),
    ) {
        let kind = format!("kind = \"acceleration-limit\"\nlimit = \"{limit} mm/s^2\"\n");
        let setup = timing.setup(&format!("[[monitor]]\nname = \"m\"\n{kind}{}", timing.delay()));
        let outcome = timing.replay(&setup, |t| [5 * (limit + beyond) * after(t) * after(t); 2]);
        of_both(&setup, &timing, &outcome, Broken::Acceleration, BREAK * TICK)?;
    }

    #[test]
    fn sources_that_come_apart_trip_within_what_margins_says(
        timing in timing(),
        speed in 10_i64..1000,
        millimetres in 1_i64..3,
    ) {
        let text = format!(
            "[discrepancy]\ntolerance = \"{millimetres} mm\"\ndiscrepancy_time = {}\n",
            millis(timing.on_delay)
        );
        let setup = timing.setup(&text);
        let outcome = timing.replay(&setup, |t| [100_000 * speed * after(t), 0]);
        let said = reaction(&setup, timing.period(), TripRule::PositionDiscrepancy);
        // A place is rounded to the nearest ULP, which the slowest passes in 6 us.
        holds(&outcome, &said, Broken::Apart, gone(millimetres, speed) + 6000)?;
    }

    /// Channel B stands still.
    #[test]
    fn speeds_that_come_apart_steadily_trip_within_what_margins_says(
        timing in timing(),
        thousands in 1_i64..20,
        tolerance in 1_i64..50,
    ) {
        let rises = 1000 * thousands;
        let text = |tolerance: i64| {
            let time = millis(timing.on_delay);
            format!("[speed_discrepancy]\ntolerance = \"{tolerance} mm/s\"\ndiscrepancy_time = {time}\n")
        };
        let said = |setup: &Setup| reaction(setup, timing.period(), TripRule::SpeedDiscrepancy);
        let longest = said(&timing.setup(&text(1))).total().expect("a time").as_nanos();
        let tolerance = tolerance + i64::try_from(2 * longest).expect("short") * rises / 1_000_000_000;
        let setup = timing.setup(&text(tolerance));
        let outcome = timing.replay(&setup, |t| [5 * rises * after(t) * after(t), 0]);
        holds(&outcome, &said(&setup), Broken::SpeedsApart, gone(tolerance, rises) + 1)?;
    }

    #[test]
    fn a_demand_trips_an_axis_that_is_too_fast_within_what_margins_says(
        timing in timing(),
        kind in 0_u8..4,
        within in 1_u64..300,
    ) {
        let rule = match kind {
            0 => format!("kind = \"speed-limit\"\nlimit = \"10 mm/s\"\n{}", timing.delay()),
            1 => format!(
                "kind = \"speed-limit\"\nlimit = \"10 mm/s\"\n\
                 ramp = {{ delay = \"2 ms\", deceleration = \"20 m/s^2\", margin = \"10 mm/s\" }}\n{}",
                timing.delay()
            ),
            2 => "kind = \"torque-off\"\n".to_owned(),
            _ => format!("kind = \"stop\"\nuntil = \"torque-off\"\nby = \"time\"\nwithin = {}\n", millis(within)),
        };
        let text = format!(
            "[input.door]\ncolumns = [\"door\"]\nfilter = {}\n[[monitor]]\nname = \"m\"\ndemand = [\"door\"]\n{rule}\
             [[monitor]]\nname = \"never\"\nkind = \"speed-limit\"\nlimit = \"600 mm/s\"\n",
            millis(timing.filter)
        );
        let setup = timing.setup(&text);
        let outcome = timing.replay(&setup, |t| [100_000 * 500 * t; 2]);
        let broken = if kind == 3 { Broken::Stop } else { Broken::Demand };
        let said = reaction(&setup, timing.period(), TripRule::Monitor(0, Channel::A));
        let longest = said.path(broken).expect("a path").total().as_nanos() - OUTPUT * TICK;
        let lost = outcome.permit_lost_at().expect("the permit goes").as_nanos();
        prop_assert!(lost <= BREAK * TICK + longest, "{} ns, said are {longest}", lost - BREAK * TICK);
    }

    /// The stop that is a trip's reaction is part of what it takes.
    #[test]
    fn a_stop_that_is_a_reaction_ends_within_what_margins_says(
        timing in timing(),
        speed in 10_i64..1000,
        within in 1_u64..300,
    ) {
        let text = format!(
            "[[monitor]]\nname = \"m\"\nkind = \"travel-limit\"\nincrement = \"1 mm\"\nreaction = \"halt\"\n{}\
             [[monitor]]\nname = \"halt\"\nkind = \"stop\"\nuntil = \"torque-off\"\nby = \"time\"\nwithin = {}\n",
            timing.delay(),
            millis(within)
        );
        let setup = timing.setup(&text);
        let outcome = timing.replay(&setup, |t| [100_000 * speed * after(t); 2]);
        let said = reaction(&setup, timing.period(), TripRule::Monitor(0, Channel::A));
        let longest = said.path(Broken::Position).expect("a path").total().as_nanos() - OUTPUT * TICK;
        let lost = outcome.permit_lost_at().expect("the permit goes").as_nanos();
        prop_assert!(lost <= gone(1, speed) + 1 + longest);
    }
}
