//! A case in the making: two sources, the lines, a clock, and the reference that says what each frame comes to.

use monitor_core::{Frame, Instant, Levels, Reading, Sample};

use super::{Case, Row};
use crate::replay::ReplayAxis;
use crate::setup::{ChannelSetup, DemandLevel, InputLines, Pairing, Setup, Source};

/// The instant of the first frame: not 0, so that a clock taken from its beginning shows.
const ORIGIN: u64 = 1_000_000_007;

/// What the setup says of one source, in whole numbers.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sensor {
    pub(super) bits: u32,
    /// Travel of a count in 10⁻⁹ ULP, without its sign.
    pub(super) nano: i128,
    pub(super) reversed: bool,
    pub(super) timeout: u64,
    /// ULP per second.
    pub(super) max_speed: i128,
}

impl Sensor {
    pub(super) fn of(channel: &ChannelSetup) -> Self {
        let (bits, nano) = match &channel.source {
            Source::Counter { bits, unit_per_count } => (u32::from(*bits), i128::from(unit_per_count.value)),
            Source::Position { .. } => (64, 1_000_000_000),
        };
        Self {
            bits,
            nano: nano.abs(),
            reversed: nano < 0,
            timeout: channel.timeout.value.as_nanos(),
            max_speed: i128::from(channel.max_speed.value.to_bits()),
        }
    }

    /// The most counts, to each side, that have a position.
    pub(super) fn most_counts(&self) -> i128 {
        i128::from(i64::MAX) * 1_000_000_000 / self.nano
    }

    /// The largest change in `elapsed` ns that is still plausible.
    pub(super) fn plausible(&self, elapsed: u64) -> i128 {
        self.max_speed * i128::from(elapsed) / self.nano + 1
    }
}

/// Channel A or B, as an index.
pub(super) type Side = usize;

/// A case in the making. What it shows is kept, frame by frame.
#[derive(Clone)]
pub(super) struct Play<'a> {
    pub(super) setup: &'a Setup,
    pub(super) sensors: [Sensor; 2],
    pub(super) axis: ReplayAxis,
    pub(super) now: u64,
    pub(super) levels: u32,
    /// Where each source is, in 10⁻⁹ ULP.
    pub(super) x: [i128; 2],
    rows: Vec<Row>,
}

impl<'a> Play<'a> {
    /// Nothing shown yet, at rest, nothing demanded but the event that declares the position.
    pub(super) fn new(setup: &'a Setup, axis: &ReplayAxis) -> Self {
        let sensors = [Sensor::of(&setup.a), Sensor::of(&setup.b)];
        let mut play =
            Self { setup, sensors, axis: axis.clone(), now: ORIGIN, levels: 0, x: [0, 0], rows: Vec::new() };
        for input in 0..setup.inputs.len() {
            play.demand(input, false);
        }
        for monitor in 0..setup.monitors.len() {
            play.demand_monitor(monitor, false);
        }
        // Where it begins is the place that an event declares.
        if let Some(event) = &setup.reference {
            play.demand(event.input, true);
        }
        play
    }

    pub(super) fn into_case(self, about: String) -> Case {
        Case { about, rows: self.rows }
    }

    /// Another axis, after the frames that were shown so far.
    pub(super) fn shown_to(&self, axis: &ReplayAxis) -> ReplayAxis {
        let mut axis = axis.clone();
        for row in &self.rows {
            let _ = axis.step(&row.frame);
        }
        axis
    }

    /// The shorter of the two timeouts.
    pub(super) fn timeout(&self) -> u64 {
        self.sensors[0].timeout.min(self.sensors[1].timeout)
    }

    /// Puts a source at a count of its own, as it counts in the direction of the axis.
    pub(super) fn put(&mut self, side: Side, counts: i128) {
        self.x[side] = counts * self.sensors[side].nano;
    }

    pub(super) fn counts(&self, side: Side) -> i128 {
        self.x[side].div_euclid(self.sensors[side].nano)
    }

    /// The counter as read, in its width.
    pub(super) fn raw(&self, side: Side) -> u64 {
        let sensor = self.sensors[side];
        let counts = self.counts(side);
        let counts = if sensor.reversed { -counts } else { counts };
        // The counter wraps: only its own bits are left.
        (counts.rem_euclid(1 << 64) as u64) & (u64::MAX >> (64 - sensor.bits))
    }

    /// What a source delivers of where it is, captured at an instant.
    pub(super) fn reading_at(&self, side: Side, captured_at: u64) -> Reading {
        Reading { captured_at: Instant::from_nanos(captured_at), sample: Sample::Count(self.raw(side)) }
    }

    pub(super) fn reading(&self, side: Side) -> Option<Reading> {
        Some(self.reading_at(side, self.now))
    }

    pub(super) fn invalid(&self) -> Option<Reading> {
        Some(Reading { captured_at: Instant::from_nanos(self.now), sample: Sample::Invalid })
    }

    /// Shows a frame with these readings.
    pub(super) fn show(&mut self, readings: [Option<Reading>; 2]) {
        let [a, b] = readings;
        let frame =
            Frame { now: Instant::from_nanos(self.now), a, b, levels: Levels::from_bits(self.levels) };
        let outcome = self.axis.step(&frame);
        self.rows.push(Row { frame, outcome });
    }

    /// Shows a frame at which one source is read as `reading` says, and the other as it is.
    pub(super) fn show_one(&mut self, side: Side, reading: Option<Reading>) {
        let mut readings = [self.reading(0), self.reading(1)];
        readings[side] = reading;
        self.show(readings);
    }

    /// Shows a frame with both sources read at its instant.
    pub(super) fn both(&mut self) {
        self.show([self.reading(0), self.reading(1)]);
    }

    /// Goes on by `span` and shows a frame with both sources read.
    pub(super) fn step(&mut self, span: u64) {
        self.now += span;
        self.both();
    }

    /// Shows a frame at an instant, without anything new of the sources.
    pub(super) fn bare(&mut self, at: u64) {
        self.now = at;
        self.show([None, None]);
    }

    /// Moves both sources, each at its own speed in ULP per second, and reads them often enough, last at `until`.
    pub(super) fn glide(&mut self, speeds: [i128; 2], until: u64) {
        let stride = (self.timeout() / 2).max(1);
        while self.now < until {
            let span = stride.min(until - self.now);
            for (x, speed) in self.x.iter_mut().zip(speeds) {
                // ULP per second over nanoseconds are steps of 10⁻⁹ ULP.
                *x += speed * i128::from(span);
            }
            self.step(span);
        }
    }

    /// Stays where it is, read often enough.
    pub(super) fn rest(&mut self, span: u64) {
        self.glide([0, 0], self.now + span);
    }

    /// Stays where it is until every speed is known, and is zero.
    pub(super) fn settle(&mut self) {
        self.rest(self.setup.speed.window.value.as_nanos() + self.timeout());
    }

    pub(super) fn set_line(&mut self, line: u8, high: bool) {
        let bit = 1_u32 << line;
        self.levels = if high { self.levels | bit } else { self.levels & !bit };
    }

    /// Sets one line of an input (0 or 1) to demand or not.
    pub(super) fn demand_line(&mut self, input: usize, which: usize, on: bool) {
        let setup = &self.setup.inputs[input];
        let high = (setup.demand == DemandLevel::High) == on;
        match (&setup.lines, which) {
            (InputLines::Single(line), _) => self.set_line(*line, high),
            (InputLines::Dual { first, .. }, 0) => self.set_line(*first, high),
            (InputLines::Dual { second, dual, .. }, _) => {
                self.set_line(*second, high == (dual.pairing == Pairing::Equivalent));
            }
        }
    }

    /// Sets all lines of an input to demand or not.
    pub(super) fn demand(&mut self, input: usize, on: bool) {
        self.demand_line(input, 0, on);
        self.demand_line(input, 1, on);
    }

    /// Sets the first input that demands a monitor, as the monitor takes it.
    pub(super) fn demand_monitor(&mut self, monitor: usize, on: bool) {
        if let Some((input, inverted)) = self.setup.monitors[monitor].first_input() {
            self.demand(input, on != inverted);
        }
    }

    /// How long the first input that demands a monitor takes to pass its filter.
    pub(super) fn demand_filter(&self, monitor: usize) -> u64 {
        let input = self.setup.monitors[monitor].first_input();
        input.map_or(0, |(input, _)| self.setup.inputs[input].filter.value.as_nanos())
    }

    /// Demands a monitor, or releases it, in motion; the last frame is the first at which that counts.
    pub(super) fn switch(&mut self, monitor: usize, on: bool, speeds: [i128; 2]) {
        let filter = self.demand_filter(monitor);
        self.demand_monitor(monitor, on);
        let short = (self.timeout() / 4).max(1);
        self.glide(speeds, self.now + short);
        self.glide(speeds, self.now + filter);
    }

    /// Presses the reset and releases it; the last frame is the one at which that counts.
    pub(super) fn press_reset(&mut self) {
        let Some(reset) = &self.setup.reset else { return };
        let (line, filter) = (reset.line, reset.filter.value.as_nanos());
        let short = (self.timeout() / 4).max(1);
        for high in [true, false] {
            self.set_line(line, high);
            self.rest(short);
            self.rest(filter);
        }
    }
}
