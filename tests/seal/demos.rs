//! The images of the demo setups: what is loaded from them steps as the setup itself does.

use std::io::Cursor;

use host_harness::replay::{axis, layout};
use host_harness::seal::{Review, seal};
use host_harness::setup::Setup;
use host_harness::synth::Scenario;
use host_harness::trace::{Offered, Options, Reader};
use monitor_core::seal::Image;
use monitor_core::{AnalogueSet, Axis, Frame};
use traces_demo::{Demo, scenarios};

pub(crate) fn demos() -> Vec<Demo> {
    scenarios().unwrap_or_else(|error| panic!("{error}"))
}

pub(crate) fn setup(demo: &Demo) -> Setup {
    Setup::load(&demo.setup).unwrap_or_else(|error| panic!("{error}"))
}

/// Every row of a demo's trace, made from its scenario, as a frame.
pub(crate) fn frames(demo: &Demo, setup: &Setup) -> Vec<Frame> {
    rows(demo, setup).into_iter().map(|(_, frame)| frame).collect()
}

/// The same, each with the readings of analogue values that come before it.
fn rows(demo: &Demo, setup: &Setup) -> Vec<(Vec<Offered>, Frame)> {
    let text = std::fs::read_to_string(&demo.scenario).expect("a scenario");
    let scenario = Scenario::from_toml(&text, &demo.name).unwrap_or_else(|error| panic!("{error}"));
    let mut bytes = Vec::new();
    scenario.write(&mut bytes).unwrap_or_else(|error| panic!("{}: {error}", demo.name));
    let layout = layout(setup).unwrap_or_else(|error| panic!("{error}"));
    let mut reader = Reader::from_read(&demo.name, Cursor::new(bytes), &layout, Options::default())
        .unwrap_or_else(|error| panic!("{error}"));
    let (mut rows, mut batch) = (Vec::new(), Vec::new());
    while reader.next_batch(&mut batch).unwrap_or_else(|error| panic!("{error}")) {
        let mut offered = reader.offered().iter().peekable();
        for (place, frame) in batch.iter().enumerate() {
            let before = std::iter::from_fn(|| offered.next_if(|one| one.frame <= place)).copied().collect();
            rows.push((before, *frame));
        }
    }
    rows
}

/// The larger capacities are those of a replay; with as many places as there are monitors and inputs it would be another type.
fn loaded(image: &[u8]) -> Axis<129, 16, 16> {
    let image = Image::open(image).unwrap_or_else(|error| panic!("{error}"));
    Axis::new(image.axis().unwrap_or_else(|error| panic!("{error}")))
}

#[test]
fn every_demo_setup_is_loaded_from_its_image_as_it_was_and_steps_the_same_on_its_trace() {
    let (mut trips, mut given, mut values) = (0, 0, 0);
    for demo in demos() {
        let setup = setup(&demo);
        for names in [true, false] {
            let image = seal(&setup, 129, names).unwrap_or_else(|error| panic!("{error}"));
            let (mut ours, mut theirs) = (axis(&setup).expect("an axis"), loaded(&image));
            assert_eq!(format!("{:?}", theirs.config()), format!("{:?}", ours.config()), "{}", demo.name);
            for (before, frame) in rows(&demo, &setup) {
                for one in before {
                    let of = AnalogueSet::from_bits(1 << one.of).iter().next().expect("an analogue value");
                    for axis in [&mut ours, &mut theirs] {
                        axis.offer(of, one.channel, one.reading);
                    }
                    values += 1;
                }
                let outcome = ours.step(&frame);
                assert_eq!(theirs.step(&frame), outcome, "{} at {:?}", demo.name, frame.now);
                trips += usize::from(outcome.has_trip());
                given += usize::from(outcome.permit);
            }
            assert!(theirs.state().trips().eq(ours.state().trips()), "{}", demo.name);
        }
    }
    assert!(trips > 0 && given > 0, "{trips} frames with a trip, {given} with a permit");
    assert!(values > 0, "no demo has an analogue value");
}

#[test]
fn every_demo_setup_is_reviewed_as_the_one_that_was_sealed() {
    for demo in demos() {
        let setup = setup(&demo);
        let image = seal(&setup, 129, true).unwrap_or_else(|error| panic!("{error}"));
        let review = Review::against(&image, &setup).unwrap_or_else(|error| panic!("{error}"));
        assert!(review.is_consistent(), "{}: {:?}", demo.name, review.setup);
        assert_eq!(review.title.as_deref(), Some(setup.title.as_str()));
    }
}
