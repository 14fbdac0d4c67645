//! Scripts of axes and frames, and what the host answers.

use std::fs;

use cowitness_tests::core_of::Core;
use cowitness_tests::core_of::core_of;
use cowitness_tests::trace::{Case, case};
use host_harness::replay::{config, layout};
use host_harness::setup::Setup;
use host_harness::synth::Scenario;
use host_harness::trace::{Offered, Options, Reader};
use monitor_core::seal::Image;
use monitor_core::{
    AnalogueId, AnalogueReading, AxisConfig, AxisState, Channel, Frame, Instant, Outcome, Value,
};
use traces_demo::Demo;
use wire::{Item, LONGEST_ITEM, POINTS, answer, put_item};

/// A script, and the axis that the host has gone through it with.
pub struct Script<const MONITORS: usize, const INPUTS: usize> {
    /// For the target.
    pub bytes: Vec<u8>,
    /// What it must answer.
    pub answers: Vec<u8>,
    /// What each frame came to, and where its answer begins.
    pub frames: Vec<(Outcome, usize)>,
    axis: Option<(AxisConfig<POINTS, MONITORS, INPUTS>, AxisState<POINTS, MONITORS, INPUTS>)>,
}

impl<const MONITORS: usize, const INPUTS: usize> Script<MONITORS, INPUTS> {
    pub fn new() -> Self {
        Self { bytes: Vec::new(), answers: Vec::new(), frames: Vec::new(), axis: None }
    }

    fn put(&mut self, item: &Item<'_>) {
        let mut buffer = [0; LONGEST_ITEM];
        self.bytes.extend(put_item(item, &mut buffer).expect("an item fits"));
    }

    /// Goes on with another axis; false when it is larger than the one under test. Both sides load the same image: that it is the setup
    /// it was made from is proved elsewhere, for every setup.
    pub fn axis<const M: usize, const I: usize>(&mut self, config: &AxisConfig<POINTS, M, I>) -> bool {
        let mut image = [0; LONGEST_ITEM];
        let length = config.seal(0, &[], &mut image).expect("a setup fits");
        let loaded = Image::open(&image[..length]).and_then(|image| image.axis());
        let Ok(loaded) = loaded else { return false };
        self.put(&Item::Axis(&image[..length]));
        let state = AxisState::new();
        self.axis = Some((loaded, state));
        true
    }

    pub fn frame(&mut self, frame: &Frame) {
        self.put(&Item::Frame(*frame));
        let (config, state) = self.axis.as_mut().expect("an axis before the first frame");
        let outcome = config.step(state, frame);
        self.frames.push((outcome, self.answers.len()));
        answer(config, state, &outcome, |part| self.answers.extend(part));
    }

    /// A reading of an analogue value, before the frame it is for.
    fn reading(&mut self, of: AnalogueId, channel: Channel, reading: AnalogueReading) {
        self.put(&Item::Reading(of, channel, reading));
        let (config, state) = self.axis.as_mut().expect("an axis before the first reading");
        config.offer(state, of, channel, reading);
    }

    /// A random case, unless its setup is too large for the axis under test.
    pub fn random(&mut self, seed: u64, length: usize) {
        let case: Case = case(seed, length, POINTS);
        let Core { config, analogues, .. } = core_of::<POINTS>(&case.setup);
        if !self.axis(&config) {
            return;
        }
        for (place, frame) in case.frames.iter().enumerate() {
            for offer in case.offers(place) {
                let captured_at = Instant::from_nanos(offer.captured_at);
                let reading = AnalogueReading { captured_at, value: offer.value.map(Value::from_bits) };
                self.reading(analogues[offer.analogue], Channel::BOTH[offer.channel], reading);
            }
            self.frame(frame);
        }
    }

    /// A demo with its setup, unless that is too large for the axis under test; whether it was not.
    pub fn demo(&mut self, demo: &Demo) -> bool {
        let setup = Setup::load(&demo.setup).unwrap_or_else(|error| panic!("{error}"));
        if setup.monitors.len() > MONITORS || setup.inputs.len() > INPUTS {
            return false;
        }
        let held = config::<POINTS, MONITORS, INPUTS>(&setup);
        let held = held.unwrap_or_else(|error| panic!("{}: {error}", demo.name));
        assert!(self.axis(&held), "{}: the setup fits", demo.name);
        let text = fs::read_to_string(&demo.scenario).expect("a scenario");
        let scenario = Scenario::from_toml(&text, &demo.name).unwrap_or_else(|error| panic!("{error}"));
        let mut trace = Vec::new();
        scenario.write(&mut trace).unwrap_or_else(|error| panic!("{}: {error}", demo.name));
        let layout = layout(&setup).unwrap_or_else(|error| panic!("{error}"));
        let reader = Reader::from_read(&demo.name, std::io::Cursor::new(trace), &layout, Options::default());
        let mut reader = reader.unwrap_or_else(|error| panic!("{error}"));
        let mut batch = Vec::new();
        while reader.next_batch(&mut batch).unwrap_or_else(|error| panic!("{error}")) {
            let mut offered = reader.offered().iter().peekable();
            for (place, frame) in batch.iter().enumerate() {
                while let Some(one) = offered.next_if(|one| one.frame <= place) {
                    let Offered { of, channel, reading, .. } = *one;
                    let of = u8::try_from(of).ok().and_then(AnalogueId::from_index);
                    self.reading(of.expect("an analogue value of the axis"), channel, reading);
                }
                self.frame(frame);
            }
        }
        true
    }

    /// Which frame an answer differs at first, in words.
    pub fn difference(&self, theirs: &[u8]) -> Option<String> {
        let same = self.answers.iter().zip(theirs).take_while(|(ours, theirs)| ours == theirs).count();
        if same == self.answers.len() && same == theirs.len() {
            return None;
        }
        let index = self.frames.partition_point(|(_, begins)| *begins <= same).checked_sub(1)?;
        let (outcome, begins) = self.frames[index];
        let ends = self.frames.get(index + 1).map_or(self.answers.len(), |(_, begins)| *begins);
        Some(format!(
            "frame {index} of {}: byte {same} differs ({} and {} bytes in all)\nhost   {:02x?}\ntarget {:02x?}\n{outcome:?}",
            self.frames.len(),
            self.answers.len(),
            theirs.len(),
            &self.answers[begins..ends],
            theirs.get(begins..ends.min(theirs.len())).unwrap_or_default(),
        ))
    }
}
