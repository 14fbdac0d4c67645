use std::fs;

use super::*;
use crate::replay::{layout, replay};
use crate::trace::Reader;
use crate::vary::Base;

const SHUTTLE: &str = include_str!("../../../traces-demo/shuttle.toml");
const OWN_CLOCKS: &str = include_str!("../../../traces-demo/asynchronous-readings.setup.toml");
const CLAMP: &str = include_str!("../../../traces-demo/stack-clamp.setup.toml");

fn demo(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../traces-demo").join(name)
}

fn grid(setup: &str, settings: &[&str]) -> Grid {
    let base = Base::parse(setup, "axis.toml").unwrap_or_else(|error| panic!("{error}"));
    let variations =
        settings.iter().map(|text| base.variation(text).unwrap_or_else(|error| panic!("{error}")));
    let variations = variations.collect();
    Grid::new(base, variations).unwrap_or_else(|error| panic!("{error}"))
}

fn sweep(setup: &str, settings: &[&str], traces: &[&str]) -> Sweep {
    let traces = traces.iter().map(|name| Trace { path: demo(name), expectations: None });
    Sweep { grid: grid(setup, settings), traces: traces.collect(), options: Options::default(), slack_ns: 0 }
}

fn results(sweep: &Sweep) -> Results {
    run(sweep, None, &|_| {}).unwrap_or_else(|error| panic!("{error}"))
}

#[test]
fn every_point_comes_to_what_a_replay_of_its_setup_comes_to() {
    let tight = SHUTTLE.replace("tolerance        = \"2 mm\"", "tolerance        = \"0.2 mm\"");
    for (setup, settings, traces) in [
        // All at once, and in groups that are shown other frames: another cycle, another latency.
        (
            SHUTTLE,
            vec!["discrepancy.tolerance=0.1 mm, 2 mm, 4 mm", "cycle=0.5 ms, 1 ms"],
            vec!["belt-slip.csv.gz", "clean-run.csv.gz"],
        ),
        (
            &tight,
            vec!["channel.b.latency=0 ms, 0.25 ms, 3 ms", "discrepancy.align=true"],
            vec!["overspeed-door-open.csv.gz"],
        ),
        (
            OWN_CLOCKS,
            vec!["channel.b.timeout=1 ms, 4 ms, 20 ms", "speed.window=4 ms, 16 ms"],
            vec!["asynchronous-readings.csv.gz"],
        ),
        (
            SHUTTLE,
            vec!["monitor.\"slow while the door is open\".ramp.margin=0 mm/s, 50 mm/s"],
            vec!["soft-braking.csv.gz"],
        ),
        // Analogue values come beside the frames.
        (
            CLAMP,
            vec!["analogue.torque.tolerance=0.2 Nm, 1.5 Nm"],
            vec!["stack-clamp-lines-apart.csv.gz", "stack-clamp-hand.csv.gz"],
        ),
    ] {
        let sweep = sweep(setup, &settings, &traces);
        let found = results(&sweep);
        let is_varied =
            |(_, points): &(Option<Identity>, Vec<Option<Found>>)| points.iter().any(|one| *one != points[0]);
        assert!(found.traces.iter().any(is_varied), "{settings:?} make a difference");
        for (trace, (_, points)) in sweep.traces.iter().zip(&found.traces) {
            for (point, found) in sweep.grid.points().iter().zip(points) {
                let setup = point.setup.as_ref().unwrap();
                let mut reader =
                    Reader::open(&trace.path, &layout(setup).unwrap(), Options::default()).unwrap();
                let alone = replay(setup, &mut reader, &mut |_| {}).unwrap();
                assert_eq!(*found, Some(Found::of(&sweep, setup, trace, &alone, 0)), "{:?}", point.values);
            }
        }
    }
}

#[test]
fn points_share_one_reading_of_a_trace_unless_they_are_shown_other_frames() {
    let sizes = |settings: &[&str]| -> Vec<usize> {
        grid(SHUTTLE, settings).groups(|_| true).iter().map(|group| group.points.len()).collect()
    };
    assert_eq!(sizes(&["discrepancy.tolerance=1 mm..100 mm step 1 mm"]), [100]);
    assert_eq!(sizes(&["channel.a.timeout=1 ms..50 ms step 1 ms"]), [50]);
    assert_eq!(sizes(&["cycle=1 ms, 2 ms, 3 ms", "discrepancy.tolerance=1 mm, 2 mm"]), [2, 2, 2]);
    assert_eq!(sizes(&["channel.b.latency=0 ms, 1 ms", "discrepancy.tolerance=1 mm, 2 mm"]), [2, 2]);
    assert_eq!(
        sizes(&["discrepancy.tolerance=1 mm..300 mm step 1 mm"]),
        [POINTS_A_PASS, 300 - POINTS_A_PASS]
    );
    // One that is refused is in none.
    assert_eq!(sizes(&["speed.window=1 us, 8 ms"]), [1]);
}

#[test]
fn a_point_that_the_setup_refuses_has_a_reason_and_no_results() {
    let sweep = sweep(SHUTTLE, &["speed.window=1 us, 8 ms"], &["clean-run.csv.gz"]);
    let report = SweepReport::new(&sweep, &results(&sweep));
    let [refused, evaluated] = report.points.as_slice() else { panic!("two points") };
    assert!(refused.refused.as_ref().is_some_and(|why| why.contains("window")), "{refused:?}");
    assert!(refused.all.is_none() && refused.traces.is_empty() && refused.checksum.is_none());
    assert!(evaluated.refused.is_none() && evaluated.is_as_written);
    assert_eq!(evaluated.all.as_ref().map(|all| (all.trips, all.faults)), Some((0, 0)));
    // Nothing is judged without expectations.
    assert!(evaluated.is_on_front.is_none() && evaluated.all.as_ref().unwrap().counts.is_none());
}

#[test]
fn the_reaction_is_that_of_the_monitor_whose_setting_is_varied_and_of_all_where_it_is_of_many() {
    let reaction_of = |settings: &[&str]| {
        let sweep = sweep(SHUTTLE, settings, &["clean-run.csv.gz"]);
        let report = SweepReport::new(&sweep, &results(&sweep));
        let reactions: Vec<_> =
            report.points.iter().map(|point| point.all.as_ref().unwrap().reaction_s.unwrap().0).collect();
        (report.reaction_of, reactions)
    };
    let (of, reactions) = reaction_of(&["discrepancy.discrepancy_time=0 ms, 20 ms"]);
    assert_eq!(of, ["discrepancy"]);
    assert_eq!(reactions[1] - reactions[0], 20_000_000, "the discrepancy time is a term of its own");
    let (of, _) = reaction_of(&["speed.window=8 ms", "discrepancy.discrepancy_time=0 ms, 20 ms"]);
    assert!(of.len() > 4, "{of:?}");
    let delay = "monitor.\"slow while the door is open\".on_delay=0 ms, 4 ms, 9 ms";
    let (of, reactions) = reaction_of(&[delay]);
    assert_eq!(of, ["slow while the door is open"]);
    assert_eq!((reactions[1] - reactions[0], reactions[2] - reactions[0]), (4_000_000, 9_000_000));
}

#[test]
fn a_wider_tolerance_costs_how_far_sources_get_apart_and_a_longer_delay_speed_and_travel() {
    let costs = |setting: &str| -> Vec<Cost> {
        let sweep = sweep(SHUTTLE, &[setting], &[]);
        let rules = sweep.grid.rules();
        let points = sweep.grid.points().iter().map(|point| point.setup.as_ref().unwrap());
        points.map(|setup| reaction::cost(setup, Span::from_millis(1).unwrap(), &rules).unwrap()).collect()
    };
    let tolerance = costs("discrepancy.tolerance=2 mm, 5 mm");
    let apart: Vec<_> = tolerance.iter().map(|cost| cost.apart.unwrap().to_bits()).collect();
    assert_eq!(apart[1] - apart[0], 3 << 24, "as much as the tolerance");
    assert_eq!(tolerance[0].time, tolerance[1].time);
    // The hardest acceleration in the delay, by v = a t.
    let delay = costs("monitor.\"slow while the door is open\".on_delay=0 ms, 4 ms");
    let rises = Base::parse(SHUTTLE, "axis.toml").unwrap().setup().machine.max_acceleration.clone().unwrap();
    let gained = delay[1].speed.unwrap().to_bits() - delay[0].speed.unwrap().to_bits();
    assert!((gained - rises.value.to_bits() * 4 / 1000).abs() <= 2, "{gained}");
    assert!(delay[1].travel > delay[0].travel);
    // One rule of which the setup does not say enough leaves the worst of all unknown.
    let silent = SHUTTLE.replace("max_acceleration", "# max_acceleration");
    let grid = grid(&silent, &["discrepancy.tolerance=2 mm"]);
    let cost = reaction::cost(grid.base().setup(), Span::from_millis(1).unwrap(), &grid.rules()).unwrap();
    assert_eq!((cost.speed, cost.travel), (None, None));
}

/// The figures that `margins` says of the same setup, edited by hand.
#[test]
fn a_softer_ramp_costs_the_travel_from_the_demand_and_the_distance_that_margins_says() {
    let slow = "monitor.\"slow while the door is open\".ramp.deceleration=1655 mm/s^2, 2 m/s^2";
    let sweep = sweep(SHUTTLE, &[slow], &[]);
    let period = Span::from_millis(1).unwrap();
    let rules = sweep.grid.rules();
    let mut found = Vec::new();
    for point in sweep.grid.points() {
        let setup = point.setup.as_ref().unwrap();
        let cost = reaction::cost(setup, period, &rules).unwrap();
        let margins = crate::margins::Margins::of(setup, Some(period));
        let of_rule = margins.costs.iter().filter(|one| rules.contains(&one.reaction.rule));
        let longest = of_rule.flat_map(|one| &one.travels).map(|way| way.total.unwrap()).max();
        assert_eq!(cost.from_demand, longest, "longer than the way from the motion");
        let needed = margins.approach.unwrap().needed.unwrap();
        let shown = crate::decimal::Exact::new(cost.distance.unwrap().to_bits().into(), 1 << 24);
        assert!(shown >= needed && shown - needed < crate::decimal::Exact::new(1, 1 << 23));
        found.push(cost);
    }
    assert!(found[0].from_demand > found[1].from_demand && found[0].distance > found[1].distance);
    assert_eq!((found[0].time, found[0].travel), (found[1].time, found[1].travel));
}

#[test]
fn a_looser_limit_is_never_better_in_any_figure_of_the_worst_case() {
    for settings in [
        vec!["monitor.\"slow while the door is open\".limit=400 mm/s, 250 mm/s, 150 mm/s"],
        vec![
            "monitor.\"slow while the door is open\".limit=400 mm/s, 250 mm/s, 150 mm/s",
            "monitor.\"slow while the door is open\".ramp.deceleration=1 m/s^2, 2 m/s^2",
        ],
    ] {
        let sweep = sweep(SHUTTLE, &settings, &["soft-braking.csv.gz"]);
        let report = SweepReport::new(&sweep, &results(&sweep));
        assert!(report.looser_no_sooner);
        let number = |exact: &Option<crate::report::Exact>| {
            exact.as_ref().unwrap().to_string().parse::<f64>().unwrap()
        };
        let figures: Vec<[f64; 3]> = (report.points.iter())
            .map(|point| point.all.as_ref().unwrap())
            .map(|all| [number(&all.travel), number(&all.travel_from_demand), number(&all.distance_mm)])
            .collect();
        let others = figures.len() / 3;
        for place in 0..figures.len() - others {
            let (loose, strict) = (figures[place], figures[place + others]);
            assert!(loose.iter().zip(strict).all(|(loose, strict)| *loose >= strict), "{loose:?} {strict:?}");
        }
        if others == 2 {
            assert!(figures[0][1] > figures[1][1] && figures[0][2] > figures[1][2], "the ramp still counts");
        }
    }
    let sweep = sweep(SHUTTLE, &["discrepancy.tolerance=2 mm"], &[]);
    assert!(!SweepReport::new(&sweep, &results(&sweep)).looser_no_sooner);
}

#[test]
fn a_grid_has_every_pair_of_values_and_is_refused_when_there_are_too_many() {
    let pairs = grid(SHUTTLE, &["discrepancy.tolerance=1 mm, 2 mm", "speed.window=8 ms, 9 ms"]);
    let pairs: Vec<_> = pairs.points().iter().map(|point| point.values.join(" ")).collect();
    assert_eq!(pairs, ["1 mm 8 ms", "1 mm 9 ms", "2 mm 8 ms", "2 mm 9 ms"]);
    let refused = |settings: &[&str]| {
        let base = Base::parse(SHUTTLE, "axis.toml").unwrap();
        let variations = settings.iter().map(|text| base.variation(text).unwrap()).collect();
        Grid::new(base, variations).unwrap_err().to_string()
    };
    let many = refused(&["discrepancy.tolerance=1 um..1 mm step 1 um", "speed.window=8 ms..18 ms step 1 ms"]);
    assert_eq!(many, "11000 points are more than 10000; take longer steps");
    assert!(refused(&["speed.window=8 ms", "speed.window=9 ms"]).contains("named twice"));
    assert!(refused(&[]).contains("vary one setting, or two"));
}

/// A folder of its own for one test.
fn folder(name: &str) -> PathBuf {
    let folder = std::env::temp_dir().join(format!("cowitness-sweep-{name}-{}", std::process::id()));
    let _ = fs::remove_dir_all(&folder);
    fs::create_dir_all(&folder).unwrap();
    folder
}

#[test]
fn results_are_taken_from_a_file_wherever_it_was_cut() {
    let folder = folder("cut");
    let sweep = sweep(
        SHUTTLE,
        &["discrepancy.tolerance=0.1 mm, 2 mm, 4 mm"],
        &["belt-slip.csv.gz", "clean-run.csv.gz"],
    );
    let path = folder.join("kept");
    let in_one_go = results(&sweep);
    let kept = run(&sweep, Some(&mut Resume::open(&path, &sweep).unwrap()), &|_| {}).unwrap();
    assert_eq!(kept.traces, in_one_go.traces);
    let whole = fs::read(&path).unwrap();
    let line_ends: Vec<usize> = (0..whole.len()).filter(|&i| whole[i] == b'\n').map(|i| i + 1).collect();
    assert_eq!(line_ends.len(), 1 + 6);
    for cut in (0..whole.len()).step_by(97).chain([whole.len(), whole.len() - 1]) {
        fs::write(&path, &whole[..cut]).unwrap();
        let evaluated = AtomicUsize::new(0);
        let count = |step: Step| {
            if let Step::Frames(frames) = step {
                evaluated.fetch_add(usize::try_from(frames).unwrap(), Ordering::Relaxed);
            }
        };
        let mut resume = Resume::open(&path, &sweep).unwrap_or_else(|error| panic!("cut at {cut}: {error}"));
        let again = run(&sweep, Some(&mut resume), &count).unwrap();
        assert_eq!(again.traces, in_one_go.traces, "cut at {cut}");
        // What is there is not evaluated again.
        let lines = line_ends.iter().filter(|end| **end <= cut).count();
        let text = String::from_utf8(whole.clone()).unwrap();
        let of = |trace: usize| in_one_go.traces[trace].1[0].as_ref().unwrap().frames;
        let missing = text.lines().skip(lines.max(1)).map(|line| of(usize::from(line.contains("clean-run"))));
        assert_eq!(evaluated.into_inner() as u64, missing.sum::<u64>(), "cut at {cut}");
    }
    fs::remove_dir_all(folder).unwrap();
}

#[test]
fn results_of_anything_else_are_refused_with_the_reason() {
    let folder = folder("other");
    let path = folder.join("kept");
    let trace = folder.join("trace.csv.gz");
    fs::copy(demo("clean-run.csv.gz"), &trace).unwrap();
    let of = |setup: &str, settings: &[&str]| Sweep {
        traces: vec![Trace { path: trace.clone(), expectations: None }],
        ..sweep(setup, settings, &[])
    };
    let first = of(SHUTTLE, &["discrepancy.tolerance=1 mm, 2 mm"]);
    run(&first, Some(&mut Resume::open(&path, &first).unwrap()), &|_| {}).unwrap();
    let refused = |other: &Sweep| Resume::open(&path, other).map(|_| ()).unwrap_err().to_string();
    let other_setup = SHUTTLE.replace("window = \"8 ms\"", "window = \"9 ms\"");
    assert!(refused(&of(&other_setup, &["discrepancy.tolerance=1 mm, 2 mm"])).contains("of another setup"));
    assert!(refused(&of(SHUTTLE, &["discrepancy.tolerance=1 mm, 3 mm"])).contains("of another grid"));
    let slack = Sweep { slack_ns: 5, ..of(SHUTTLE, &["discrepancy.tolerance=1 mm, 2 mm"]) };
    assert!(refused(&slack).contains("of a slack of 0 ns"));
    let skips =
        Sweep { options: Options { skip_bad: true }, ..of(SHUTTLE, &["discrepancy.tolerance=1 mm, 2 mm"]) };
    assert!(refused(&skips).contains("without --skip-bad"));
    // The expectations are others now; so they are when there are some and were none.
    let expected = Expectations::load(&demo("clean-run.expected.toml"), first.grid.base().setup()).unwrap();
    let judged = Sweep {
        traces: vec![Trace { path: trace.clone(), expectations: Some((expected, 7)) }],
        ..of(SHUTTLE, &["discrepancy.tolerance=1 mm, 2 mm"])
    };
    let error =
        run(&judged, Some(&mut Resume::open(&path, &judged).unwrap()), &|_| {}).unwrap_err().to_string();
    assert!(error.contains("other expectations of"), "{error}");
    // The trace is another one now.
    fs::copy(demo("belt-slip.csv.gz"), &trace).unwrap();
    let error =
        run(&first, Some(&mut Resume::open(&path, &first).unwrap()), &|_| {}).unwrap_err().to_string();
    assert!(error.contains("another content of"), "{error}");
    // Something else is not written over.
    fs::write(&path, "notes of last week").unwrap();
    assert!(refused(&first).contains("is no file of a sweep"));
    fs::write(&path, "notes\nof last week\n").unwrap();
    assert!(refused(&first).contains("is no file of a sweep"));
    assert_eq!(fs::read_to_string(&path).unwrap(), "notes\nof last week\n");
    fs::remove_dir_all(folder).unwrap();
}

#[test]
fn no_two_runs_write_to_one_file() {
    let folder = folder("two");
    let sweep = sweep(SHUTTLE, &["discrepancy.tolerance=1 mm"], &["clean-run.csv.gz"]);
    let first = Resume::open(&folder.join("kept"), &sweep).unwrap();
    let second = Resume::open(&folder.join("kept"), &sweep).map(|_| ()).unwrap_err().to_string();
    assert!(second.contains("another run writes to it"), "{second}");
    drop(first);
    assert!(Resume::open(&folder.join("kept"), &sweep).is_ok());
    fs::remove_dir_all(folder).unwrap();
}

#[test]
fn a_bad_trace_ends_the_sweep_with_its_place() {
    let folder = folder("bad");
    let trace = folder.join("bad.csv");
    fs::write(&trace, "time,motor_count,rail_count\n0,1,2\n").unwrap();
    let sweep = Sweep {
        traces: vec![Trace { path: trace, expectations: None }],
        ..sweep(SHUTTLE, &["discrepancy.tolerance=1 mm"], &[])
    };
    let error = run(&sweep, None, &|_| {}).unwrap_err().to_string();
    assert!(error.contains("bad.csv") && error.contains("rail_valid"), "{error}");
    fs::remove_dir_all(folder).unwrap();
}
